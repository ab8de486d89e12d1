"""The flight core for a whole block of flights: one `Steering` each, so the very same integers."""

from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from mixer.flight import FlightTables, Steering
from mixer.flight.layout import MNM_MAX, ROLL_MNM_MAX

Integers = NDArray[np.int64]
Flags = NDArray[np.bool_]


class Commands:
    """What the steering of N flights put out last: four pulses and deflections each."""

    def __init__(self, flights: int):
        self.pulse_ns = np.zeros((4, flights), np.int64)
        self.deflection_mdeg = np.zeros((4, flights), np.int64)
        self.moment_mnm = np.zeros((3, flights), np.int64)  # pitch, yaw, roll
        self.flags = np.zeros(flights, np.int64)


def most_demanded(tables: FlightTables) -> tuple[int, int]:
    """The largest pitch and yaw demand and the largest roll demand that are taken, mN·m."""
    return tables.words[MNM_MAX], tables.words[ROLL_MNM_MAX]


class SteeringBlock(Protocol):
    """Anything that steers N flights: the flight core here or on a board, or a rival to compare."""

    commands: Commands
    most_mnm: tuple[int, int]  # pitch and yaw, roll: demands beyond are not taken

    def cycle(
        self, demand_mnm: Integers, heard: Flags, pressure_pa: Integers, dt_us: Integers
    ) -> None:
        """One control cycle: demands (3, N), whether each arrived, pressures and times (N,).

        The pressure comes with the demand; where none arrives, the last one holds. A flight whose
        time is 0 has no cycle now: what it commands stays.
        """
        ...

    def garbled(self, flight: int, demand_mnm: list[int]) -> None:
        """One flight's demand frame comes damaged; where there is a line, it has to notice."""
        ...

    def jam(self, flight: int, vane: int, deflection_mdeg: int) -> None:
        """Tell one flight's steering that a vane (1 to 4) stands still."""
        ...

    def free(self, flight: int, vane: int) -> None:
        """Tell it that the vane moves again."""
        ...

    def reset(self, flight: int) -> None:
        """Start one flight's steering anew, as after a loss of power."""
        ...


class LaptopBlock:
    """The flight core on this computer, from one set of flight tables per flight."""

    def __init__(self, tables: Sequence[FlightTables]):
        self._steering = [Steering(each) for each in tables]
        self.most_mnm = most_demanded(tables[0])
        self._pressure_pa = [0] * len(tables)
        self.commands = Commands(len(tables))
        for flight in range(len(tables)):
            self._read(flight)

    def cycle(
        self, demand_mnm: Integers, heard: Flags, pressure_pa: Integers, dt_us: Integers
    ) -> None:
        rows = zip(
            self._steering,
            demand_mnm.T.tolist(),
            heard.tolist(),
            pressure_pa.tolist(),
            dt_us.tolist(),
            strict=True,
        )
        for flight, (steering, demand, arrived, pressure, elapsed) in enumerate(rows):
            if arrived:
                steering.demand(*demand)
                self._pressure_pa[flight] = pressure
            if elapsed:
                steering.step(self._pressure_pa[flight], elapsed)
                self._read(flight)

    def garbled(self, flight: int, demand_mnm: list[int]) -> None:
        """There is no line: a damaged demand is one that does not arrive."""

    def jam(self, flight: int, vane: int, deflection_mdeg: int) -> None:
        self._steering[flight].jam(vane, deflection_mdeg)

    def free(self, flight: int, vane: int) -> None:
        self._steering[flight].free(vane)

    def reset(self, flight: int) -> None:
        self._steering[flight].reset()
        self._pressure_pa[flight] = 0
        self._read(flight)

    def _read(self, flight: int) -> None:
        steering = self._steering[flight]
        self.commands.pulse_ns[:, flight] = steering.pulse_ns
        self.commands.deflection_mdeg[:, flight] = steering.deflection_mdeg
        self.commands.moment_mnm[:, flight] = steering.moment_mnm
        self.commands.flags[flight] = steering.flags
