"""Step one for many rows, policy "direction": `mixer.flight.along`.

Most rows need only the test whether an edge cuts their segment. Those that are cut are brought
together, and the smallest share is worked out for them alone.
"""

import numpy as np

from mixer.ground.batch_box import Box
from mixer.ground.batch_tables import VANES, BatchTables
from mixer.ground.batch_words import (
    Indices,
    Mask,
    Scratch,
    Words,
    bit_lengths,
    brought_near,
    fine_product,
    in_halves,
    mark_beyond,
    of_rows,
    put_back,
    words,
)

FINE_BITS = 4  # 1/128 of a count
FAR = (1 << 24) - 1  # as in `mixer.flight.along`
NEAR = 65535
MOST_SHIFT = 31
NO_EXPONENT = 64
WHOLE = 32768 - (15 << 16)  # the share 1 as a key, see `share_key`


class Along:
    """The edges of Z_τ: `support` (2 · directions, columns), how far Z_τ reaches from a0 along the
    tables' normals, then along those turned round; 1/128 of a count.
    """

    def __init__(self, t: BatchTables, box: Box, scratch: Scratch):
        self.t, self.box, self.scratch = t, box, scratch
        self.count = len(t.edges)
        self.origin = words(2, box.columns)
        self.support = words(2 * self.count, box.columns)

    def prepare(self) -> None:
        """Work out what depends on the box alone."""
        t, box = self.t, self.box
        self.origin[0] = fine_dot(t.cos, t.cos_low, box.rest)
        self.origin[1] = fine_dot(t.sin, t.sin_low, box.rest)
        cut_lo, cut_hi = box.lo - box.rest, box.hi - box.rest
        for number in range(2 * self.count):
            edge, sense = t.edges[number % self.count], 1 if number < self.count else -1
            across = [a * sense for a in edge.across]
            low = [a * sense for a in edge.across_low]
            forces = [cut_hi[i] if across[i] > 0 else cut_lo[i] for i in VANES]
            reach = fine_dot(across, low, forces)
            np.right_shift(reach.clip(0) * 127 + 64, 7, out=self.support[number])

    def find(self, want: Words, point: Words, limited: Mask) -> None:
        """Set point (2, n), units, and limited (n,) from want (2, n), eighths of a count."""
        unit = self.box.unit
        np.add(want, 1 << (unit - 1), out=point)
        point >>= unit
        gap = np.left_shift(want, FINE_BITS, out=self.scratch.words[:2])
        gap -= self.origin
        self._mark_cut(gap, limited)
        rows = np.flatnonzero(limited)
        if rows.size == 0:
            return
        gap = gap.take(rows, axis=1)
        brought_near(gap, FAR)
        key = self._smallest_share(gap, rows)
        whole = key == WHOLE  # past the edge by less than the share can tell
        if whole.any():
            limited[rows[whole]] = False
            cut = np.flatnonzero(~whole)
            rows, gap, key = rows.take(cut), gap.take(cut, axis=1), key.take(cut)
        exponent = -(key >> 16) - brought_near(gap, NEAR)
        exponent.clip(0, MOST_SHIFT, out=exponent)
        gap *= key & 65535
        gap >>= exponent
        unit = of_rows(unit, rows) + FINE_BITS
        gap += of_rows(self.origin, rows) + (1 << (unit - 1))
        gap >>= unit
        put_back(gap, rows, point)

    def _mark_cut(self, gap: Words, cut: Mask) -> None:
        """Which segments an edge cuts; and those too long for 32 bits, which leave Z_τ for sure."""
        beyond = self.scratch.masks[0]
        cut[:] = False
        halves = in_halves(gap, self.scratch.words[2:6])
        room = self.scratch.words[6:9]
        for k, edge in enumerate(self.t.edges):
            rise = fine_product(*edge.normal, *edge.normal_low, halves, room)
            cut |= np.greater(rise, self.support[k], out=beyond)
            cut |= np.less(rise, -self.support[k + self.count], out=beyond)
        mark_beyond(gap, FAR, cut, beyond)

    def _smallest_share(self, gap: Words, rows: Indices) -> Words:
        """The smallest share of each segment that an edge leaves, as a key: (k,)."""
        support = of_rows(self.support, rows)
        smallest = np.full(rows.size, WHOLE, np.int32)
        halves, room = in_halves(gap), words(3, rows.size)
        for k, edge in enumerate(self.t.edges):
            rise = fine_product(*edge.normal, *edge.normal_low, halves, room)
            out = np.where(rise < 0, support[k + self.count], support[k])
            np.absolute(rise, out=rise)
            key = np.where(rise > out, share_key(out, rise), WHOLE)
            np.minimum(smallest, key, out=smallest)
        return smallest


def fine_dot(row: list[int], low: list[int], values) -> Words:
    """Σ of eighths times a unit vector's part in two halves, in 1/128 of a count: (columns,)."""
    total = np.zeros_like(values[0])
    for high_factor, low_factor, value in zip(row, low, values, strict=True):
        part = (value * low_factor) >> 14
        part += value * high_factor
        part += 512
        part >>= 10
        total += part
    return total


def share_key(out: Words, rise: Words) -> Words:
    """out / rise, 0 … 1, as a number that orders shares as they are ordered.

    share = (key & 65535) · 2^(key >> 16): 15 bits, and an exponent that is never above −15.
    """
    out_shift, rise_shift = shift_to_29_bits(out), shift_to_29_bits(rise)
    divisor = np.maximum((rise << rise_shift) >> 14, 1)
    # the quotient of two 32-bit numbers in double precision is never rounded up to a whole one
    share = (((out << out_shift) << 1) / divisor).astype(np.int32)
    exponent = 15 - rise_shift + out_shift
    large = share >= 32768
    share >>= large
    exponent -= large
    exponent[share == 0] = NO_EXPONENT
    return share - (exponent << 16)


def shift_to_29_bits(value: Words) -> Words:
    """How far each value of 0 … 2^29 − 1 is from having 29 bits."""
    return 29 - bit_lengths(value)
