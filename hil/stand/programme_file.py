"""A programme of deflections: read, refused where the vanes cannot follow, made into knots."""

from dataclasses import dataclass
from itertools import pairwise
from zlib import crc32

import numpy as np

from firmware_port.stand import protocol as s
from hil.node.node_link import numbers
from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.inputs.csv_files import DataError, FilePath, Rows, read_all
from mixer.ground.static_test.log import VANE_COLUMNS
from mixer.ground.vehicle.vehicle import Vehicle

LEAD_S = 3.0  # of rest and sync before the programme and after it: more for the clocks to go by
STRAIGHT_MDEG = 1.0  # rows that lie so near the line between others need no knot
SLEW_SLACK_DEG_S = 0.5  # angles in the file are rounded to 0.001 deg
AT_REST_DEG = 0.5
TICKS_S = 1_000_000 // s.TICK_US


@dataclass(frozen=True)
class Knots:
    """What a node gets: `ticks` (n,), `mdeg` (n, 4); `lead_s` before the programme's own time 0."""

    ticks: np.ndarray
    mdeg: np.ndarray
    lead_s: float

    @property
    def pieces(self) -> list[bytes]:
        """Each knot as it goes over the line."""
        rows = np.column_stack([self.ticks, self.mdeg]).tolist()
        return [numbers(row) for row in rows]

    @property
    def crc(self) -> int:
        return crc32(b"".join(self.pieces))

    @property
    def length_s(self) -> float:
        """From the start of the play to its last knot."""
        return float(self.ticks[-1]) / TICKS_S


def read_programme(path: FilePath, vehicle: Vehicle) -> tuple[Array, Array]:
    """Times (n,) and deflections (n, 4) of a programme. DataError names the first fault."""
    rows = read_all(path, ("time_s", *VANE_COLUMNS))
    refuse_times(rows)
    deflection_deg = np.column_stack([rows[name] for name in VANE_COLUMNS])
    for vane, name in enumerate(VANE_COLUMNS):
        low, high = vehicle.vanes.travel_deg[vane]
        angle = deflection_deg[:, vane]
        for row in np.flatnonzero((angle < low) | (angle > high))[:1]:
            raise rows.fault(row, name, f"must lie within the travel of {low:g} to {high:g} deg")
        slew = vehicle.servos[vane].slew_deg_s
        rate = np.abs(np.diff(angle)) / np.diff(rows["time_s"])
        for row in np.flatnonzero(rate > slew + SLEW_SLACK_DEG_S)[:1]:
            raise rows.fault(
                row + 1,
                name,
                f"must be within reach of the {angle[row]:g} deg before it: that would be "
                f"{rate[row]:.4g} deg/s, and the slew is {slew:g}",
            )
        for row in (0, len(rows) - 1):
            if abs(angle[row]) > AT_REST_DEG:
                raise rows.fault(row, name, f"must begin and end within {AT_REST_DEG:g} deg of 0")
    return rows["time_s"], deflection_deg


def refuse_times(rows: Rows) -> None:
    """Time begins at 0 or later, increases, and is not too long for the sync output."""
    time_s = rows["time_s"]
    longest_s = s.LONGEST_TICKS / TICKS_S - 2 * LEAD_S
    for row in np.flatnonzero((time_s < 0) | (time_s > longest_s))[:1]:
        raise rows.fault(row, "time_s", f"must be from 0 to {longest_s:g} s")
    for row in np.flatnonzero(np.diff(time_s) <= 0)[:1]:
        raise rows.fault(row + 1, "time_s", f"must be later than the {time_s[row]} before it")
    if len(time_s) < 2:
        raise DataError(rows.file, None, "time_s", None, "must have two rows or more")


def knots_of(time_s: Array, deflection_deg: Array, file: str) -> Knots:
    """Only where the vanes' paths bend; no gap longer than a node takes."""
    ticks = np.round((time_s + LEAD_S) * TICKS_S).astype(int)
    mdeg = np.round(deflection_deg * 1000).astype(int)
    kept = np.unique(np.concatenate([bends(ticks, mdeg), [0, len(ticks) - 1]]))
    ticks, mdeg = ticks[kept], mdeg[kept]
    end = ticks[-1] + round(LEAD_S * TICKS_S)
    edge_ticks = np.concatenate([[0], ticks, [end]])
    edge_mdeg = np.vstack([np.zeros(VANES, int), mdeg, np.zeros(VANES, int)])
    filled = [edge_ticks[:1]]
    for before, after in pairwise(edge_ticks.tolist()):
        parts = -(-(after - before) // s.LONGEST_GAP)
        filled.append(before + (after - before) * np.arange(1, parts + 1) // parts)
    all_ticks = np.unique(np.concatenate(filled))
    between = [np.round(np.interp(all_ticks, edge_ticks, column)) for column in edge_mdeg.T]
    if len(all_ticks) > s.MOST_KNOTS:
        raise DataError(
            file,
            None,
            None,
            None,
            f"bends {len(all_ticks)} times; a node takes {s.MOST_KNOTS}: fewer rows, or straighter",
        )
    return Knots(all_ticks, np.column_stack(between).astype(int), LEAD_S)


def bends(ticks: np.ndarray, mdeg: np.ndarray) -> np.ndarray:
    """Rows that cannot be left out: from each as far as a straight line serves all between."""
    kept, start = [0], 0
    low = np.full(VANES, -np.inf)
    high = np.full(VANES, np.inf)
    row = 1
    while row < len(ticks):
        gap = ticks[row] - ticks[start]
        step = mdeg[row] - mdeg[start]
        slope = step / gap
        if np.any(slope < low) or np.any(slope > high):
            start = row - 1
            kept.append(start)
            low, high = np.full(VANES, -np.inf), np.full(VANES, np.inf)
            continue
        low = np.maximum(low, (step - STRAIGHT_MDEG) / gap)
        high = np.minimum(high, (step + STRAIGHT_MDEG) / gap)
        row += 1
    return np.array(kept)
