"""Seeded random vehicles, from the text of a vehicle file on: what the file format lets through.

    for one in random_vehicles(200, seed=7):
        steering = Steering(one.tables)

Layouts with a gap of 30° or more: quarter turns, exact or a hair to some degrees off, or uneven.
Vanes alike or not, one-sided, of up to 40 points a curve, some with a curve that misses zero; worn
vehicles, long servo tables, slow and quick servos and cycles, both policies. What is refused in
words is drawn anew, and each vehicle tells how many were before it.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
import tomlkit
from numpy.random import Generator

from mixer.flight import FlightTables
from mixer.ground.tables.build import flight_tables
from mixer.ground.vehicle.vehicle import Vehicle, VehicleError, parse_vehicle

Data = dict[str, dict[str, Any]]
MISCLOCKED_DEG = (0.0, 1e-15, 1e-10, 0.01, 0.05, 0.3, 1.0, 1.5, 4.0)
NEAR_SQUARE_DEG = 1.8
LEAST_GAP_DEG = 30.0
MOST_POINTS = 40


@dataclass(frozen=True)
class RandomVehicle:
    """`data` is what its file holds, every value that may be one or four given as four."""

    number: int
    data: Data
    vehicle: Vehicle
    tables: FlightTables
    refused: int

    @property
    def policy(self) -> str:
        return self.data["control"]["policy"]


def any_clocking(rng: Generator) -> list[float]:
    """Quarter turns, exact or not, or uneven gaps, in any order."""
    if rng.random() < 0.3:
        gaps = LEAST_GAP_DEG + rng.dirichlet(np.ones(4)) * (360 - 4 * LEAST_GAP_DEG)
        clocking = np.round(rng.uniform(0, 360) + np.cumsum(gaps), 2) % 360
    else:
        off = rng.choice(MISCLOCKED_DEG, 4) * rng.choice([-1, 1], 4) * (rng.random() < 0.8)
        clocking = any_base(rng) + 90.0 * np.arange(4) + off
    return (rng.permutation(clocking) if rng.random() < 0.3 else clocking).tolist()


def near_square_clocking(rng: Generator) -> list[float]:
    """Quarter turns from any base, each vane within 1.8° / 2 of its place, so that any two are
    within 1.8° of parallel or square.
    """
    most = NEAR_SQUARE_DEG / 2 * rng.choice([0.0, 0.03, 0.3, 1.0])
    return (any_base(rng) + 90.0 * np.arange(4) + rng.uniform(-most, most, 4)).tolist()


def random_vehicles(
    count: int, seed: int, draw: Callable[[Generator], Data] | None = None
) -> Iterator[RandomVehicle]:
    """`count` vehicles, the same for the same seed, of what `draw` makes a file hold (unless told,
    `random_data`). Prints the seed for a failing test to show.
    """
    print(f"random vehicles: seed {seed}, {count} of them")
    rng = np.random.default_rng(seed)
    for number in range(count):
        refused = 0
        while True:
            data = (draw or random_data)(rng)
            try:
                vehicle = parsed(data)
                tables = flight_tables(vehicle)
                break
            except VehicleError:
                refused += 1
        yield RandomVehicle(number, data, vehicle, tables, refused)


def parsed(data: Data) -> Vehicle:
    """The vehicle of a file that holds `data`, servo tables in files beside it."""
    with TemporaryDirectory() as folder:
        servos = dict(data["servos"])
        if "table" in servos:
            names = [f"servo{number}.csv" for number in range(1, 5)]
            for name, rows in zip(names, servos["table"], strict=True):
                lines = ["deflection_deg,pulse_us", *(f"{x},{y}" for x, y in rows)]
                Path(folder, name).write_text("\n".join(lines) + "\n", encoding="utf-8")
            servos["table"] = names
        text = tomlkit.dumps({**data, "servos": servos})
        return parse_vehicle(text, str(Path(folder, "vehicle.toml")))


def random_data(rng: Generator, clocking_deg: list[float] | None = None) -> Data:
    """What a vehicle file may hold, with this clocking or any."""
    burn_s = round(rng.uniform(5, 60), 1)
    arm_m = rng.uniform(0.5, 8)
    lever: Any = round(arm_m, 3)
    if rng.random() < 0.5:
        lever = {"time_s": [0.0, burn_s], "m": [lever, round(arm_m * rng.uniform(0.8, 1.3), 3)]}
    rate_hz = round(log_uniform(rng, 50, 500), 1)
    vanes, servos = random_vanes(rng), random_servos(rng)
    if rng.random() < 0.4:
        servos["table"] = [random_servo_table(rng, *travel) for travel in vanes["travel_deg"]]
    else:
        steepest = [700 / max(-low, high) for low, high in vanes["travel_deg"]]
        gain = np.minimum(steepest, rng.uniform(5, 40)) * rng.choice([-1, 1], 4)
        servos |= {"neutral_us": [1500.0] * 4, "us_per_deg": np.round(gain, 3).tolist()}
    data: Data = {
        "vehicle": {"name": "Random test vehicle"},
        "engine": {
            "chamber_pressure_bar": round(log_uniform(rng, 5, 100), 2),
            "thrust_n": 5000.0,
            "burn_time_s": burn_s,
            "believed_pressure": [0.0, 3.0],  # whatever is read
        },
        "layout": {
            "clocking_deg": any_clocking(rng) if clocking_deg is None else clocking_deg,
            "roll_arm_m": round(rng.uniform(0.02, 0.3), 4),
            "lever_arm_m": lever,
        },
        "vanes": vanes,
        "servos": servos,
        "control": {
            "rate_hz": rate_hz,
            "policy": str(rng.choice(["nearest", "direction"])),
            "demand_timeout_ms": 5000,
        },
    }
    if rng.random() < 0.7:
        data["erosion"] = random_erosion(rng, burn_s)
    return data


def random_vanes(rng: Generator) -> dict[str, Any]:
    """[vanes]: four alike, or each its own travel, curve and size."""
    largest_n = log_uniform(rng, 50, 5000)
    alike = rng.random() < 0.4
    rows = [random_vane(rng, largest_n * (1 if alike else rng.uniform(0.2, 1))) for _ in range(4)]
    travel, deflection, force = zip(*(rows[:1] * 4 if alike else rows), strict=True)
    return {
        "travel_deg": list(travel),
        "deflection_deg": list(deflection),
        "force_n": list(force),
    }


def random_vane(rng: Generator, largest_n: float) -> tuple[list[float], list[float], list[float]]:
    """Travel, deflections and forces of one vane."""
    ends = np.round(rng.uniform(3, 20) * rng.choice([[-1, 1], [-1, 0.6], [-0.3, 1]]), 2)
    if rng.random() < 0.15:  # one-sided
        ends[0 if rng.random() < 0.5 else 1] *= rng.choice([0.0, 0.1])
    low, high = ends
    count = rng.choice([0, 1, 3, 12, MOST_POINTS - 2])
    inner = rng.uniform(low, high, count) if rng.random() < 0.5 else np.linspace(low, high, count)
    beyond = rng.uniform(0, 3, 2)
    x = np.unique(np.round([low - beyond[0], *inner, high + beyond[1]], 2))
    x = x[np.r_[True, np.diff(x) >= 0.05]]  # two points nearer than this would be one measurement
    x[0], x[-1] = min(x[0], low), max(x[-1], high)
    rise = np.diff(x) * np.exp(rng.normal(0, rng.choice([0.0, 0.4, 0.9]), len(x) - 1))
    f = np.concatenate([[0.0], np.cumsum(rise)])
    f -= np.interp(0, x, f)
    most = np.abs(np.interp([low, high], x, f)).max()
    if rng.random() < 0.4:  # misses zero
        f += rng.uniform(-0.08, 0.08) * most
    f *= largest_n / np.abs(np.interp([low, high], x, f)).max()
    return ends.tolist(), x.tolist(), np.round(f, 4).tolist()


def random_servos(rng: Generator) -> dict[str, Any]:
    """[servos], but for the pulses."""
    slew = log_uniform(rng, 30, 2000) * (rng.uniform(0.5, 1, 4) if rng.random() < 0.4 else 1)
    return {"slew_deg_s": np.round(np.clip(slew, 30, 2000) * np.ones(4), 1).tolist()}


def random_servo_table(rng: Generator, low: float, high: float) -> list[tuple[float, float]]:
    """Deflection and pulse, up to 40 rows, the pulse rising or falling."""
    inner = rng.uniform(low, high, rng.choice([0, 3, MOST_POINTS - 2]))
    x = np.unique(np.round([low - 0.5, *inner, high + 0.5], 2))
    rise = np.diff(x) * rng.uniform(0.5, 1.5, len(x) - 1)
    pulse = 1500 + rng.choice([-1, 1]) * np.concatenate([[0.0], np.cumsum(rise)]) * 600 / rise.sum()
    return list(zip(x.tolist(), np.round(pulse, 2).tolist(), strict=True))


def random_erosion(rng: Generator, burn_s: float) -> dict[str, Any]:
    """[erosion]: four rows from about 1 down to 0.4, not always falling at first."""
    count = int(rng.integers(2, 7))
    load = np.unique(np.round([0, *rng.uniform(0.5, 1.2 * burn_s, count - 1)], 1))
    rows = [1 - np.sort(rng.uniform(0, rng.uniform(0.02, 0.6), len(load))) for _ in range(4)]
    if rng.random() < 0.4:
        rows = rows[:1] * 4
    return {"load_s": load.tolist(), "effectiveness": [np.round(row, 4).tolist() for row in rows]}


def any_base(rng: Generator) -> float:
    """0, 45 or an odd angle, degrees."""
    return float(rng.choice([0.0, 45.0, np.round(rng.uniform(0, 90), 2)]))


def log_uniform(rng: Generator, least: float, most: float) -> float:
    return float(np.exp(rng.uniform(np.log(least), np.log(most))))
