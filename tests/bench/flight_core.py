"""The flight core on this computer, as Python and compiled, on the problems of `problems`."""

from collections.abc import Callable

import numpy as np

from mixer.flight import Steering
from mixer.flight import layout as at
from mixer.flight.allocate import allocate
from mixer.ground.batch.compiled import compiled_steering
from mixer.ground.tables.build import flight_tables
from tests.bench.problems import Problems

FAST = 1 << 29  # in 0.001° a ms: slew holds nothing back, as for the solvers
STEP_US = 1


class FlightCore:
    """One steering, and for each problem what its allocation starts from."""

    def __init__(self, problems: Problems, compiled: bool = False):
        tables = flight_tables(problems.car)
        self.pressure_pa = round(problems.car.engine.chamber_pressure_bar * 1e5)
        self.steering = (compiled_steering if compiled else Steering)(tables)
        self.demands_mnm = problems.demands_mnm
        self.words = self.steering._w
        self.words[at.SLEW_HIGH : at.SLEW_HIGH + 4] = type(self.words)("i", [FAST] * 4)

    def wanted(self, row: int) -> list[int]:
        """The allocation's input: what a whole cycle makes of the demand."""
        self.steering.demand(*self.demands_mnm[row])
        self.steering.step(self.pressure_pa, STEP_US)
        return self.words[at.WANT : at.WANT + 3].tolist()

    def allocation(self) -> Callable[[list[int]], None]:
        """Target, primary, roll, effort: from what is wanted and the boxes to four forces."""
        words, want = self.words, at.WANT

        def call(wanted: list[int]) -> None:
            words[want], words[want + 1], words[want + 2] = wanted
            allocate(words, 0)

        return call

    def cycle(self) -> Callable[[list[int]], None]:
        """Take a demand and step: the whole control cycle."""
        steering, pressure_pa = self.steering, self.pressure_pa

        def call(demand_mnm: list[int]) -> None:
            steering.demand(*demand_mnm)
            steering.step(pressure_pa, STEP_US)

        return call

    def forces_counts(self, row: int) -> np.ndarray:
        self.wanted(row)
        return np.array(self.steering.force) / 8
