"""What a node is put through in a rehearsal: recorded demands, and random ones for every flag.

Each function drives a NodeLink; over a `hil.verify.rehearsal.Recorder` that makes a record to be
played to a board. Random runs are the same for the same seed.
"""

import random
from collections.abc import Callable, Iterable

from firmware_port import protocol as p
from hil.node.node_link import NodeLink, demand_contents
from mixer.flight import FlightTables
from mixer.flight import layout as at

LARGEST_VANES = 1024  # the largest demand taken, in forces of the largest vane, is at least this
LONGEST_US = 0x7FFFFF
SEGMENT = (20, 120)  # cycles
SETTLED = 5  # cycles in the safe state before the first arming, which every node goes through


def settle(link: NodeLink, period_us: int) -> None:
    """Let the safe state go through its first cycles."""
    for _ in range(SETTLED):
        link.let_pass(period_us)


class RandomCycles:
    """Random segments of cycles: demands inside, at and far beyond authority, jams, wear, silence.

    tables: what the node flies. seed: the same seed gives the same cycles.
    """

    def __init__(self, link: NodeLink, tables: FlightTables, seed: int):
        self.link = link
        self.words = tables.words
        self.random = random.Random(seed)
        self.cycles = 0
        self.primary_mnm = max(self.words[at.MNM_MAX] // LARGEST_VANES, 1)
        self.roll_mnm = max(self.words[at.ROLL_MNM_MAX] // LARGEST_VANES, 1)
        self.reference_pa = self.words[at.PA_MAX] // 2
        steady, ends = self._steady, self._ends
        self.pressures = (steady, steady, self._wandering, self._starting, ends)
        self.demands: tuple[Callable[[], tuple[int, int, int]], ...] = (
            self._inside,
            self._saturating,
            self._saturating,
            self._far,
            self._flipping,
            self._corner,
            self._any,
        )

    def run(self, cycles: int) -> None:
        """At least so many cycles, from the safe state and back to it."""
        settle(self.link, self.words[at.PERIOD_US])
        while self.cycles < cycles:
            self._begin()
            for _ in range(self.random.randint(2, 6)):
                self._segment()
            self.link.disarm()
            self._demand(self._inside(), self.reference_pa)

    def _begin(self) -> None:
        """Vanes as new or worn; armed."""
        if self.random.random() < 0.7:
            time_us = self.random.randint(0, 40_000_000)
            self.link.burn(time_us, self.random.randint(0, time_us))
        self.link.arm()

    def _segment(self) -> None:
        choose = self.random
        self.link.pace(self._pace_us(), forces=True)
        if choose.random() < 0.35:
            self._jam_or_free()
        pressure = choose.choice(self.pressures)
        demand = choose.choice(self.demands)
        held = demand()
        for i in range(choose.randint(*SEGMENT)):
            if choose.random() < 0.3:
                held = demand()
            self._demand(held, pressure(i))
        if choose.random() < 0.3:
            self._silence()

    def _demand(self, demand: tuple[int, int, int], pressure_pa: int) -> None:
        self.link.demand(*demand, pressure_pa)
        self.cycles += 1

    def _pace_us(self) -> int:
        period_us = self.words[at.PERIOD_US]
        usual = (period_us, period_us, period_us, 2 * period_us)
        rare = (self.random.randint(1, 900), self.random.randint(1000, 60_000), 400_000)
        return self.random.choice((*usual, *rare))

    def _jam_or_free(self) -> None:
        vane = self.random.randint(1, 4)
        if self.random.random() < 0.5:
            self.link.free(vane)
        else:
            lo = self.words[at.TRAVEL_LO + vane - 1]
            hi = self.words[at.TRAVEL_HI + vane - 1]
            beyond = (hi - lo) // 8
            self.link.jam(vane, self.random.choice((0, self.random.randint(lo - beyond, hi))))

    def _silence(self) -> None:
        """No demands until long after the timeout."""
        step_us = min(self._pace_us(), LONGEST_US)
        waited_us = 0
        while waited_us < 1.5 * self.words[at.TIMEOUT_US]:
            self.link.let_pass(step_us)
            self.cycles += 1
            waited_us += max(step_us, self.words[at.TIMEOUT_US] // 40)

    # ---- pressures, Pa, at the i-th cycle of a segment ------------------------------------------

    def _steady(self, i: int) -> int:
        return self.reference_pa

    def _wandering(self, i: int) -> int:
        return self.random.randint(0, 5 * self.reference_pa // 2)

    def _starting(self, i: int) -> int:
        return i * self.reference_pa // 60

    def _ends(self, i: int) -> int:
        """The ends of the vehicle's range and of what a frame carries, and beside them."""
        least, most = self.words[at.PA_MIN], self.words[at.PA_MAX]
        ends = (0, 1, least - 1, least, most - 1, most, most + 1, p.PRESSURE_MOST_PA)
        return self.random.choice(ends)

    # ---- demands, mN·m --------------------------------------------------------------------------

    def _spread(self, vanes: float) -> tuple[int, int, int]:
        primary = int(vanes * self.primary_mnm)
        roll = int(vanes * self.roll_mnm)
        return (
            self.random.randint(-primary, primary),
            self.random.randint(-primary, primary),
            self.random.randint(-roll, roll),
        )

    def _inside(self) -> tuple[int, int, int]:
        return self._spread(0.5)

    def _saturating(self) -> tuple[int, int, int]:
        return self._spread(5)

    def _far(self) -> tuple[int, int, int]:
        return self._spread(LARGEST_VANES)

    def _flipping(self) -> tuple[int, int, int]:
        pitch, yaw, roll = self._spread(2)
        sign = self.random.choice((-1, 1))
        return sign * abs(pitch), sign * abs(yaw), -sign * abs(roll)

    def _corner(self) -> tuple[int, int, int]:
        sides = [self.random.choice((-2, 0, 2)) for _ in range(3)]
        return (
            sides[0] * self.primary_mnm,
            sides[1] * self.primary_mnm,
            sides[2] * self.roll_mnm,
        )

    def _any(self) -> tuple[int, int, int]:
        """Now and then out of range."""
        if self.random.random() < 0.2:
            return self.random.choice((-1, 1)) * (self.words[at.MNM_MAX] + 1), 0, 0
        return self._spread(1)


def recorded(link: NodeLink, tables: FlightTables, rows: Iterable[tuple[int, ...]]) -> int:
    """Recorded demands: rows of dt µs, pitch, yaw, roll mN·m, pressure Pa. Returns the cycles."""
    settle(link, tables.words[at.PERIOD_US])
    link.arm()
    pace_us = 0
    cycles = 0
    for dt_us, pitch, yaw, roll, pressure_pa in rows:
        if dt_us != pace_us:
            pace_us = dt_us
            link.pace(min(max(pace_us, 1), LONGEST_US), forces=True)
        link.request(p.DEMAND, demand_contents(pitch, yaw, roll, pressure_pa))
        cycles += 1
    link.disarm()
    return cycles


def flight(tables: FlightTables, cycles: int) -> Iterable[tuple[int, ...]]:
    """An invented burn as rows for `recorded`: start-up, a slow swing, gusts, roll, tail-off."""
    words = tables.words
    primary = words[at.MNM_MAX] // LARGEST_VANES
    roll = words[at.ROLL_MNM_MAX] // LARGEST_VANES
    gusts = random.Random(20)
    gust = 0
    for i in range(cycles):
        if i % 97 == 0:
            gust = gusts.randint(-primary, primary)
        swing = (i % 800 - 400) * primary // 300
        burning = min(i * 20, 1000, max(1000 - (i - cycles + 80) * 15, 0))
        pressure_pa = words[at.PA_MAX] // 2 * burning // 1000
        yield (
            words[at.PERIOD_US],
            swing + gust,
            gust - swing // 2,
            (i // 60 % 3 - 1) * roll,
            pressure_pa,
        )
