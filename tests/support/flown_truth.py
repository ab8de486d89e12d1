"""A vehicle in flight, and beside each cycle what the vehicle file makes of it.

`FlownTruth` flies a steering: the flight core's own, or whatever else is made from tables and has
its methods. `FlownRule` flies a rule of the oracle's instead, without any integers.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.random import Generator

from mixer.flight import Steering
from tests.oracle.directions import directions
from tests.oracle.instant import Burn, FileNumbers, Instant
from tests.oracle.policy import exact_policy
from tests.support.random_vehicles import RandomVehicle

Maker = Callable[[Any], Any]
NARROW_COUNTS = 64.0  # a slew window, where opposite vanes are nearly but not exactly parallel
NEARLY_PARALLEL = np.sin(np.radians(5.0))
COARSE_COUNTS = 4.0  # where 0.001° of deflection is worth more, no command comes nearer than that
MOST_MNM = 5e8  # a demand beyond 2^29 mN·m is refused
BEYOND = (0.3, 1.0, 1.0, 127 / 128, 1.01, 1.5, 4.0, 25.0)


@dataclass(frozen=True)
class Cycle:
    """A cycle's problem, by the true deflections before it, and the forces (4,) in counts that the
    deflections after it give.
    """

    instant: Instant
    forces: np.ndarray


class FlownTruth:
    """A vehicle in flight from a burn time and load on."""

    def __init__(
        self, one: RandomVehicle, maker: Maker = Steering, time_s: float = 0.0, load_s: float = 0.0
    ) -> None:
        self.numbers = FileNumbers(one.data)
        self.burn = Burn(time_s, load_s)
        self.period_us = round(1e6 / one.data["control"]["rate_hz"])
        self.reference_pa = one.data["engine"]["chamber_pressure_bar"] * 1e5
        self.limits_mdeg = self.numbers.travel_mdeg.copy()
        self.demand_mnm = np.zeros(3)
        self.steering = maker(one.tables)
        self.steering.start(round(time_s * 1e6), round(load_s * 1e6))

    @property
    def deflection_mdeg(self) -> Sequence[float]:
        return tuple(self.steering.deflection_mdeg)

    def ask(self, counts: Sequence[float]) -> None:
        """Demand pitch/L, yaw/L and roll/R in counts; a far one as far as it is taken."""
        wanted = np.array(counts) * self.numbers.count_n * 1000
        wanted *= self.numbers.arms_m(self.burn.time_s)
        self.demand_mnm = np.round(wanted / max(1.0, np.abs(wanted).max() / MOST_MNM))

    def jam(self, vane: int, mdeg: int) -> None:
        """Vane 1 to 4 stands still there."""
        self.steering.jam(vane, mdeg)
        self.limits_mdeg[:, vane - 1] = np.clip(mdeg, *self.numbers.travel_mdeg[:, vane - 1])

    def free(self, vane: int) -> None:
        self.steering.free(vane)
        self.limits_mdeg[:, vane - 1] = self.numbers.travel_mdeg[:, vane - 1]

    def cycle(self, pressure_pa: int | None = None, dt_us: int | None = None) -> Cycle:
        """One cycle, at the reference pressure and as long as the period unless told."""
        pressure_pa = round(self.reference_pa) if pressure_pa is None else pressure_pa
        dt_us = self.period_us if dt_us is None else dt_us
        ratio = pressure_pa / self.reference_pa
        self.burn.on(ratio, dt_us / 1e6)
        kappa = self.numbers.kappa(self.burn.load_s, ratio)
        instant = self.numbers.instant(self.deflection_mdeg, dt_us / 1e6, kappa, self.limits_mdeg)
        arms_m = self.numbers.arms_m(self.burn.time_s)
        pitch, yaw, roll = self.demand_mnm / (1000 * arms_m * self.numbers.count_n)
        instant = replace(instant, demand=(pitch, yaw), roll=roll)
        self.move(instant, pressure_pa, dt_us)
        return Cycle(instant, kappa * self.numbers.new_counts(self.deflection_mdeg))

    def hold(self, cycles: int) -> None:
        """So many cycles at the reference pressure that nobody looks at."""
        demand = [int(x) for x in self.demand_mnm]
        pressure_pa = round(self.reference_pa)
        for _ in range(cycles):
            self.steering.demand(*demand)
            self.steering.step(pressure_pa, self.period_us)
        self.burn.on(1.0, cycles * self.period_us / 1e6)

    def move(self, instant: Instant, pressure_pa: int, dt_us: int) -> None:
        """The steering's own cycle."""
        assert self.steering.demand(*(int(x) for x in self.demand_mnm))
        self.steering.step(pressure_pa, dt_us)


