"""The flight tables as a batch reads them: named numbers, and curves written out step by step.

The flight core finds its place on a curve and computes from there. A batch looks up every answer
that this can have: one for each step of 0.001° or of an eighth of a count within the travel.
"""

from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from mixer.flight import FlightTables
from mixer.flight import layout as at
from mixer.ground.batch_words import Reals, Words

Number = TypeVar("Number", np.int32, np.float64)

VANES = range(4)
LAST_TIME_US = 1_000_000_000  # where the flight core's burn time and burn load stop


class Edge(NamedTuple):
    """An edge of Z: its normal and that normal's products with the vanes, Q14; low halves Q28."""

    normal: tuple[int, int]
    normal_low: tuple[int, int]
    across: list[int]  # n·b
    along: list[int]  # t·b
    across_low: list[int]


class Pair(NamedTuple):
    """Two vanes that roll moves apart: 1/K, its fraction bits, the most it may multiply."""

    i: int
    j: int
    inverse: int
    q: int
    most: int


class Answers(NamedTuple):
    """Deflections and pulses for each force of a vane, by eighths of a count from the least."""

    deflection_deg: Reals
    pulse_us: Reals


class BatchTables:
    """One vehicle's flight tables, read once for any number of batches."""

    def __init__(self, tables: FlightTables):
        self.tables = tables
        t = self.words = np.array(tables.words, np.int32)

        def four(where: int) -> list[int]:
            return t[where : where + 4].tolist()

        self.cos, self.sin = four(at.COS), four(at.SIN)
        self.cos_low, self.sin_low = four(at.COS_LOW), four(at.SIN_LOW)
        self.row_x, self.row_y, self.row_roll = four(at.ROW_X), four(at.ROW_Y), four(at.ROW_ROLL)
        self.width, self.row_q = four(at.WIDTH), four(at.ROW_Q)
        self.null, self.null_effort = four(at.NULL), four(at.NULL_EFFORT)
        self.travel_lo, self.travel_hi = four(at.TRAVEL_LO), four(at.TRAVEL_HI)
        self.edges = [self._edge(k) for k in range(t[at.N_EDGES])]
        self.along_segment = bool(t[at.POLICY])
        self.pairs = [self._pair(n) for n in range(t[at.N_PAIRS])]
        self._shared: dict[bytes, NDArray] = {}
        self._answers: dict[int, Answers] = {}
        self.force_of = [self._force_of(i) for i in VANES]  # by 0.001° from the lower travel
        self.pulse_of = [self._pulse_of(i) for i in VANES]
        self.deflection_of = [self._deflection_of(i) for i in VANES]  # by eighths of a count
        self.least_force = [int(self._curve(i)[1][0]) for i in VANES]

    def answers(self, i: int, window: tuple[int, int]) -> Answers:
        """What vane i does for each force from the least on, within a window of angles."""
        if window != (self.travel_lo[i], self.travel_hi[i]):  # stands anywhere: not kept
            return self._answers_within(i, window)
        if i not in self._answers:
            deflection_deg, pulse_us = self._answers_within(i, window)
            self._answers[i] = Answers(self._once(deflection_deg), self._once(pulse_us))
        return self._answers[i]

    def _answers_within(self, i: int, window: tuple[int, int]) -> Answers:
        deflection = self.deflection_of[i].clip(*window)
        pulse = self.pulse_of[i].take(deflection - self.travel_lo[i], mode="clip")
        return Answers(deflection / 1000, pulse / 1000)

    def __getitem__(self, where: int) -> int:
        """A word of the flight tables, as named in `mixer.flight.layout`."""
        return int(self.words[where])

    def columns(self, offset: int, rows: int, stride: int) -> Words:
        """Records of the tables, turned: a row for each of their words, (stride, rows)."""
        return self.words[offset : offset + rows * stride].reshape(rows, stride).T

    def wear(self) -> Words:
        """Load in ms, then effectiveness and its slope of each vane; flat at both ends."""
        return self.columns(self[at.WEAR_OFF], self[at.WEAR_N] + 2, at.WEAR_STRIDE)

    def lever(self) -> Words:
        """Time in ms; gain and its slope; moment and its slope; flat at both ends."""
        return self.columns(self[at.LEVER_OFF], self[at.LEVER_N] + 2, at.LEVER_STRIDE)

    def _curve(self, i: int) -> Words:
        """Deflection, force, slope and inverse slope at a curve's own points."""
        first = self[at.CURVE_OFF + i] + at.CURVE_STRIDE  # after the piece below the curve
        return self.columns(first, self[at.CURVE_N + i], at.CURVE_STRIDE)

    def _servo(self, i: int) -> Words:
        return self.columns(self[at.SERVO_OFF + i], self[at.SERVO_N + i], at.SERVO_STRIDE)

    def _edge(self, k: int) -> Edge:
        start = at.EDGES + k * at.EDGE_STRIDE
        w = self.words[start : start + at.EDGE_STRIDE].tolist()
        return Edge((w[0], w[1]), (w[2], w[3]), w[4:8], w[8:12], w[12:16])

    def _pair(self, n: int) -> Pair:
        start = at.PAIRS + n * at.PAIR_STRIDE
        i, j, *inverse = self.words[start : start + at.PAIR_STRIDE].tolist()
        return Pair(i - at.ETA, j - at.ETA, *inverse)

    def _force_of(self, i: int) -> Words:
        x, f, slope, _ = self._curve(i)
        place, beyond = written_out(x, self.travel_lo[i], self.travel_hi[i])
        return self._once(f[place] + ((beyond * slope[place]) >> 14))

    def _deflection_of(self, i: int) -> Words:
        x, f, _, inverse = self._curve(i)
        place, beyond = written_out(f, int(f[0]), int(f[-1]))
        return self._once(x[place] + ((beyond * inverse[place] + 32768) >> 16))

    def _pulse_of(self, i: int) -> Words:
        x, pulse, slope = self._servo(i)
        place, beyond = written_out(x, self.travel_lo[i], self.travel_hi[i])
        return self._once(pulse[place] + ((beyond * slope[place]) >> self[at.PULSE_Q]))

    def _once(self, table: NDArray[Number]) -> NDArray[Number]:
        """Vanes that are alike share one table, and the cache that it takes."""
        return self._shared.setdefault(table.tobytes(), table)


def place_on(points: Words, x: Words) -> tuple[Words, Words]:
    """Which straight piece each x lies on, and how far into it, held inside the piece."""
    place = np.searchsorted(points[1:-1], x, side="right").astype(np.int32)
    return place, np.clip(x - points[place], 0, np.diff(points)[place])


def written_out(points: Words, first: int, last: int) -> tuple[Words, Words]:
    """`place_on` for every whole number from first to last."""
    return place_on(points, np.arange(first, last + 1, dtype=np.int32))
