"""A campaign of dispersed flights: blocks of seeds, flown by any executor, kept as they come."""

from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from hil.campaigns.flight_table import FlightTable
from hil.campaigns.plans import FLIGHTS_A_BLOCK, Plan, Task, fly_task
from hil.campaigns.workers import run_blocks
from mixer.ground.inputs.arrays import Array
from mixer.ground.vehicle.requirements import Requirements
from mixer.ground.vehicle.vehicle import Vehicle

Block = tuple[int, int]  # first seed, number of flights

# What a campaign reports on: column, unit, and whether much of it is bad.
JUDGED = (
    ("attitude_error_deg", "deg", True),
    ("roll_rate_deg_s", "deg/s", True),
    ("margin_percent", "%", False),
)
QUANTILES = (0.5, 0.9, 0.99)
WORST = 5


def blocks_of(first_seed: int, flights: int) -> list[Block]:
    """Blocks that do not depend on how many flights there are in all, save the last one."""
    end = first_seed + flights
    return [
        (start, min(FLIGHTS_A_BLOCK, end - start))
        for start in range(first_seed, end, FLIGHTS_A_BLOCK)
    ]


def fly_campaign(
    vehicle: Vehicle,
    blocks: list[Block],
    table: FlightTable,
    executor: Executor,
    workers: int,
    watch_jams: bool = True,
    done: Callable[[int], None] = lambda flights: None,
) -> int:
    """Fly the blocks that are not there yet; how many flights that were.

    `done` gets how many flights are there so far. Interrupted, it leaves whole blocks only.
    """
    missing = [block for block in blocks if not table.holds(*block)]
    there = sum(flights for _, flights in blocks) - sum(flights for _, flights in missing)
    flown = 0
    done(there)
    tasks = (
        Task(vehicle, tuple(Plan(seed) for seed in range(first, first + flights)), watch_jams)
        for first, flights in missing
    )
    for task, columns in run_blocks(executor, workers, fly_task, tasks):
        table.write(int(columns["seed"][0]), columns)
        flown += len(task.plans)
        done(there + flown)
    return flown


@dataclass
class Spread:
    """How one figure is spread over the flights."""

    column: str
    unit: str
    much_is_bad: bool
    values: Array
    seeds: NDArray[np.int64]
    limit: float | None
    worst: list[int] = field(init=False)  # rows, the worst first

    def __post_init__(self) -> None:
        # What could not be judged is worse than anything that could.
        bad = self.values if self.much_is_bad else -self.values
        self.worst = np.argsort(-np.where(np.isnan(bad), np.inf, bad), kind="stable")[
            :WORST
        ].tolist()

    @property
    def name(self) -> str:
        """The figure in words."""
        return {
            "attitude_error_deg": "attitude error",
            "roll_rate_deg_s": "roll rate",
            "margin_percent": "authority margin",
        }[self.column]

    @property
    def quantiles(self) -> list[float]:
        """Median and the quantiles towards the bad end; NaN where no whole flight lies beyond."""
        judged = self.values[~np.isnan(self.values)]
        if not len(judged):
            return [float("nan")] * len(QUANTILES)
        shares = [share if self.much_is_bad else 1.0 - share for share in QUANTILES]
        values = np.quantile(judged, shares)
        enough = [share == 0.5 or len(judged) >= round(1.0 / (1.0 - share)) for share in QUANTILES]
        return [float(value) for value in np.where(enough, values, np.nan)]

    @property
    def failed(self) -> int:
        """How many flights break the requirement; those never judged always do."""
        if self.limit is None:
            return 0
        good = self.values <= self.limit if self.much_is_bad else self.values >= self.limit
        return int(np.count_nonzero(~good))


def spreads(
    table: FlightTable, blocks: list[Block], requirements: Requirements | None
) -> list[Spread]:
    """The figures of a flown campaign. Memory: four numbers a flight."""
    names = ["seed", *(column for column, _, _ in JUDGED)]
    parts = list(table.read(blocks, names))
    whole = {name: np.concatenate([part[name] for part in parts]) for name in names}
    limits = requirements or Requirements()
    return [
        Spread(column, unit, much, whole[column], whole["seed"], getattr(limits, column))
        for column, unit, much in JUDGED
    ]
