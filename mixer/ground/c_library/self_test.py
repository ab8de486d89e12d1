"""Recorded cycles for the target: the whole life of a steering, with what Python made of it.

Segments of some cycles each, drawn anew by fixed seeds: demands inside, at and far beyond
authority and out of range; vanes new and worn, jammed and freed; full, low, wandering and no
pressure; steps from 1 µs to beyond a second; demands that stop coming.
"""

import random
from dataclasses import dataclass, field

from mixer.flight import FlightTables, Steering
from mixer.flight import layout as at
from mixer.flight.servo_pulses import ServoPulses

CYCLES = 512
SEGMENT = 16  # cycles
NO_DEMAND = 0x7FFFFFFF  # in place of a pitch demand: none comes
START, RELEASE, JAM, FREE = range(4)
WORDS = (
    *(f"deflection {vane}" for vane in range(1, 5)),
    *(f"pulse {vane}" for vane in range(1, 5)),
    "pitch",
    "yaw",
    "roll",
    "flags",
)
LARGEST_VANES = 1024  # the largest demand taken, in forces of the largest vane, is about this


@dataclass
class RecordedCycles:
    """`events` (cycle, what, two numbers), told before that cycle; `given` (pitch, yaw, roll mN·m,
    pressure Pa, dt µs) and `wanted` (the numbers of WORDS) for each cycle.
    """

    events: list[tuple[int, int, int, int]] = field(default_factory=list)
    given: list[tuple[int, int, int, int, int]] = field(default_factory=list)
    wanted: list[tuple[int, ...]] = field(default_factory=list)

    @property
    def flags(self) -> int:
        """Every flag that was set in some cycle."""
        found = 0
        for row in self.wanted:
            found |= row[-1]
        return found


def record(tables: FlightTables, cycles: int = CYCLES, seed: int = 0) -> RecordedCycles:
    """Cycles of these tables; the same for the same tables and seed."""
    return CycleRecorder(tables, seed).run(cycles)


