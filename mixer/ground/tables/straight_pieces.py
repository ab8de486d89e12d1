"""Tables of straight pieces for the flight core: their points, their ends, where to begin."""

from itertools import pairwise

import numpy as np

from mixer.flight import layout as at


def first_cell(angle_mdeg: float) -> int:
    """The cell that an angle lies in."""
    return int(angle_mdeg) >> at.ANGLE_CELL


def angle_cells(starts: np.ndarray, last: float, place: int, stride: int) -> list[int]:
    """For each cell up to the angle `last`, where the record stands that its lower end lies on.

    starts: the angles at which the records from `place` on begin.
    """
    cells = np.arange(first_cell(starts[0]), first_cell(last) + 1) << at.ANGLE_CELL
    pieces = np.maximum(np.searchsorted(starts, cells, side="right") - 1, 0)
    return (place + stride * pieces).tolist()


def force_cells(forces: np.ndarray, place: int, stride: int) -> list[int]:
    """The same for forces of both signs, in the order of their lower bits.

    The record at `place` ends where the first of the forces is.
    """
    cells = np.arange(at.FORCE_CELLS_MASK + 1)
    half = (at.FORCE_CELLS_MASK + 1) // 2
    signed = (cells ^ half) - half
    pieces = np.searchsorted(forces, signed << at.FORCE_CELL, side="right")
    return (place + stride * pieces).tolist()


def lasting(values: np.ndarray, slope: np.ndarray, rise: float) -> tuple[np.ndarray, np.ndarray]:
    """Columns of values and slopes for records that begin and end with endless flat pieces.

    rise: what the last slope adds over its piece, rounded as the flight core rounds it, so that
    the value goes on without a step; of the record after the end only the start is read.
    """
    return np.array([values[0], *values[:-1], values[-2] + rise, 0]), np.array([0, *slope, 0, 0])


def over_time(starts: np.ndarray, values: np.ndarray, scale: float) -> tuple[np.ndarray, ...]:
    """`lasting` columns of values, at these starts, and of their slopes in 1/scale, rounded."""
    gaps = np.diff(starts)
    slope = np.round(np.diff(values) * scale / gaps)
    return lasting(values, slope, np.floor(gaps[-1] * slope[-1] / scale))


def at_least_two(starts: np.ndarray) -> np.ndarray:
    """The starts, or the only one and the one after it: a table has a piece."""
    return starts if len(starts) > 1 else np.array([starts[0], starts[0] + 1])


def spread(points, longest: float) -> np.ndarray:
    """The points with more put between them, so that no step is longer than `longest`."""
    points = np.asarray(points, dtype=float)
    parts = [points[:1]]
    for a, b in pairwise(points):
        n = int(np.ceil((b - a) / longest))
        parts.append(np.round(np.linspace(a, b, n + 1))[1:])
    return np.concatenate(parts)
