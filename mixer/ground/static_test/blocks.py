"""A static test in short blocks: averages over some hundredths of a second.

Vanes move within tenths of a second and burns last many; averages keep all there is to learn from
and make a fit fast, whatever the rate of the log.
"""

import itertools
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.static_test.log import StandLog
from mixer.ground.vehicle.vehicle import Vehicle

BLOCK_S = 0.02
GUARD_S = 0.2  # after ignition the stand rings; before burn-out the pressure has left its level


@dataclass(frozen=True)
class VaneColumns:
    """What the vanes should do, in blocks, (m, 4) each, for new vanes at the blocks' pressures.

    `force_n`; `slope_n_deg` over deflection; `rate_n_s` over time; `bend_n` force where the curve
    is bent outwards by 1 at the end of travel; `growth` of drag, 1 at the end of travel, and its
    `growth_slope_1_deg`.
    """

    force_n: Array
    slope_n_deg: Array
    rate_n_s: Array
    bend_n: Array
    growth: Array
    growth_slope_1_deg: Array


class Blocks:
    """A log in blocks (m of them): those within the steady burn, and those without any jet.

    `time_s`, `share` of the reference pressure, `load_s` (burn load), `burning` (m,);
    `loads` (m, 4); `segments`: runs of blocks that follow each other, all burning or all quiet.
    """

    def __init__(self, log: StandLog, vehicle: Vehicle, block_s: float = BLOCK_S) -> None:
        self.log, self.vehicle = log, vehicle
        reference_bar = vehicle.engine.chamber_pressure_bar
        number = np.floor((log.time_s - log.time_s[0]) / max(block_s, 1.0 / log.rate_hz) + 1e-6)
        self._start = np.concatenate(([0], np.flatnonzero(np.diff(number)) + 1))
        self._count = np.diff(np.append(self._start, len(number)))
        self._kept = np.arange(len(self._start))
        settled = log.burning & ~near_ends(log)
        burning = self.mean(settled.astype(float)) == 1
        quiet = self.mean(log.quiet(reference_bar).astype(float)) == 1
        full = self._count >= 0.5 * np.median(self._count)
        self._kept = np.flatnonzero((burning | quiet) & full)
        self.burning = burning[self._kept]
        self._row_share = log.pressure_bar / reference_bar
        self.time_s = self.mean(log.time_s)
        self.share = self.mean(self._row_share)
        self.load_s = self.mean(log.burn_load_s(reference_bar))
        self.loads = self.mean(log.loads)
        following = (np.diff(number[self._start[self._kept]]) == 1) & (
            self.burning[1:] == self.burning[:-1]
        )
        ends = np.concatenate(([0], np.flatnonzero(~following) + 1, [len(self._kept)]))
        self.segments = [slice(int(a), int(b)) for a, b in itertools.pairwise(ends)]

    def mean(self, rows: Array) -> Array:
        """Averages (m, ...) of what belongs to the log's rows (n, ...)."""
        sums = np.add.reduceat(rows, self._start, axis=0)[self._kept]
        return sums / self._count[self._kept].reshape(-1, *[1] * (rows.ndim - 1))

    def __len__(self) -> int:
        return len(self._kept)

    @cached_property
    def burning_segments(self) -> list[slice]:
        return [part for part in self.segments if self.burning[part.start]]

    @cached_property
    def block_s(self) -> float:
        return float(np.median(np.diff(self.time_s)))

    @cached_property
    def full_load_s(self) -> float:
        """Burn load at the end of the test."""
        return float(self.load_s[-1])

    def vane_columns(self, zero_deg: Array, lag_s: float) -> VaneColumns:
        """What the vanes should do if their true zeros are off by `zero_deg` (4,) and the loads
        are read `lag_s` after the angles.
        """
        time_s, columns = self.log.time_s, []
        for vane in range(VANES):
            angle = np.interp(time_s - lag_s, time_s, self.log.vanes_deg[:, vane])
            columns.append(self._one_vane(vane, angle + zero_deg[vane]))
        stacked = [np.column_stack(found) for found in zip(*columns, strict=True)]
        return VaneColumns(*stacked)

    def _one_vane(self, vane: int, angle_deg: Array) -> list[Array]:
        curve = Straight.through(*self.curve_points(vane))
        force, slope = curve.at(angle_deg)
        force, slope = force * self._row_share, slope * self._row_share
        relative = angle_deg / self.reach_deg[vane]
        rows = [
            force,
            slope,
            np.gradient(force, self.log.time_s),
            force * (relative**2 - 0.5),
            self._row_share * relative**2,
            self._row_share * 2 * relative / self.reach_deg[vane],
        ]
        return [self.mean(row) for row in rows]

    def curve_points(self, vane: int) -> tuple[Array, Array]:
        curve = self.vehicle.vanes.curves[vane]
        return curve.deflection_deg, curve.force_n

    @cached_property
    def reach_deg(self) -> Array:
        """The largest deflection within each vane's travel, (4,)."""
        return np.abs(self.vehicle.vanes.travel_deg).max(axis=1)


@dataclass(frozen=True)
class Straight:
    """Straight lines through points, going on beyond the ends with the last slopes."""

    x: Array
    y: Array
    slope: Array

    @classmethod
    def through(cls, x: Array, y: Array) -> "Straight":
        return cls(x, y, np.diff(y) / np.diff(x))

    def at(self, x: Array) -> tuple[Array, Array]:
        """Values and slopes at `x`, of its shape."""
        piece = np.clip(np.searchsorted(self.x, x, side="right") - 1, 0, len(self.slope) - 1)
        slope = self.slope[piece]
        return self.y[piece] + slope * (x - self.x[piece]), slope


def near_ends(log: StandLog) -> np.ndarray:
    """Rows within the guard time of where burning begins or ends, (n,) of bool."""
    found = np.zeros(len(log.time_s), dtype=bool)
    turns = np.flatnonzero(np.diff(log.burning.astype(int)))
    for turn_s in log.time_s[turns]:
        found |= np.abs(log.time_s - turn_s) < GUARD_S
    return found
