"""Many demands at once, each on its own: the flight core, row after row, on all cores."""

import weakref
from array import array
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mixer.flight import layout as at
from mixer.ground.batch.compiled import Machine, machine, new_words
from mixer.ground.batch.conditions import Conditions, refuse_first
from mixer.ground.batch.cores import in_parts
from mixer.ground.batch.demand_rows import LANE_WORDS
from mixer.ground.inputs.arrays import LATEST_S, VANES, Array
from mixer.ground.lanes import LANES
from mixer.ground.tables.angles import cosine, sine
from mixer.ground.tables.build import flight_tables
from mixer.ground.tables.scales import EIGHTHS, largest_force_n
from mixer.ground.vehicle.vehicle import Vehicle

PIECE = 65536  # rows whose own lever arms are worked out together
PART = 8192  # rows worth a thread: what starts it takes as long as some hundred of them
WIDE_MDEG = 1 << 20  # slew holds nothing back
AXES = ("pitch", "yaw", "roll")


@dataclass(frozen=True)
class BatchResult:
    """What came of N demands. Each column is dense in memory."""

    moments_nm: Array  # (N, 3) pitch, yaw, roll that the forces give
    deflections_deg: Array  # (N, 4)
    pulses_us: Array  # (N, 4)
    force_eighths: NDArray[np.int32]  # (N, 4) forces in eighths of a count
    flags: NDArray[np.uint8]  # (N,) as numbered in `mixer.flight.layout`

    @classmethod
    def empty(cls, n: int) -> "BatchResult":
        """Room for n rows, to be given as `out`."""
        return cls(
            np.empty((3, n)).T,
            np.empty((4, n)).T,
            np.empty((4, n)).T,
            np.empty((4, n), np.int32).T,
            np.empty(n, np.uint8),
        )

    def rows(self, rows: slice) -> "BatchResult":
        """A view of some rows."""
        return BatchResult(*(column[rows] for column in vars(self).values()))

    @property
    def force_counts(self) -> Array:
        """Forces in counts, (N, 4): 4096 is the largest of any new vane within its travel."""
        return self.force_eighths / 8


def allocate_batch(
    vehicle: Vehicle,
    demands_nm: ArrayLike,
    burn_time_s: ArrayLike = 0.0,
    *,
    chamber_pressure_bar: ArrayLike | None = None,
    burn_load_s: ArrayLike | None = None,
    jammed: ArrayLike | None = None,
    out: BatchResult | None = None,
) -> BatchResult:
    """Allocate N demands, each row on its own and with all the time it takes to get there.

    demands_nm (N, 3): pitch, yaw, roll in N·m, rounded to whole mN·m as the flight core gets them.
    burn_time_s, chamber_pressure_bar, burn_load_s: one number for all rows, or (N,). Without a
    pressure it is the reference pressure; without a burn load it is the burn time, as if the
    engine had burnt at its reference pressure.
    jammed (4,) or (N, 4): deflection in deg of the vanes that stand still, NaN for those that
    move. A deflection beyond the travel stands at its end.
    out: `BatchResult.empty(N)`, filled and returned; whoever calls often saves the system from
    finding new memory each time.

    Deflections, pulses, forces and flags equal those of `mixer.flight.Steering`, bit for bit,
    where slew holds nothing back. ValueError names the row, the value and what is allowed.
    """
    demands = np.require(demands_nm, np.float64, "A")
    if demands.ndim != 2 or demands.shape[1] != len(AXES):
        raise ValueError(f"demands_nm: shape {demands.shape}; must be (N, 3): pitch, yaw, roll")
    conditions = Conditions.given(
        vehicle, len(demands), burn_time_s, chamber_pressure_bar, burn_load_s, jammed
    )
    result = BatchResult.empty(len(demands)) if out is None else out
    if len(result.flags) != len(demands):
        raise ValueError(
            f"out: {len(result.flags)} rows; must be {len(demands)}, as demands_nm has"
        )
    words, runner = prepared_words(vehicle), machine(len(demands))
    batch = Batch(vehicle, demands, conditions, result, words)
    least = PART if runner.threads else max(1, len(demands))
    if not all(in_parts(len(demands), least, lambda rows: batch.work_out(rows, runner))):
        conditions.refuse_wrong()
        refuse_demands(demands, words)
    return result


@dataclass(frozen=True)
class Batch:
    """Demands of one vehicle, what they stand under, and where the answers go."""

    vehicle: Vehicle
    demands_nm: Array
    conditions: Conditions
    result: BatchResult
    words: array

    def work_out(self, rows: slice, runner: Machine) -> bool:
        """Answer some rows; False, and some of them not answered, where one is refused."""
        words = runner.words(self.words)
        lanes = runner.words(array("i", [0]) * (LANES * LANE_WORDS))
        step = PIECE if len(self.conditions.time_s) > 1 else len(self.demands_nm)
        starts = range(rows.start, rows.stop, max(1, step))
        pieces = (slice(start, min(start + step, rows.stop)) for start in starts)
        return all(self._answered(piece, runner, words, lanes) for piece in pieces)

    def _answered(self, rows: slice, runner: Machine, words: Any, lanes: Any) -> bool:
        answered = runner.function("allocate_rows")(
            words,
            lanes,
            self.demands_nm[rows],
            *(column[rows] for column in self.conditions.spread),
            int(not self.conditions.shared),
            LATEST_S,
            self.conditions.most_bar,
            self._directions,
            self._per_eighth_nm(rows),
            self._eighth_n * self.vehicle.layout.roll_arm_m,
            *vars(self.result.rows(rows)).values(),
        )
        return answered == rows.stop - rows.start

    @cached_property
    def _eighth_n(self) -> float:
        return largest_force_n(self.vehicle) / EIGHTHS

    @cached_property
    def _directions(self) -> Array:
        clocking_deg = self.vehicle.layout.clocking_deg
        return np.array([cosine(clocking_deg), sine(clocking_deg)])

    def _per_eighth_nm(self, rows: slice) -> Array:
        """What the lever arm makes of an eighth of a count, at burn times in whole µs."""
        time_s = self.conditions.time_s
        time_s = time_s if len(time_s) == 1 else time_s[rows]
        arm_m = self.vehicle.lever_arm_m_at(np.rint(np.minimum(time_s * 1e6, at.LAST_US)) * 1e-6)
        return np.broadcast_to(self._eighth_n * arm_m, rows.stop - rows.start)


_prepared: dict[int, array] = {}  # by the id of a vehicle, for as long as it lives


def prepared_words(vehicle: Vehicle) -> array:
    """The words of a steering of the vehicle which slew does not hold back, built once."""
    key = id(vehicle)
    if key not in _prepared:
        words = new_words(flight_tables(vehicle))
        words[at.STEP : at.STEP + VANES] = array("i", [WIDE_MDEG] * VANES)
        _prepared[key] = words
        weakref.finalize(vehicle, _prepared.pop, key, None)
    return _prepared[key]


def refuse_demands(demands_nm: Array, words: array) -> None:
    """ValueError for the first demand that no steering takes."""
    for axis, name in enumerate(AXES):
        most_mnm = words[at.ROLL_MNM_MAX if name == "roll" else at.MNM_MAX]
        wrong = ~(np.abs(np.rint(demands_nm[:, axis] * 1000)) <= most_mnm)  # NaN too
        allowed = f"must be from {-most_mnm / 1000:g} to {most_mnm / 1000:g} N·m"
        refuse_first(f"demands_nm, {name}", demands_nm[:, axis], wrong, allowed)
