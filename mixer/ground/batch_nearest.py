"""Step one for many rows, policy "nearest": `mixer.flight.nearest`.

Most rows need only the test whether they lie in Z_τ. Those that do not are brought together, and
the walk along the boundary is done for them alone.
"""

import numpy as np
from numpy.typing import NDArray

from mixer.ground.batch_box import Box
from mixer.ground.batch_tables import VANES, BatchTables
from mixer.ground.batch_words import (
    Indices,
    Mask,
    Scratch,
    Words,
    brought_near,
    dot,
    fine_product,
    in_halves,
    mark_beyond,
    of_rows,
    words,
)

NEAR = 46340  # as in `mixer.flight.nearest`
MOST_EDGES = 8
NONE = -1
Edges = NDArray[np.int8]


class Nearest:
    """The edges of Z_τ, twice as many as directions: the tables' normals, then those turned round.

    Arrays have a row for each edge: `support` Σ n·b·f, how far Z_τ reaches along the tables'
    normal on this side; `first` and `last`, where the edge begins and ends along its tangent.
    """

    def __init__(self, t: BatchTables, box: Box, scratch: Scratch):
        self.t, self.box, self.scratch = t, box, scratch
        self.count = len(t.edges)
        self.origin = words(2, box.columns)
        self.support, self.first, self.last = (words(2 * self.count, box.columns) for _ in range(3))
        normals = np.array([e.normal + e.normal_low for e in t.edges] * 2, np.int32).T
        self.x, self.y, self.x_low, self.y_low = normals.copy()
        self.sense = np.repeat(np.array([1, -1], np.int8), self.count)

    def prepare(self) -> None:
        """Work out what depends on the box alone."""
        t, box = self.t, self.box
        cut_lo, cut_hi = box.rest - box.lo, box.hi - box.rest
        for cut in (cut_lo, cut_hi):
            cut *= 127
            cut >>= 7 + box.unit
        cut_lo *= -1
        rest = box.rest >> box.unit
        for origin, row in zip(self.origin, (t.cos, t.sin), strict=True):
            np.right_shift(dot(row, rest) + 8192, 14, out=origin)
        for sums in (self.support, self.first, self.last):
            sums[:] = 0
        for number in range(2 * self.count):
            edge, sense = t.edges[number % self.count], 1 if number < self.count else -1
            for i in VANES:
                across, along = edge.across[i], edge.along[i]
                if across == 0:  # parallel: its whole range lies along this edge
                    near, far = (cut_lo[i], cut_hi[i]) if along > 0 else (cut_hi[i], cut_lo[i])
                    self.first[number] += near * along
                    self.last[number] += far * along
                else:
                    force = cut_hi[i] if across * sense > 0 else cut_lo[i]
                    self.support[number] += force * across
                    part = force * along
                    self.first[number] += part
                    self.last[number] += part
        for ends in (self.first, self.last):
            ends += 8192
            ends >>= 14

    def find(self, want: Words, point: Words, limited: Mask) -> None:
        """Set point (2, n), units, and limited (n,) from want (2, n), eighths of a count."""
        unit = self.box.unit
        np.add(want, 1 << (unit - 1), out=point)
        point >>= unit
        gap = np.subtract(point, self.origin, out=self.scratch.words[:2])
        self._mark_outside(gap, limited)
        rows = np.flatnonzero(limited)
        if rows.size == 0:
            return
        gap = gap.take(rows, axis=1)
        edge = self._most_violated(gap, rows)
        inside = edge == NONE
        if inside.any():
            limited[rows[inside]] = False
            outside = np.flatnonzero(~inside)
            rows, gap, edge = rows.take(outside), gap.take(outside, axis=1), edge.take(outside)
        self._walk(gap, rows, edge, point)

    def _mark_outside(self, gap: Words, outside: Mask) -> None:
        """Which rows violate an edge, or are too far away for 32 bits to tell."""
        rise, part = self.scratch.words[2:4]
        beyond = self.scratch.masks[0]
        outside[:] = False
        for k, edge in enumerate(self.t.edges):
            np.multiply(gap[0], edge.normal[0], out=rise)
            rise += np.multiply(gap[1], edge.normal[1], out=part)
            outside |= np.greater(rise, self.support[k], out=beyond)
            outside |= np.less(rise, self.support[k + self.count], out=beyond)
        mark_beyond(gap, NEAR, outside, beyond)

    def _most_violated(self, gap: Words, rows: Indices) -> Edges:
        """The edge that each gap (2, k) violates most, or NONE: (k,)."""
        gap = gap.copy()
        far = brought_near(gap, NEAR)
        support = of_rows(self.support, rows)
        worst = np.zeros(rows.size, np.int32)
        worst_edge = np.full(rows.size, NONE, np.int8)
        for k, edge in enumerate(self.t.edges):
            rise = gap[0] * edge.normal[0]
            rise += gap[1] * edge.normal[1]
            for number, over in (
                (k, rise - (support[k] >> far)),
                (k + self.count, (support[k + self.count] >> far) - rise),
            ):
                worse = (over > worst).view(np.int8)
                worst_edge += worse * (number - worst_edge)
                np.maximum(worst, over, out=worst)
        return worst_edge

    def _walk(self, gap: Words, rows: Indices, start: Edges, point: Words) -> None:
        """From the given edges along the boundary to the nearest points."""
        box, count = self.box, self.count
        shared = box.columns == 1
        edge = start.astype(np.intp)
        end = np.empty(rows.size, np.int32)
        turn = np.zeros(rows.size, np.int8)
        walking = np.arange(rows.size)
        first, last, support = self.first.ravel(), self.last.ravel(), self.support.ravel()
        at = edge
        for edges_left in reversed(range(MOST_EDGES)):
            foot = fine_product(
                -self.y.take(at),
                self.x.take(at),
                -self.y_low.take(at),
                self.x_low.take(at),
                in_halves(gap),
            )
            cell = at if shared else at * box.columns + rows.take(walking)
            begin, finish = first.take(cell), last.take(cell)
            move = np.greater(foot, finish).view(np.int8) - np.less(foot, begin).view(np.int8)
            move *= self.sense.take(at)
            np.maximum(foot, begin, out=foot)
            np.minimum(foot, finish, out=foot)
            end[walking] = foot
            turn += move  # 0 where the way turned round at a corner
            going = np.flatnonzero((move != 0) & (turn != 0))
            if going.size == 0 or edges_left == 0:
                break
            walking, turn, gap = walking.take(going), move.take(going), gap.take(going, axis=1)
            at = (at.take(going) + turn) % (2 * count)
            edge[walking] = at
        out = support.take(edge if shared else edge * box.columns + rows)
        out += 8192
        out >>= 14
        x, y = self.x.take(edge), self.y.take(edge)
        origin = of_rows(self.origin, rows)
        point[0, rows] = origin[0] + ((x * out - y * end + 8192) >> 14)
        point[1, rows] = origin[1] + ((y * out + x * end + 8192) >> 14)
