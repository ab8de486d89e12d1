"""What a report needs of a run, kept small however many rows it has.

For pictures rows are put in bins, of which the least and most of every channel are kept and the row
with the largest pitch and yaw demand; when there are too many bins, neighbours are joined. For
tables there are the stretches of time in which something gave way, joined over longer and longer
gaps when there are too many.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from mixer.flight.layout import (
    BAD_DEMAND,
    FLAG_NAMES,
    NO_THRUST,
    PRIMARY_LIMITED,
    ROLL_LIMITED,
    STALE_DEMAND,
)
from mixer.ground.inputs.arrays import VANES, Array

Marks = NDArray[np.int64]

MOST_BINS = 6000
MOST_STRETCHES = 24
JOINED_OVER_S = 0.05

AXES = ("pitch", "yaw", "roll")
CHANNELS = (
    "time_s",
    *(f"demand_{axis}_nm" for axis in AXES),
    *(f"{axis}_nm" for axis in AXES),
    *(f"vane{vane}_deg" for vane in range(1, VANES + 1)),
    *(f"pulse{vane}_us" for vane in range(1, VANES + 1)),
    "slew_percent",
    "load_s",
    "pressure_bar",
    "counted_bar",
    "drag_n",
)
PLACE = {name: place for place, name in enumerate(CHANNELS)}
DEMAND = slice(PLACE["demand_pitch_nm"], PLACE["demand_roll_nm"] + 1)
MOMENT = slice(PLACE["pitch_nm"], PLACE["roll_nm"] + 1)
DEFLECTION = slice(PLACE["vane1_deg"], PLACE["vane4_deg"] + 1)

# Marks of a row: the flight core's flags, and above them what each vane did.
FLAGS = (1 << len(FLAG_NAMES)) - 1
AT_TRAVEL = len(FLAG_NAMES)  # this bit for vane 1, the next for vane 2, …
AT_SLEW = AT_TRAVEL + VANES
JAMMED = AT_SLEW + VANES

# Why a demand was not met, worst first; a row counts under the first that its flags show.
UNMET = (NO_THRUST, STALE_DEMAND, PRIMARY_LIMITED | ROLL_LIMITED, BAD_DEMAND)


def vane_marks(values: np.ndarray, bit: int) -> np.ndarray:
    """Marks (n,) that say which vanes (n, 4) something was true of."""
    return (values.astype(np.int64) << (bit + np.arange(VANES))).sum(1)


def marked_vanes(marks: int, bit: int) -> list[int]:
    """The numbers of the vanes that a mark names."""
    return [vane + 1 for vane in range(VANES) if marks >> (bit + vane) & 1]


class Bins:
    """Some rows to a bin: `lo`, `hi`, `peak` (n, channels) and `marks` (n,).

    `peak` is the row of each bin with the largest pitch and yaw demand; `marks` are joined by or.
    """

    def __init__(self, most: int = MOST_BINS) -> None:
        self.most, self.rows_in_each = most, 1
        none: Array = np.empty((0, len(CHANNELS)))
        self.lo: Array = none
        self.hi: Array = none
        self.peak: Array = none
        self.marks: Marks = np.empty(0, dtype=np.int64)
        self.waiting, self.waiting_marks = none, self.marks

    def __len__(self) -> int:
        return len(self.lo)

    def add(self, rows: Array, marks: Marks) -> None:
        """Take rows (n, channels) and their marks (n,); some wait until they fill a bin."""
        rows = np.concatenate([self.waiting, rows])
        marks = np.concatenate([self.waiting_marks, marks])
        whole = len(rows) // self.rows_in_each * self.rows_in_each
        self.waiting, self.waiting_marks = rows[whole:].copy(), marks[whole:].copy()
        rows, marks = rows[:whole], marks[:whole]
        self.extend(joined(rows, rows, rows, marks, self.rows_in_each))
        while len(self) > self.most:
            self.join_pairs()

    def join_pairs(self) -> None:
        """Half as many bins, of twice as many rows."""
        pairs = joined(self.lo, self.hi, self.peak, self.marks, 2)
        self.lo, self.hi, self.peak, self.marks = pairs
        self.rows_in_each *= 2

    def finish(self) -> None:
        """Put the rows that still wait into a last bin."""
        rows, marks = self.waiting, self.waiting_marks
        self.waiting, self.waiting_marks = rows[:0], marks[:0]
        self.extend(joined(rows, rows, rows, marks, max(len(rows), 1)))

    def extend(self, bins: tuple[Array, Array, Array, Marks]) -> None:
        """Put bins after those that are there."""
        lo, hi, peak, marks = bins
        self.lo, self.hi = np.concatenate([self.lo, lo]), np.concatenate([self.hi, hi])
        self.peak = np.concatenate([self.peak, peak])
        self.marks = np.concatenate([self.marks, marks])

    def between(self, from_s: float, to_s: float) -> "Bins":
        """The bins of a span of time alone."""
        here = (self.hi[:, PLACE["time_s"]] >= from_s) & (self.lo[:, PLACE["time_s"]] <= to_s)
        some = Bins(self.most)
        some.extend((self.lo[here], self.hi[here], self.peak[here], self.marks[here]))
        return some

    def coarser(self, most: int) -> "Bins":
        """The same in at most so many bins."""
        some = Bins(most)
        some.extend((self.lo, self.hi, self.peak, self.marks))
        while len(some) > most:
            some.join_pairs()
        return some

    def line(self, channel: str) -> tuple[Array, Array]:
        """Times and values to draw a channel by: each bin's least and most, the most first where
        the channel is on its way down.
        """
        time, place = PLACE["time_s"], PLACE[channel]
        if np.array_equal(self.lo, self.hi):
            return self.lo[:, time], self.lo[:, place]
        ends = np.stack([self.lo[:, place], self.hi[:, place]])
        middle = ends.mean(0)
        down = np.append(middle[1:], middle[-1:]) < np.append(middle[:1], middle[:-1])
        values = np.where(down, ends[::-1], ends).T.ravel()
        return np.column_stack([self.lo[:, time], self.hi[:, time]]).ravel(), values

    def at_peaks(self, channel: str) -> Array:
        """A channel at each bin's row with the largest demand, shape (n,)."""
        return self.peak[:, PLACE[channel]]

    def marked(self, bit: int) -> np.ndarray:
        """Whether each bin has a row with this mark, shape (n,)."""
        return (self.marks >> bit & 1).astype(bool)