class FlownRule(FlownTruth):
    """The same, with the forces of `rule(instant)` and deflections that are not rounded."""

    def __init__(self, one: RandomVehicle, rule: Callable[[Instant], np.ndarray], **start) -> None:
        super().__init__(one, **start)
        self.rule = rule
        self.now_mdeg = np.zeros(4)

    @property
    def deflection_mdeg(self) -> Sequence[float]:
        return tuple(self.now_mdeg)

    def jam(self, vane: int, mdeg: int) -> None:
        super().jam(vane, mdeg)
        self.now_mdeg[vane - 1] = self.limits_mdeg[0, vane - 1]

    def hold(self, cycles: int) -> None:
        for _ in range(cycles):
            self.cycle()

    def move(self, instant: Instant, pressure_pa: int, dt_us: int) -> None:
        self.now_mdeg = self.numbers.deflection_mdeg(self.rule(instant) / instant.kappa)
        self.now_mdeg = np.clip(self.now_mdeg, *self.limits_mdeg)


def rule_of_travel(instant: Instant) -> np.ndarray:
    """The policy: the target from travel, the primary in 31/32 of the slew."""
    return exact_policy(*instant.arguments, **instant.boxes).f


def rule_of_window(instant: Instant) -> np.ndarray:
    """What it was before: target and primary both from the window of this cycle, 1/128 of that
    kept back. A held demand then drifts, and a moving one throws roll.
    """
    return exact_policy(*instant.arguments).f


def sines_between(clocking_deg: Sequence[float]) -> list[float]:
    """Of every two vanes that are not exactly parallel."""
    b = directions(clocking_deg)
    sines = [abs(x[0] * y[1] - x[1] * y[0]) for n, x in enumerate(b) for y in b[n + 1 :]]
    return [float(sine) for sine in sines if sine > 0]


def narrow_and_nearly_parallel(instant: Instant) -> bool:
    """Whether the exception of narrow windows may hold."""
    narrowest = np.subtract(instant.window[1], instant.window[0]).min()
    nearly = min(sines_between(instant.clocking_deg)) < NEARLY_PARALLEL
    return bool(nearly and narrowest < NARROW_COUNTS)


def random_demand(rng: Generator, instant: Instant) -> tuple[float, float, float]:
    """Pitch, yaw and roll in counts that some forces of travel give, or a multiple of them; or
    another roll.
    """
    low, high = np.array(instant.travel)
    at_ends = rng.random(4) < 0.3
    f = np.where(at_ends, rng.choice([0, 1], 4), rng.random(4)) * (high - low) + low
    pitch, yaw = f @ np.array(directions(instant.clocking_deg)) * rng.choice(BEYOND)
    roll = rng.choice([0.0, f.sum(), 1.5 * f.sum(), rng.uniform(-2, 2) * np.abs(f).sum()])
    return float(pitch), float(yaw), float(roll)


def random_flight(flown: FlownTruth, rng: Generator, cycles: int) -> Iterator[Cycle]:
    """Cycles with demands that hold for some and jump, pressures up to twice the reference, jams,
    and now and then a short or a long cycle.
    """
    ratio = 1.0
    cycle = flown.cycle(dt_us=0)
    for _ in range(cycles):
        if rng.random() < 0.2:
            flown.ask(random_demand(rng, cycle.instant))
        if rng.random() < 0.05:
            ratio = float(rng.choice([1.0, rng.uniform(0.06, 1.99)]))
        if rng.random() < 0.02:
            vane = int(rng.integers(1, 5))
            flown.jam(vane, int(rng.uniform(*flown.numbers.travel_mdeg[:, vane - 1])))
        if rng.random() < 0.05:
            flown.free(int(rng.integers(1, 5)))
        usual = rng.random() < 0.9
        dt_us = flown.period_us if usual else int(rng.choice([0, 1, rng.integers(0, 300_000)]))
        cycle = flown.cycle(round(ratio * flown.reference_pa), dt_us)
        yield cycle
