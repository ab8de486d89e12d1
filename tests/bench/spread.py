"""What further cores gain a batch, beside processes that share nothing: what these cores can do.

Wants the computer for itself. Other programs, also those of other guests of a shared machine, slow
one core or both for seconds: so the fastest passes of a moment of some seconds are compared, and
the median of the moments stands for all.
"""

import time
from collections.abc import Callable
from dataclasses import dataclass
from multiprocessing import get_context
from multiprocessing.connection import Connection
from statistics import median

import numpy as np

from mixer.ground.batch import cores
from mixer.ground.batch.allocate_batch import BatchResult, allocate_batch
from tests.bench.problems import draw

ROWS = 1_000_000
PASSES, MOMENTS = 15, 15


@dataclass(frozen=True)
class Spread:
    """Wall time of a row, fastest of each moment."""

    cores: int
    on_one_s: np.ndarray  # (moments,)
    on_all_s: np.ndarray
    apart_s: np.ndarray  # on as many processes as cores, with a share of the rows each

    @property
    def gains(self) -> list[float]:
        return sorted(self.on_one_s / self.on_all_s)

    @property
    def gain_apart(self) -> float:
        return median(self.on_one_s / self.apart_s)


class Batch:
    """A batch that is worked out again and again, into memory used again."""

    def __init__(self, rows: int):
        self.problems = draw(rows)
        self.room = BatchResult.empty(rows)  # what finds new memory is no arithmetic
        self.run(1)

    def run(self, core_count: int) -> None:
        usual = cores.core_count
        cores.core_count = lambda: core_count
        try:
            allocate_batch(self.problems.car, self.problems.demands_nm, out=self.room)
        finally:
            cores.core_count = usual


def keep_running(rows: int, told: Connection) -> None:
    """A process that runs its batch whenever it is told something true."""
    batch = Batch(rows)
    told.send(True)
    while told.recv():
        batch.run(1)
        told.send(True)


def spread(count: int) -> Spread:
    """Measure on one core and on `count`."""
    spawn = get_context("spawn")
    share = ROWS // count
    lines = []
    for _ in range(count - 1):
        line, far_end = spawn.Pipe()
        spawn.Process(target=keep_running, args=(share, far_end), daemon=True).start()
        lines.append(line)
    whole, own = Batch(ROWS), Batch(share)

    def apart() -> None:
        for line in lines:
            line.send(True)
        own.run(1)
        for line in lines:
            line.recv()

    for line in lines:
        line.recv()
    ways = (lambda: whole.run(1), lambda: whole.run(count), apart)
    fastest = np.array(
        [
            np.min([[seconds(way) for way in ways] for _ in range(PASSES)], axis=0)
            for _ in range(MOMENTS)
        ]
    )
    for line in lines:
        line.send(False)
    return Spread(count, *fastest.T / ROWS)


def seconds(way: Callable[[], None]) -> float:
    started = time.perf_counter()
    way()
    return time.perf_counter() - started
