"""Channels that cannot be right because they are cut off at an end or stand still.

A reading that is alive changes its last digit from row to row, so a channel is measured against
itself: what is too coarse to show any noise is not judged.
"""

from dataclasses import dataclass

import numpy as np

from mixer.ground.inputs.arrays import Array

LIVELY_ROWS = 2  # median length of runs of one value in a channel that shows its noise
CLIPPED_ROWS = 10  # rows at the very end of the range ...
CLIPPED_TIMES = 5  # ... and so many times as many as at the next value inside
STUCK_S = 0.5
STUCK_ROWS = 20
STUCK_TIMES = 3  # the next longest standstill, which a coarse converter has many of


@dataclass(frozen=True)
class Runs:
    """Runs of one value: where each starts (k,), how many rows it is long (k,), its value."""

    start: np.ndarray
    length: np.ndarray
    value: Array


def runs_of(channel: Array) -> Runs:
    """The runs of equal values in a channel (n,)."""
    start = np.concatenate(([0], np.flatnonzero(np.diff(channel)) + 1))
    return Runs(start, np.diff(np.append(start, len(channel))), channel[start])


def clipped_at(channel: Array) -> float | None:
    """The end value at which a lively channel (n,) is cut off, or None."""
    if np.median(runs_of(channel).length) > LIVELY_ROWS:
        return None
    values, counts = np.unique(channel, return_counts=True)
    if len(values) < 3:
        return None
    for end, inside in ((-1, -2), (0, 1)):
        if counts[end] >= max(CLIPPED_ROWS, CLIPPED_TIMES * counts[inside]):
            return float(values[end])
    return None


def stuck_at(channel: Array, rate_hz: float) -> tuple[int, int] | None:
    """Row and length of the longest standstill of an otherwise lively channel (n,), or None."""
    runs = runs_of(channel)
    longest = int(np.argmax(runs.length))
    enough = max(STUCK_ROWS, STUCK_S * rate_hz)
    if runs.length[longest] < enough:
        return None
    others = np.delete(runs.length, longest)
    if len(others) and (
        np.median(others) > LIVELY_ROWS or runs.length[longest] < STUCK_TIMES * others.max()
    ):
        return None
    return int(runs.start[longest]), int(runs.length[longest])
