"""Random cycles as plain Python runs them: every word of the state before and after each.

What another form of the flight core makes of the words before is held against the words after.
"""

from array import array
from dataclasses import dataclass
from importlib import import_module
from random import Random
from unittest.mock import patch

import numpy as np

from mixer.flight import FlightTables, commands
from mixer.flight import layout as at
from mixer.flight.cycle import cycle

flight_cycle = import_module("mixer.flight.cycle")
HELD = 7  # cycles a demand is held
SENSED = 30  # cycles with angle sensors, and as many without
JAM_SHARE, FREE_SHARE, START_SHARE, BAD_SHARE, RELEASE_SHARE = 0.01, 0.03, 0.05, 0.02, 0.02
RESET_SHARE = 0.02


@dataclass(frozen=True)
class Recorded:
    """N cycles. before, after: (N, STATE_WORDS) int32; given: (N, 2), pressure Pa and dt µs."""

    tables: FlightTables
    before: np.ndarray
    after: np.ndarray
    given: np.ndarray

    @property
    def flags(self) -> np.ndarray:
        return self.after[:, at.FLAGS]


def record(tables: FlightTables, seed: int, cycles: int) -> Recorded:
    """Fly demands from far inside to far outside, jams, worn vanes, any pressure and any dt."""
    rng = Random(seed)
    w = array("i", tables.words)
    commands.reset(w)
    before = np.empty((cycles, at.STATE_WORDS), np.int32)
    after = np.empty_like(before)
    given = np.empty((cycles, 2), np.int32)
    words = np.frombuffer(w, np.int32)[: at.STATE_WORDS]
    demand = (0, 0, 0)
    for n in range(cycles):
        if n % HELD == 0:
            demand = random_demand(tables, rng)
        command(w, rng, demand)
        sense(w, n)
        pressure_pa, dt_us = conditions(tables, rng)
        before[n] = words
        given[n] = pressure_pa, dt_us
        cycle(w, pressure_pa, dt_us)
        after[n] = words
    return Recorded(tables, before, after, given)


def allocations(recorded: Recorded) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The allocations in these cycles: words as each begins, words as it ends, whether W′ is less
    than T. Fewer than cycles: without a jet or a demand there is none."""
    found: list[tuple[np.ndarray, np.ndarray, int]] = []
    w = array("i", recorded.tables.words)
    words = np.frombuffer(w, np.int32)[: at.STATE_WORDS]
    allocate = flight_cycle.allocate

    def noted(w: array, held: int) -> None:
        before = words.copy()
        allocate(w, held)
        found.append((before, words.copy(), held))

    with patch.object(flight_cycle, "allocate", noted):
        for before, given in zip(recorded.before, recorded.given, strict=True):
            words[:] = before
            cycle(w, *map(int, given))
    before, after, held = zip(*found, strict=True)
    return np.array(before), np.array(after), np.array(held)


def random_demand(tables: FlightTables, rng: Random) -> tuple[int, int, int]:
    size = min(10 ** rng.uniform(3.5, 8.5), tables.words[at.MNM_MAX])
    roll = min(size / 20, tables.words[at.ROLL_MNM_MAX])
    pitch, yaw = (int(rng.uniform(-size, size)) for _ in range(2))
    return pitch, yaw, int(rng.uniform(-roll, roll))


def command(w: array, rng: Random, demand: tuple[int, int, int]) -> None:
    """What comes between two cycles."""
    if rng.random() < RESET_SHARE:
        commands.reset(w)
    if rng.random() < JAM_SHARE:
        commands.jam(w, rng.randrange(at.VANES), rng.randint(-25_000, 25_000))
    if rng.random() < FREE_SHARE:
        for vane in range(at.VANES):
            commands.free(w, vane)
    if rng.random() < START_SHARE:
        commands.start(w, rng.randrange(40_000_000), rng.randrange(40_000_000))
    if rng.random() < BAD_SHARE:
        commands.demand(w, 2**31 - 1, 0, 0)
    elif rng.random() < RELEASE_SHARE:
        commands.release(w)
    else:
        commands.demand(w, *demand)


def sense(w: array, n: int) -> None:
    """Angle sensors, in every other stretch: three see the command, one stops in the middle."""
    if n % (2 * SENSED) < SENSED:
        readings = list(w[at.DEFLECTION : at.DEFLECTION + at.VANES])
        if n % SENSED > SENSED // 2:
            vane = n // SENSED % at.VANES
            readings[vane] = w[at.WATCH_SEEN + vane]
        commands.sensed(w, *readings)


def conditions(tables: FlightTables, rng: Random) -> tuple[int, int]:
    """Pressure, Pa, from none to twice the reference and beyond; time step, µs."""
    reference_pa = tables.words[at.PA_MAX] // 2
    pressure_pa = round(reference_pa * rng.choice([1.0, 1.0, 0.97, rng.uniform(0, 2), 0.04, 2.2]))
    period_us = tables.words[at.PERIOD_US]
    dt_us = rng.choice(
        [period_us] * 5 + [period_us + 13, rng.randrange(20_000), 60_000, 900_000, 16_000_000]
    )
    return pressure_pa, dt_us
