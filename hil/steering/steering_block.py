"""The flight core for a whole block of flights, each with its own state: the very same integers."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from mixer.flight import FlightTables
from mixer.flight.layout import MNM_MAX, ROLL_MNM_MAX, SAID
from mixer.ground.batch.compiled import WORTH
from mixer.ground.batch.steerings import Steerings

Integers = NDArray[np.int64]
Flags = NDArray[np.bool_]


class Commands:
    """What the steering of N flights put out last: four pulses and deflections each."""

    def __init__(self, flights: int):
        self.pulse_ns = np.zeros((4, flights), np.int64)
        self.deflection_mdeg = np.zeros((4, flights), np.int64)
        self.moment_mnm = np.zeros((3, flights), np.int64)  # pitch, yaw, roll
        self.flags = np.zeros(flights, np.int64)


@dataclass(frozen=True)
class Given:
    """What the steering of N flights is given for a cycle: demands (3, N), whether each arrived,
    pressures and times (N,); what the vanes' angle sensors say, (4, N), where there are any.

    The pressure comes with the demand; where none arrives, the last one holds. A flight whose time
    is 0 has no cycle now: what it commands stays.
    """

    demand_mnm: Integers
    heard: Flags
    pressure_pa: Integers
    dt_us: Integers
    seen_mdeg: Integers | None = None

    @property
    def runs(self) -> Flags:
        """(N,): who has a cycle now."""
        return self.dt_us != 0

    def of(self, flights: Integers) -> "Given":
        """The same for some of the flights."""
        seen_mdeg = None if self.seen_mdeg is None else self.seen_mdeg[:, flights]
        return Given(
            self.demand_mnm[:, flights],
            self.heard[flights],
            self.pressure_pa[flights],
            self.dt_us[flights],
            seen_mdeg,
        )


def most_demanded(tables: FlightTables) -> tuple[int, int]:
    """The largest pitch and yaw demand and the largest roll demand that are taken, mN·m."""
    return tables.words[MNM_MAX], tables.words[ROLL_MNM_MAX]


class SteeringBlock(Protocol):
    """Anything that steers N flights: the flight core here or on a board, or a rival to compare."""

    commands: Commands
    most_mnm: tuple[int, int]  # pitch and yaw, roll: demands beyond are not taken

    @property
    def ratio_q14(self) -> Integers | None:
        """(N,): pc/pc_ref that counted last; None where it is not told."""
        ...

    def cycle(self, given: Given) -> None:
        """One control cycle."""
        ...

    def garbled(self, flight: int, demand_mnm: list[int]) -> None:
        """One flight's demand frame comes damaged; where there is a line, it has to notice."""
        ...

    def trust(self, vanes: int) -> None:
        """The angle sensors of these vanes, bit 0 for vane 1, have been seen to follow."""
        ...

    def start(self) -> None:
        """Say to all that the burn has begun, as START over the line does."""
        ...

    def reset(self, flight: int) -> None:
        """Start one flight's steering anew, as after a loss of power."""
        ...


class LaptopBlock:
    """Flights that share one set of flight tables, steered by the flight core on this computer.

    cycles: how many each will run, about.
    """

    def __init__(self, tables: FlightTables, flights: int, cycles: int = WORTH):
        self._steering = Steerings(tables, flights, cycles)
        self.most_mnm = most_demanded(tables)
        self._pressure_pa = np.zeros(flights, np.int64)
        self.ratio_q14 = self._steering.ratio_q14
        self.commands = Commands(flights)
        self._read()

    def cycle(self, given: Given) -> None:
        self._steering.demand(given.demand_mnm, given.heard)
        if given.seen_mdeg is not None:
            self._steering.sensed(given.seen_mdeg, given.runs)
        np.copyto(self._pressure_pa, given.pressure_pa, where=given.heard)
        self._steering.step(self._pressure_pa, given.dt_us, given.runs)
        self._read()

    def garbled(self, flight: int, demand_mnm: list[int]) -> None:
        """There is no line: a damaged demand is one that does not arrive."""

    def trust(self, vanes: int) -> None:
        self._steering.trust(slice(None), vanes)

    def start(self) -> None:
        self._steering.begin(self._steering.burn < SAID)

    def reset(self, flight: int) -> None:
        self._steering.reset(flight)
        self._pressure_pa[flight] = 0
        self._read()

    def _read(self) -> None:
        for name, column in vars(self.commands).items():
            column[:] = getattr(self._steering, name)


class PartedBlock:
    """Several blocks as one: `parts` with the flights that each of them steers."""

    def __init__(self, parts: Sequence[tuple[Integers, SteeringBlock]]):
        self._parts = parts
        self._place = {
            int(flight): (part, place)
            for flights, part in parts
            for place, flight in enumerate(flights)
        }
        self.most_mnm = parts[0][1].most_mnm
        self.ratio_q14 = None
        self.commands = Commands(len(self._place))
        self._read()

    def cycle(self, given: Given) -> None:
        for flights, part in self._parts:
            part.cycle(given.of(flights))
        self._read()

    def garbled(self, flight: int, demand_mnm: list[int]) -> None:
        part, place = self._place[flight]
        part.garbled(place, demand_mnm)

    def trust(self, vanes: int) -> None:
        for _, part in self._parts:
            part.trust(vanes)

    def start(self) -> None:
        for _, part in self._parts:
            part.start()

    def reset(self, flight: int) -> None:
        part, place = self._place[flight]
        part.reset(place)
        self._read()

    def _read(self) -> None:
        for flights, part in self._parts:
            for name, column in vars(self.commands).items():
                column[..., flights] = getattr(part.commands, name)
