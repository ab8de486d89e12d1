"""How the cost of a batch grows with its rows, and how much memory it takes beside them."""

import tracemalloc
from dataclasses import dataclass
from typing import Any

import numpy as np

from mixer.ground.batch.allocate_batch import PIECE, allocate_batch
from mixer.ground.batch.steerings import Steerings
from mixer.ground.tables.build import flight_tables
from tests.bench.clock import seconds_once
from tests.bench.problems import Problems, draw

ENOUGH_S = 0.5
PASSES = 15  # of a million rows: other programs in the shared cache slow a pass down


@dataclass(frozen=True)
class Growth:
    """One batch: its rows, seconds of processor time, bytes beside input and output at the peak."""

    rows: int
    seconds: float
    spare_bytes: int


def grown(rows: int) -> Growth:
    problems = draw(rows)
    few = max(4, min(30, int(ENOUGH_S / (rows * 1e-7 + 1e-3))))
    seconds = seconds_once(lambda: allocate_batch(problems.car, problems.demands_nm), few)
    return Growth(rows, seconds, spare_bytes(problems))


def spare_bytes(problems: Problems) -> int:
    """Peak memory of one call, less what it returns."""
    tracemalloc.start()
    result = allocate_batch(problems.car, problems.demands_nm)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak - sum(column.nbytes for column in vars(result).values())


def whole_rate(problems: Problems, **conditions: Any) -> float:
    """Rows a second of `allocate_batch`."""
    car, demands_nm = problems.car, problems.demands_nm
    return len(demands_nm) / seconds_once(
        lambda: allocate_batch(car, demands_nm, **conditions), PASSES
    )


def block_rate(problems: Problems, steerings: int) -> float:
    """Control cycles a second of steerings that run side by side."""
    block = Steerings(flight_tables(problems.car), steerings)
    demands = np.rint(problems.demands_nm * 1000).astype(np.int64).T
    pressure_pa = np.full(steerings, round(problems.car.engine.chamber_pressure_bar * 1e5))
    period_us = np.full(steerings, 5000)
    firsts = range(0, 50 * steerings, steerings)

    def call() -> None:
        for first in firsts:
            block.demand(demands[:, first : first + steerings])
            block.step(pressure_pa, period_us)

    return steerings * len(firsts) / seconds_once(call)


def clipped_rate(problems: Problems) -> float:
    """Rows a second of the clipped pseudo-inverse, in pieces that stay in cache."""
    wanted = np.ascontiguousarray(problems.wanted_counts.T)
    angle_rad = np.radians(problems.car.layout.clocking_deg)
    inverse = np.linalg.pinv(np.array([np.cos(angle_rad), np.sin(angle_rad), np.ones(4)]))
    lo, hi = problems.lo[:, None], problems.hi[:, None]
    forces = np.empty((4, wanted.shape[1]))

    def call() -> None:
        for start in range(0, wanted.shape[1], PIECE):
            some = slice(start, start + PIECE)
            np.matmul(inverse, wanted[:, some], out=forces[:, some])
            np.maximum(forces[:, some], lo, out=forces[:, some])
            np.minimum(forces[:, some], hi, out=forces[:, some])

    return wanted.shape[1] / seconds_once(call, PASSES)
