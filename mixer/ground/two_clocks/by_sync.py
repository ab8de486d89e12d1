"""Both clocks by the sync output: a maximum-length sequence that the node plays and a logger sees.

Such a sequence looks like itself at one shift only (its autocorrelation is 1 there and about nought
at all others: S. W. Golomb, Shift Register Sequences, 1967, ch. III, as remembered), so that the
shift is found whatever the clocks say; then edge by edge.
"""

import numpy as np
import scipy

from mixer.ground.inputs.arrays import Array
from mixer.ground.two_clocks.clock_fit import Clock, fit_intervals
from mixer.ground.two_clocks.logger_log import LoggerLog
from mixer.ground.two_clocks.play_record import PlayRecord, PlayRecordError

STEP_S = 0.002  # of the search for the shift
SEARCHED_S = 40.0  # at first, so that drift does not blur it
LEAST_ALIKE = 0.7  # of 1; a shift by accident stays below 0.3
FEWEST_EDGES = 30
MATCHED_AGAIN = 3  # times over the whole record
NEAR = 0.45  # of the shortest time between two edges
MOST_DRIFT = 1e-3  # of any two clocks of quartz, and ten times more


def clock_by_sync(record: PlayRecord, log: LoggerLog) -> tuple[Clock, float, int]:
    """The logger's clock, how alike both were at that shift (1: the same), and edges used.

    PlayRecordError where no shift makes them alike.
    """
    assert log.sync is not None
    node_s, rises = edges(record.time_s, record.sync)
    rows = np.flatnonzero(np.diff(log.sync.astype(int)))
    if len(node_s) < FEWEST_EDGES or len(rows) < FEWEST_EDGES:
        raise PlayRecordError(
            f"{log.file}: sync changes {len(rows)} times, and {len(node_s)} times in "
            f"{record.file}; at least {FEWEST_EDGES} are needed in both: did both "
            "run at the same time?"
        )
    shift_s, alike = shift_of(record, log)
    if alike < LEAST_ALIKE:
        raise PlayRecordError(
            f"{log.file}: its sync ({log.time_s[0]:g} to {log.time_s[-1]:g} s) fits "
            f"{record.file} ({record.time_s[-1]:.3g} s long) nowhere; the best is "
            f"{alike:.2f} of 1, {LEAST_ALIKE} is needed: another run's log, or the "
            "logger ran at another time"
        )
    low_s, high_s = log.time_s[rows], log.time_s[rows + 1]
    up = log.sync[rows + 1]
    near_s = NEAR * float(np.diff(node_s).min())
    clock = Clock(shift_s, 0.0, 0.0, 0.0, 0.0, 0.0, SEARCHED_S)
    span_s = min(SEARCHED_S, float(record.time_s[-1]))
    again = MATCHED_AGAIN  # a shift that is a little off leaves out edges near the rows
    while True:
        wanted = clock.log_s(node_s)
        nearest = nearest_of((low_s + high_s) / 2, wanted)
        off = (low_s + high_s)[nearest] / 2 - wanted
        fits = (np.abs(off) < near_s + (high_s - low_s)[nearest] / 2) & (up[nearest] == rises)
        fits &= (node_s < span_s) | (span_s >= record.time_s[-1])
        fits &= high_s[nearest] - low_s[nearest] < 5 * log.row_s
        if fits.sum() < FEWEST_EDGES:
            raise PlayRecordError(
                f"{log.file}: of {len(node_s)} edges of sync only {int(fits.sum())} are those of "
                f"{record.file}; at least {FEWEST_EDGES} are needed: do the two overlap?"
            )
        clock = fit_intervals(node_s[fits], low_s[nearest][fits], high_s[nearest][fits])
        if span_s >= record.time_s[-1]:
            again -= 1
            if not again:
                break
        span_s = 2 * span_s if 2 * span_s < record.time_s[-1] else float(record.time_s[-1])
    if abs(clock.drift) > MOST_DRIFT:
        raise PlayRecordError(
            f"{log.file}: its clock would run {clock.drift * 1e6:.0f} ppm off the node's; more "
            f"than {MOST_DRIFT * 1e6:.0f} ppm is no clock: is time_s in seconds?"
        )
    return clock, alike, int(fits.sum())


def edges(time_s: Array, level: np.ndarray) -> tuple[Array, np.ndarray]:
    """When the node's output changed, and whether it rose; a level begins with its point."""
    at = np.flatnonzero(np.diff(level.astype(int))) + 1
    return time_s[at], level[at] > 0


def nearest_of(sorted_s: Array, wanted_s: Array) -> np.ndarray:
    """The index of the nearest of some sorted times to each wanted one."""
    right = np.clip(np.searchsorted(sorted_s, wanted_s), 1, len(sorted_s) - 1)
    return right - (wanted_s - sorted_s[right - 1] < sorted_s[right] - wanted_s)


def held(time_s: Array, level: np.ndarray, at_s: Array) -> Array:
    """The level at some times, +1 or -1, and 0 outside what was seen."""
    place = np.searchsorted(time_s, at_s, "right") - 1
    inside = (place >= 0) & (at_s <= time_s[-1])
    return np.where(inside, np.where(level[np.clip(place, 0, None)] > 0, 1.0, -1.0), 0.0)


def shift_of(record: PlayRecord, log: LoggerLog) -> tuple[float, float]:
    """Log time less node time where both are most alike, and how alike they are there."""
    assert log.sync is not None
    span_s = min(SEARCHED_S, float(record.time_s[-1]))
    played = held(record.time_s, record.sync, np.arange(0.0, span_s, STEP_S))
    at_s = np.arange(log.time_s[0], log.time_s[-1], STEP_S)
    seen = held(log.time_s, log.sync, at_s)
    product = scipy.signal.correlate(seen, played, method="fft")
    common = scipy.signal.correlate(np.abs(seen), np.abs(played), method="fft")
    enough = common > 0.3 * min(len(played), len(seen))
    alike = np.where(enough, product / np.maximum(common, 1.0), -1.0)
    best = int(np.argmax(alike))
    return float(at_s[0] + (best - (len(played) - 1)) * STEP_S), float(alike[best])