class CycleRecorder:
    """Draws cycles and runs them; `steering` is where the last one left it."""

    def __init__(self, tables: FlightTables, seed: int) -> None:
        self.words, self.steering = tables.words, Steering(tables)
        self.pulses = ServoPulses()
        self.pulses.begin(self.steering)
        self.random, self.record = random.Random(seed), RecordedCycles()
        self.reference_pa = self.words[at.PA_MAX] // 2
        self.period_us = self.words[at.PERIOD_US]

    def run(self, cycles: int) -> RecordedCycles:
        kinds = (
            self.slewing, self.doubted, self.saturated, self.steady, self.out_of_range, self.jammed,
            self.worn, self.silent, self.without_thrust, self.wandering, self.far, self.odd_steps,
        )  # fmt: skip
        segment = 0
        while len(self.record.given) < cycles:
            count = min(SEGMENT, cycles - len(self.record.given))
            kinds[segment % len(kinds)](count)
            segment += 1
        return self.record

    # ---- one cycle, one event ---------------------------------------------------------------

    def cycle(self, demand: tuple[int, int, int], pressure_pa: int, dt_us: int) -> None:
        if demand[0] != NO_DEMAND:
            self.steering.demand(*demand)
        self.steering.step(pressure_pa, dt_us)
        self.pulses.follow(self.steering, dt_us, True)
        self.record.given.append((*demand, pressure_pa, dt_us))
        self.record.wanted.append((
            *self.steering.deflection_mdeg, *self.pulses.pulse_ns, *self.steering.moment_mnm,
            self.steering.flags,
        ))  # fmt: skip

    def tell(self, what: int, a: int = 0, b: int = 0) -> None:
        self.record.events.append((len(self.record.given), what, a, b))
        if what in (JAM, FREE):
            self.pulses.part(self.steering, a)
        if what == START:
            self.steering.start(a, b)
        elif what == RELEASE:
            self.steering.release()
        elif what == JAM:
            self.steering.jam(a, b)
        else:
            self.steering.free(a)

    def drawn(self, vanes: float) -> tuple[int, int, int]:
        """A demand of up to so many forces of the largest vane on every axis."""
        primary = int(vanes * (self.words[at.MNM_MAX] // LARGEST_VANES + 1))
        roll = int(vanes * (self.words[at.ROLL_MNM_MAX] // LARGEST_VANES + 1))
        draw = self.random.randint
        return draw(-primary, primary), draw(-primary, primary), draw(-roll, roll)

    # ---- segments ----------------------------------------------------------------------------

    def held(self, count: int, vanes: float) -> None:
        """Two demands, each held, so that the vanes can come to rest."""
        for i in range(count):
            if i % 8 == 0:
                demand = self.drawn(vanes)
            self.cycle(demand, self.reference_pa, 20_000)

    def steady(self, count: int) -> None:
        self.held(count, 0.8)

    def saturated(self, count: int) -> None:
        self.held(count, 5)

    def far(self, count: int) -> None:
        self.held(count, LARGEST_VANES // 2)

    def slewing(self, count: int) -> None:
        for _ in range(count):
            self.cycle(self.drawn(3), self.reference_pa, self.period_us)

    def wandering(self, count: int) -> None:
        for _ in range(count):
            pressure_pa = self.random.randint(-1, 5 * self.reference_pa // 2)
            self.cycle(self.drawn(1.5), pressure_pa, self.period_us)

    def out_of_range(self, count: int) -> None:
        most, roll_most = self.words[at.MNM_MAX], self.words[at.ROLL_MNM_MAX]
        wrong = ((most + 1, 0, 0), (0, -most - 1, 0), (0, 0, roll_most + 1), (-(1 << 31), 0, 0),
                 (0, most + 1, 0), (0, 0, -roll_most - 1))  # fmt: skip
        for i in range(count):
            demand = wrong[i // 2 % len(wrong)] if i % 2 else self.drawn(0.5)
            self.cycle(demand, self.reference_pa, self.period_us)

    def jammed(self, count: int) -> None:
        """A vane stands still; in every other such segment a second one, beyond its travel."""
        vane = self.random.randint(1, 4)
        lo, hi = self.words[at.TRAVEL_LO + vane - 1], self.words[at.TRAVEL_HI + vane - 1]
        self.tell(JAM, vane, self.random.randint(lo, hi))
        if self.random.random() < 0.5:
            self.tell(JAM, vane % 4 + 1, self.random.choice((-90_000, 90_000)))
        for i in range(count):
            if i == count - 2:
                self.tell(FREE, vane)
                self.tell(FREE, vane % 4 + 1)
            if i % 4 == 0:
                demand = self.drawn(1)
            self.cycle(demand, self.reference_pa, 2 * self.period_us)

    def worn(self, count: int) -> None:
        time_us = self.random.randint(0, 60_000_000)
        self.tell(START, time_us, self.random.randint(0, time_us))
        self.held(count, 1.2)

    def silent(self, count: int) -> None:
        """Demands stop until they are stale; half of the times the demand is dropped at once."""
        self.cycle(self.drawn(1), self.reference_pa, self.period_us)
        if self.random.random() < 0.5:
            self.tell(RELEASE)
        timeout_us = self.words[at.TIMEOUT_US]
        for _ in range(count - 1):
            self.cycle((NO_DEMAND, 0, 0), self.reference_pa, timeout_us // (count // 2 + 1) + 1)

    def doubted(self, count: int) -> None:
        """The sensor dies, comes back, reads the end of its scale."""
        self.tell(START, 0, 0)
        for i in range(count):
            pressure_pa = (self.reference_pa, self.reference_pa, 0, 3 * self.reference_pa)[i % 4]
            self.cycle(self.drawn(1), pressure_pa, self.period_us)

    def without_thrust(self, count: int) -> None:
        """After the burn, when readings count as they stand."""
        self.tell(START, self.words[at.TRUST_US], 0)
        low_pa = self.words[at.PA_MIN]
        for i in range(count):
            pressure_pa = low_pa + self.random.randint(-low_pa // 2, low_pa // 2)
            self.cycle(self.drawn(1), 0 if i % 3 == 0 else pressure_pa, self.period_us)

    def odd_steps(self, count: int) -> None:
        for _ in range(count):
            dt_us = self.random.choice((0, 1, 700, 60_000, 500_001, 2_000_000, 17_000_000, -5))
            self.cycle(self.drawn(1), self.reference_pa, dt_us)
