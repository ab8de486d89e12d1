"""On the way to its target a primary throws no roll that was not asked for.

Random vehicles clocked within 1.8° of parallel and square, opposite vanes alike, from rest to
steps of pitch and yaw within reach with no roll demanded. The primary leaves the last 1/32 of the
slew to roll and effort: that is enough for what misclocking makes of the widest window, and of
opposite windows that differ, in the narrowest one. Where it is not enough, pitch and yaw come
first; such cycles are counted and shown. Steps to or from a target that leaves no authority for a
roll of nothing, or next to none, are not looked at.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import pytest
from numpy.random import Generator

from mixer.flight import Steering
from mixer.ground.tables.build import flight_tables
from tests.oracle.directions import directions
from tests.oracle.instant import Instant
from tests.oracle.judge import ROLL_COUNTS
from tests.oracle.policy import exact_policy
from tests.support.flown_truth import (
    FlownRule,
    FlownTruth,
    Maker,
    random_demand,
    rule_of_window,
)
from tests.support.random_vehicles import (
    Data,
    RandomVehicle,
    near_square_clocking,
    parsed,
    random_data,
    random_vehicles,
)
from tests.support.vehicles import vehicle_data

SEED = 20_261_130
VEHICLES = {"long": 2000, "ci": 120, "laptop": 5}
STEPS = 3
CYCLES = 12
SETTLING = 10  # cycles of half a second, in which the slowest vane comes to rest
LEFT = 1 / 32  # of the slew: what the primary leaves to roll and effort
ROUNDING_COUNTS = 8.0
# Roll either way that a target leaves. Less than this a count or two of pitch or yaw may undo,
# where opposite vanes are a degree off parallel (1/sin 1° = 57).
ENOUGH_COUNTS = 128.0


def opposite_alike(rng: Generator) -> Data:
    """A file near square whose vanes 1 and 3, and 2 and 4, are alike and give as much either way;
    the two pairs differ, or not, in size, curve, travel, wear and slew.
    """
    data = random_data(rng, near_square_clocking(rng))
    pairs = [odd_vane(rng, force_n) for force_n in rng.uniform(500, 2000, 2)]
    if rng.random() < 0.4:
        pairs[1] = pairs[0]
    travel, deflection, force = zip(*pairs * 2, strict=True)
    data["vanes"] = {
        "travel_deg": list(travel),
        "deflection_deg": list(deflection),
        "force_n": list(force),
    }
    servos = data["servos"]
    slew = servos["slew_deg_s"][:2] * 2
    data["servos"] = {"slew_deg_s": slew, "neutral_us": [1500.0] * 4, "us_per_deg": [20.0] * 4}
    if "erosion" in data:
        data["erosion"]["effectiveness"] = data["erosion"]["effectiveness"][:2] * 2
    return data


def odd_vane(rng: Generator, most_n: float) -> tuple[list[float], list[float], list[float]]:
    """Travel, deflections and forces of a vane whose curve is the same either way."""
    travel = round(rng.uniform(6, 20), 2)
    x = np.round(np.linspace(0, travel, rng.integers(2, 9)), 2)
    rise = np.diff(x) * np.exp(rng.normal(0, rng.choice([0.0, 0.3]), len(x) - 1))
    f = np.round(np.cumsum(rise) * most_n / rise.sum(), 3)
    up, force = x[1:].tolist(), f.tolist()
    return (
        [-travel, travel],
        [-angle for angle in reversed(up)] + [0.0, *up],
        [-value for value in reversed(force)] + [0.0, *force],
    )


@dataclass(frozen=True)
class Way:
    """A cycle on the way: roll thrown, how far a side vane left the way between its two rests
    beyond its share (nothing for steps askew), and whether the slack of the windows is enough.
    """

    where: str
    roll: float
    side_excess: float
    slack_is_enough: bool


def askew(clocking_deg) -> float:
    """The sine of the worst angle by which two vanes miss parallel or square."""
    b = np.array(directions(clocking_deg))
    cosines = np.abs(b @ b.T)[np.triu_indices(4, 1)]
    return float(np.minimum(cosines, np.sqrt(np.maximum(1 - cosines**2, 0))).max())


def slack_is_enough(instant: Instant) -> bool:
    widths = np.subtract(instant.window[1], instant.window[0])
    unlike = np.abs(widths[:2] - widths[2:]).max()
    return bool(askew(instant.clocking_deg) * widths.max() + unlike <= LEFT * widths.min())


def step_of(
    rng: Generator, instant: Instant, number: int
) -> tuple[tuple[float, float], int | None]:
    """Pitch and yaw within reach, and for every other step the vane along which they lie."""
    if number % 2:
        pitch, yaw, _ = random_demand(rng, instant)
        return tuple(exact_policy(*replace(instant, demand=(pitch, yaw)).at_rest).target), None
    vane = int(rng.integers(2))
    size = float(rng.choice([0.0, 0.95, -0.95, rng.uniform(-0.95, 0.95)]))
    size *= instant.travel[1][vane] + instant.travel[1][vane + 2]
    x, y = directions(instant.clocking_deg)[vane]
    return (size * x, size * y), vane


def ways(vehicles: Iterator[RandomVehicle], fly) -> Iterator[Way]:
    """Every cycle of the first ones after each step, flown by `fly(vehicle, **start)`."""
    for one in vehicles:
        rng = np.random.default_rng([SEED, one.number])
        burn_s = one.data["engine"]["burn_time_s"]
        flown = fly(one, time_s=burn_s, load_s=1.5 * burn_s)
        instant = flown.cycle(dt_us=0).instant
        for number in range(STEPS):
            demand, vane = step_of(rng, instant, number)
            flown.ask((*demand, 0.0))
            before = flown.cycle(dt_us=0).forces
            rest = exact_policy(*replace(instant, demand=demand, roll=0.0).at_rest)
            authority = min(-rest.rho_range[0], rest.rho_range[1])
            affordable = authority >= ENOUGH_COUNTS and abs(before.sum()) <= ROLL_COUNTS
            for count in range(CYCLES if affordable else 0):
                cycle = flown.cycle()
                excess = 0.0
                if vane is not None:
                    main, side = [vane, vane + 2], [1 - vane, 3 - vane]
                    low, high = np.sort([before, rest.f], axis=0)[:, side]
                    force = cycle.forces[side]
                    share = askew(instant.clocking_deg) * np.abs([before, rest.f])[:, main].sum()
                    excess = float(np.maximum(low - force, force - high).max() - share)
                yield Way(
                    f"seed {SEED}, vehicle {one.number} ({one.policy}), step {number}, "
                    f"cycle {count}",
                    abs(float(cycle.forces.sum())),
                    excess,
                    slack_is_enough(cycle.instant),
                )
            for _ in range(SETTLING):
                flown.cycle(dt_us=490_000)


@pytest.fixture(scope="module")
def maker() -> Maker:
    """What makes a steering from tables."""
    return Steering


@pytest.fixture(scope="module")
def found(size, maker) -> list[Way]:
    vehicles = random_vehicles(VEHICLES[size], SEED, opposite_alike)
    return list(ways(vehicles, lambda one, **start: FlownTruth(one, maker, **start)))


def test_no_roll_is_thrown_that_was_not_asked_for(found, record_property):
    judged = [one for one in found if one.slack_is_enough]
    others = [one.roll for one in found if not one.slack_is_enough]
    most = max(judged, key=lambda one: one.roll)
    record_property(
        "shown",
        f"on the way: roll within {most.roll:.2f} counts over {len(judged)} cycles; of "
        f"{len(others)} whose windows differ by more than the slack makes up for, "
        f"{sum(roll > ROLL_COUNTS for roll in others)} beyond {ROLL_COUNTS:g}, worst "
        f"{max(others, default=0):.0f}",
    )
    assert len(judged) > len(found) / 2
    assert most.roll <= ROLL_COUNTS, most


def test_side_vanes_move_no_more_than_their_share(found, record_property):
    """Between their two rests, but for what misclocking makes of the forces of the vanes that the
    step lies along."""
    most = max((one for one in found if one.slack_is_enough), key=lambda one: one.side_excess)
    record_property("shown", f"on the way: side vanes {most.side_excess:.2f} counts beyond it")
    assert most.side_excess <= ROUNDING_COUNTS, most


@pytest.mark.usefixtures("campaign")
def test_this_judgement_finds_the_rule_of_the_window_wrong():
    vehicles = random_vehicles(12, SEED, opposite_alike)
    wrong = [
        one
        for one in ways(vehicles, lambda one, **start: FlownRule(one, rule_of_window, **start))
        if one.slack_is_enough
    ]
    assert max(one.roll for one in wrong) > 10 * ROLL_COUNTS
    assert max(one.side_excess for one in wrong) > 10 * ROUNDING_COUNTS


def misclocked(degrees: float) -> RandomVehicle:
    """Equal vanes at quarter turns, one of them a little off, ±15° at 250 deg/s and 200 Hz."""
    data = vehicle_data(
        layout={"clocking_deg": [0.0, 90.0 + degrees, 180.0, 270.0], "lever_arm_m": 2.4},
        vanes={
            "travel_deg": [[-15.0, 15.0]] * 4,
            "deflection_deg": [[-15.0, 15.0]] * 4,
            "force_n": [[-200.0, 200.0]] * 4,
            "drag_n": None,
        },
        servos={"slew_deg_s": [250.0] * 4, "neutral_us": [1500.0] * 4, "us_per_deg": [10.0] * 4},
        erosion=None,
    )
    vehicle = parsed(data)
    return RandomVehicle(0, data, vehicle, flight_tables(vehicle), 0)


def most_thrown(flown: FlownTruth) -> tuple[float, float]:
    """The largest roll and side-vane force on the way from full pitch to none."""
    flown.ask((2 * 4096.0, 0.0, 0.0))
    for _ in range(SETTLING):
        flown.cycle(dt_us=490_000)
    flown.ask((0.0, 0.0, 0.0))
    way = [flown.cycle().forces for _ in range(30)]
    return max(abs(f.sum()) for f in way), max(np.abs(f[[1, 3]]).max() for f in way)


@pytest.mark.parametrize("degrees", [0.0, 0.05, 1.5])
def test_a_step_from_full_pitch_to_none_leaves_the_side_vanes_where_they_are(maker, degrees):
    """Their share of the way is none: a side vane askew is not used for pitch."""
    roll, side = most_thrown(FlownTruth(misclocked(degrees), maker))
    assert roll <= ROLL_COUNTS
    assert side <= np.sin(np.radians(degrees)) * 4096 + 2


def test_the_rule_of_the_window_swings_them_out_and_throws_roll_over_a_hair_of_misclocking():
    """With 0.05°: over half of a vane's force, and a quarter of all roll and more."""
    roll, side = most_thrown(FlownRule(misclocked(0.05), rule_of_window))
    assert side > 0.5 * 4096 and roll > 0.25 * 4 * 4096
