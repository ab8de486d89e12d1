"""Many demands at once, each on its own: the flight core's integers, a whole column at a time."""

import weakref
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mixer.flight import layout as at
from mixer.ground.batch_allocator import BatchAllocator
from mixer.ground.batch_conditions import Conditions, GivenConditions, refuse_first
from mixer.ground.batch_schedule import put_in_eighths
from mixer.ground.batch_tables import BatchTables
from mixer.ground.batch_words import Reals, Words
from mixer.ground.tables import EIGHTHS, cosine, largest_force_n, sine
from mixer.ground.vehicle import Vehicle

CHUNK = 65536  # rows worked on together, measured: fewer leave more of the time to Python
AXES = ("pitch", "yaw", "roll")


@dataclass(frozen=True)
class BatchResult:
    """What came of N demands. Each column is dense in memory."""

    moments_nm: Reals  # (N, 3) pitch, yaw, roll that the forces give
    deflections_deg: Reals  # (N, 4)
    pulses_us: Reals  # (N, 4)
    force_eighths: Words  # (N, 4) forces in eighths of a count
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
    def force_counts(self) -> Reals:
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
    demands = np.asarray(demands_nm, dtype=np.float64)
    if demands.ndim != 2 or demands.shape[1] != len(AXES):
        raise ValueError(f"demands_nm: shape {demands.shape}; must be (N, 3): pitch, yaw, roll")
    conditions = GivenConditions(
        vehicle, len(demands), burn_time_s, chamber_pressure_bar, burn_load_s, jammed
    )
    result = BatchResult.empty(len(demands)) if out is None else out
    if len(result.flags) != len(demands):
        raise ValueError(
            f"out: {len(result.flags)} rows; must be {len(demands)}, as demands_nm has"
        )
    t = prepared_tables(vehicle)
    chunk: Chunk | None = None
    for start in range(0, len(demands), CHUNK):
        rows = slice(start, min(start + CHUNK, len(demands)))
        if chunk is None or chunk.n != rows.stop - start:
            chunk = Chunk(vehicle, t, rows.stop - start, conditions)
        chunk.work_out(demands[rows], rows, result.rows(rows))
    return result


_prepared: dict[int, BatchTables] = {}  # by the id of a vehicle, for as long as it lives


def prepared_tables(vehicle: Vehicle) -> BatchTables:
    """The vehicle's tables for batches, built once."""
    key = id(vehicle)
    if key not in _prepared:
        _prepared[key] = BatchTables(vehicle.flight_tables())
        weakref.finalize(vehicle, _prepared.pop, key)
    return _prepared[key]


class Chunk:
    """Room to work out n rows of one vehicle together."""

    def __init__(self, vehicle: Vehicle, t: BatchTables, n: int, conditions: GivenConditions):
        self.vehicle, self.t, self.n, self.conditions = vehicle, t, n, conditions
        self.allocator = BatchAllocator(t, n, 1 if conditions.shared else n)
        self._real, self._mnm = np.zeros(n), np.zeros(n, np.int64)
        clocking_deg = vehicle.layout.clocking_deg
        self._eighth_n = largest_force_n(vehicle) / EIGHTHS
        self._directions = np.array([cosine(clocking_deg), sine(clocking_deg)])
        self._sum = np.zeros(n, np.int32)
        if conditions.shared:
            self._prepare(conditions.of(slice(0, n)))

    def work_out(self, demands_nm: Reals, rows: slice, result: BatchResult) -> None:
        """Fill `result`, n rows, from demands (n, 3); `rows` are theirs in the whole batch."""
        if not self.conditions.shared:
            self._prepare(self.conditions.of(rows))
        self._put_demands(demands_nm, rows.start)
        allocator = self.allocator
        allocator.force = result.force_eighths.T
        if self.conditions.shared:
            allocator.allocate_reals(result.deflections_deg.T, result.pulses_us.T)
        else:
            allocator.allocate()
            np.divide(allocator.deflection_mdeg, 1000, out=result.deflections_deg.T)
            np.divide(allocator.pulse_ns, 1000, out=result.pulses_us.T)
        self._put_moments(result.moments_nm)
        flags = result.flags
        np.multiply(allocator.roll_limited.view(np.uint8), at.ROLL_LIMITED, out=flags)
        flags |= allocator.primary_limited.view(np.uint8)  # 1, as PRIMARY_LIMITED is
        flags *= self._has_thrust
        flags |= self._flags

    def _prepare(self, conditions: Conditions) -> None:
        """What depends on the conditions alone."""
        self._gain = conditions.put_into(self.allocator.box, self.t)
        self._flags = conditions.flags(self.t).astype(np.uint8)
        self._has_thrust = ~conditions.no_thrust(self.t)
        self._lever_arm_m = self.vehicle.lever_arm_m_at(conditions.time_us * 1e-6)
        self.allocator.prepare()

    def _put_demands(self, demands_nm: Reals, first_row: int) -> None:
        t = self.t
        for axis, name in enumerate(AXES):
            roll = name == "roll"
            most_mnm = t[at.ROLL_MNM_MAX] if roll else t[at.MNM_MAX]
            mnm = np.multiply(demands_nm[:, axis], 1000.0, out=self._real)
            np.rint(mnm, out=mnm)
            if not (mnm.max() <= most_mnm and mnm.min() >= -most_mnm):  # NaN fails too
                allowed = f"must be from {-most_mnm / 1000:g} to {most_mnm / 1000:g} N·m"
                wrong = ~(np.abs(mnm) <= most_mnm)
                refuse_first(f"demands_nm, {name}", demands_nm[:, axis], wrong, first_row, allowed)
            np.copyto(self._mnm, mnm, casting="unsafe")
            gain = t[at.ROLL_GAIN] if roll else self._gain
            exponent = t[at.ROLL_GAIN_EXP] if roll else t[at.GAIN_EXP]
            put_in_eighths(self._mnm, gain, exponent, self.allocator.want[axis])

    def _put_moments(self, moments_nm: Reals) -> None:
        """Pitch, yaw, roll that the forces give, in double precision."""
        force = self.allocator.force
        pitch_nm, yaw_nm, roll_nm = moments_nm.T
        per_eighth_nm = self._eighth_n * self._lever_arm_m
        for moment_nm, row in zip((pitch_nm, yaw_nm), self._directions, strict=True):
            np.multiply(force[0], row[0], out=moment_nm)
            for i in range(1, 4):
                moment_nm += np.multiply(force[i], row[i], out=self._real)
            moment_nm *= per_eighth_nm
        np.add(force[0], force[1], out=self._sum)
        self._sum += force[2]
        self._sum += force[3]
        np.multiply(self._sum, self._eighth_n * self.vehicle.layout.roll_arm_m, out=roll_nm)