def joined(
    lo: Array, hi: Array, peak: Array, marks: Marks, each: int
) -> tuple[Array, Array, Array, Marks]:
    """Every `each` bins made into one; a last one that is short of them counts as it is."""
    fill = np.minimum(np.arange(-(-len(lo) // each) * each), len(lo) - 1).reshape(-1, each)
    size = np.hypot(peak[:, DEMAND.start], peak[:, DEMAND.start + 1])
    largest = np.take_along_axis(fill, size[fill].argmax(1)[:, None], 1)[:, 0]
    return (
        lo[fill].min(1),
        hi[fill].max(1),
        peak[largest],
        np.bitwise_or.reduce(marks[fill], axis=1),
    )


@dataclass
class Stretches:
    """Stretches of time in which something held, at most `most` of them.

    `from_s`, `to_s`, `rows`, `marks` (n,) and the `worst` (n, 3) shortfall in N m.
    """

    most: int = MOST_STRETCHES
    joined_over_s: float = JOINED_OVER_S
    from_s: Array = field(default_factory=lambda: np.empty(0))
    to_s: Array = field(default_factory=lambda: np.empty(0))
    rows: np.ndarray = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    marks: np.ndarray = field(default_factory=lambda: np.empty(0, dtype=np.int64))
    worst: Array = field(default_factory=lambda: np.empty((0, len(AXES))))

    def __len__(self) -> int:
        return len(self.rows)

    def add(self, time_s: Array, marks: np.ndarray, shortfall_nm: Array) -> None:
        """Take the rows (n,) in which it held, with their shortfall (n, 3)."""
        self.from_s = np.concatenate([self.from_s, time_s])
        self.to_s = np.concatenate([self.to_s, time_s])
        self.rows = np.concatenate([self.rows, np.ones(len(time_s), dtype=np.int64)])
        self.marks = np.concatenate([self.marks, marks])
        self.worst = np.concatenate([self.worst, shortfall_nm])
        self.join()
        while len(self) > self.most:
            self.joined_over_s *= 2
            self.join()

    def join(self) -> None:
        """Make one of those that are no further apart than `joined_over_s`."""
        if not len(self):
            return
        apart = self.from_s[1:] - self.to_s[:-1] > self.joined_over_s
        first = np.concatenate([[0], np.flatnonzero(apart) + 1])
        last = np.concatenate([first[1:] - 1, [len(self) - 1]])
        self.from_s, self.to_s = self.from_s[first], self.to_s[last]
        self.rows = np.add.reduceat(self.rows, first)
        self.marks = np.bitwise_or.reduceat(self.marks, first)
        self.worst = np.maximum.reduceat(self.worst, first)


class FlightRecord:
    """A run in short: bins for pictures, stretches for tables, and exact totals."""

    def __init__(self) -> None:
        self.bins = Bins()
        self.stretches = [Stretches() for _ in UNMET]
        self.rows = 0
        self.flagged = np.zeros(len(FLAG_NAMES), dtype=np.int64)
        self.worst_nm = np.zeros(len(AXES))  # largest shortfall, pitch, yaw, roll
        self.first_s = self.last_s = self.last_load_s = float("nan")
        self.drag_impulse_ns = self.pressure_bar_s = 0.0
        self.gaps, self.longest_gap_s = 0, 0.0  # rows late by more than the demand timeout
        self._before: Array | None = None

    def add(self, rows: Array, marks: Marks) -> None:
        """Take rows (n, channels), n > 0, in order of time, and their marks (n,)."""
        time_s = rows[:, PLACE["time_s"]]
        shortfall_nm = np.abs(rows[:, DEMAND] - rows[:, MOMENT])
        self.bins.add(rows, marks)
        self.rows += len(rows)
        self.flagged += (marks[:, None] >> np.arange(len(FLAG_NAMES)) & 1).sum(0)
        self.worst_nm = np.maximum(self.worst_nm, shortfall_nm.max(0))
        left = np.ones(len(rows), dtype=bool)
        for flags, stretches in zip(UNMET, self.stretches, strict=True):
            here = left & (marks & flags != 0)
            left &= ~here
            stretches.add(time_s[here], marks[here], shortfall_nm[here])
        self.add_impulse(rows)

    def add_impulse(self, rows: Array) -> None:
        """Drag and chamber pressure over time, by the trapezium."""
        if self._before is None:
            self.first_s = float(rows[0, PLACE["time_s"]])
        else:
            rows = np.concatenate([self._before, rows])
        time_s = rows[:, PLACE["time_s"]]
        mean = (rows[1:] + rows[:-1]) / 2
        impulse = np.diff(time_s) @ mean
        self.drag_impulse_ns += float(impulse[PLACE["drag_n"]])
        self.pressure_bar_s += float(impulse[PLACE["pressure_bar"]])
        self._before = rows[-1:].copy()
        self.last_s = float(time_s[-1])
        self.last_load_s = float(rows[-1, PLACE["load_s"]])

    def finish(self) -> None:
        """No more rows come."""
        self.bins.finish()
