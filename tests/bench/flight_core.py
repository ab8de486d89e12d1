"""The flight core in CPython, on the problems of `problems`."""

from collections.abc import Callable

import numpy as np
from mixer.flight.along import along
from mixer.flight.nearest import nearest
from mixer.flight.secondary import secondary

from mixer.flight import Steering
from mixer.flight import layout as at
from tests.bench.problems import Problems

WIDE_MDEG = 1 << 20  # slew holds nothing back, as for the solvers


class FlightCore:
    """One steering, and for each problem what its allocation starts from."""

    def __init__(self, problems: Problems):
        tables = problems.car.flight_tables()
        self.pressure_pa = round(problems.car.engine.chamber_pressure_bar * 1e5)
        self.steering = Steering(tables)
        self.demands_mnm = problems.demands_mnm
        self.words = self.steering._w
        self.words[at.STEP : at.STEP + 4] = type(self.words)("i", [WIDE_MDEG] * 4)
        self.primary = along if self.words[at.POLICY] else nearest

    def wanted(self, row: int) -> list[int]:
        """The allocation's input: what a whole cycle makes of the demand."""
        self.steering.demand(*self.demands_mnm[row])
        self.steering.step(self.pressure_pa, 0)
        return self.words[at.WANT : at.WANT + 3].tolist()

    def allocation(self) -> Callable[[list[int]], None]:
        """Primary, roll, effort: from what is wanted and the box to four forces."""
        words, primary = self.words, self.primary
        want = at.WANT

        def call(wanted: list[int]) -> None:
            words[want], words[want + 1], words[want + 2] = wanted
            primary(words)
            secondary(words)

        return call

    def cycle(self) -> Callable[[list[int]], None]:
        """Take a demand and step: the whole control cycle."""
        steering, pressure_pa = self.steering, self.pressure_pa

        def call(demand_mnm: list[int]) -> None:
            steering.demand(*demand_mnm)
            steering.step(pressure_pa, 0)  # 0: slew stays out of the way, all else is done

        return call

    def forces_counts(self, row: int) -> np.ndarray:
        self.wanted(row)
        return np.array(self.steering.force) / 8
