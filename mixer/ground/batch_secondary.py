"""Steps two and three for many rows: `mixer.flight.secondary`.

Each vane is a strip |s − η| ≤ ω. Only where the strips of a pair do not meet are the pairs gone
through one after another, in the order of the flight core.
"""

import numpy as np

from mixer.ground.batch_box import Box
from mixer.ground.batch_tables import VANES, BatchTables
from mixer.ground.batch_words import (
    LARGEST,
    Indices,
    Mask,
    Scratch,
    Words,
    clamp,
    dot,
    of_rows,
    words,
)

MOST_ROLL = 65535  # as in `mixer.flight.secondary`
MOST_HALF = 16384
WIDEST = 1048576
LIMIT = 4194304


def scale_of(widest: int) -> int:
    """The shift that brings a half-width, in counts, to 14 bits."""
    z = 0
    if widest <= 512:
        widest <<= 5
        z = 5
    if widest <= 2048:
        widest <<= 3
        z += 3
    return z + (widest <= 8192)


SCALE_OF = np.array([scale_of(widest) for widest in range(MOST_HALF + 1)], np.int32)


class Secondary:
    """Roll and effort about the middle of the box, in the box's own scale."""

    def __init__(self, t: BatchTables, box: Box, scratch: Scratch):
        self.t, self.box, self.scratch = t, box, scratch
        columns = box.columns
        self.twice_middle_sum, self.reach, self.z, self.scale, self.limit, self.effort = words(
            6, columns
        )
        self.to_middle = words(2, columns)
        self.rounded_up, self.omega = words(4, columns), words(4, columns)

    def prepare(self) -> None:
        """Work out what depends on the box alone."""
        t, box, unit = self.t, self.box, self.box.unit
        twice_middle = np.add(box.lo, box.hi, out=self.rounded_up)
        twice_half = np.subtract(box.hi, box.lo, out=self.omega)
        np.sum(twice_middle, axis=0, dtype=np.int32, out=self.twice_middle_sum)
        np.sum(twice_half, axis=0, dtype=np.int32, out=self.reach)
        middle = twice_middle + (1 << unit)
        middle >>= unit + 1
        twice_middle += 1

        widest = twice_half.max(axis=0)
        widest >>= 3
        SCALE_OF.take(widest, out=self.z, mode="clip")
        np.add(self.z, unit, out=self.scale)
        np.right_shift(LIMIT, self.scale, out=self.limit)
        for way, row in zip(self.to_middle, (t.cos, t.sin), strict=True):
            np.right_shift(-dot(row, middle), 10, out=way)
        np.right_shift(-dot(t.null_effort, middle), 10, out=self.effort)
        clamp(self.effort, -16 * self.limit, 16 * self.limit)
        self.effort <<= self.scale
        self.effort >>= 6

        half = twice_half
        half <<= self.z
        half >>= 3
        half.clip(0, MOST_HALF, out=half)
        for i in VANES:  # ω = half / |null|
            half[i] *= t.width[i]
            half[i] >>= t.row_q[i]

    def share_out(self, roll_want: Words, point: Words, force: Words, limited: Mask) -> None:
        """Set force (4, n), eighths, and limited (n,) from roll_want (n,) and point (2, n)."""
        roll, e_x, e_y, spare = self.scratch.words[:4]
        eta = self.scratch.words[4:8]
        self._within_reach(roll_want, roll, limited, spare)
        for e, wanted, way in zip((e_x, e_y), point, self.to_middle, strict=True):
            np.left_shift(wanted, 4, out=e)
            e += way
            clamp(e, -self.limit, self.limit)
            e <<= self.scale
            e >>= 6
        for i in VANES:
            self._put_base(i, e_x, e_y, eta[i], spare)
            eta[i] += self._roll_row(i, roll, spare)

        rows = self._apart(eta, spare)
        if rows.size:
            limited[rows] = True
            e_x, e_y, spare = e_x.take(rows), e_y.take(rows), np.empty(rows.size, np.int32)
            base = words(4, rows.size)
            for i in VANES:
                self._put_base(i, e_x, e_y, base[i], spare)
            roll = self._taken_back(roll.take(rows), base, rows)
            for i in VANES:
                eta[i, rows] = base[i] + self._roll_row(i, roll, spare)
        self._least_effort(eta, force)

    def _within_reach(self, wanted: Words, roll: Words, limited: Mask, spare: Words) -> None:
        """Roll from the middle, held to what all vanes together give, in the box's scale."""
        np.left_shift(wanted, 1, out=spare)
        spare -= self.twice_middle_sum
        np.copyto(roll, spare)
        clamp(roll, -self.reach, self.reach)
        np.not_equal(roll, spare, out=limited)
        roll <<= self.z
        roll >>= 3

    def _put_base(self, i: int, e_x: Words, e_y: Words, base: Words, spare: Words) -> None:
        """η of vane i without roll."""
        t = self.t
        np.multiply(e_x, t.row_x[i], out=base)
        base += np.multiply(e_y, t.row_y[i], out=spare)
        base += 1 << (t.row_q[i] - 1)
        base >>= t.row_q[i]

    def _roll_row(self, i: int, roll: Words, row: Words) -> Words:
        """What roll adds to η of vane i, in `row`."""
        t = self.t
        np.multiply(roll, t.row_roll[i], out=row)
        row += 1 << (t.row_q[i] - 1)
        row >>= t.row_q[i]
        return row

    def _apart(self, eta: Words, distance: Words) -> Indices:
        """The rows in which the strips of some pair do not meet."""
        beyond, apart = self.scratch.masks
        apart[:] = False
        for pair in self.t.pairs:
            np.subtract(eta[pair.i], eta[pair.j], out=distance)
            np.absolute(distance, out=distance)
            room = self.omega[pair.i] + self.omega[pair.j]
            apart |= np.greater(distance, room, out=beyond)
        return np.flatnonzero(apart)

    def _taken_back(self, roll: Words, base: Words, rows: Indices) -> Words:
        """Roll (k,) taken back pair by pair until the strips of each meet."""
        omega = of_rows(self.omega, rows)
        beyond_most = bool((np.abs(roll) > MOST_ROLL).any())
        spare = np.empty_like(roll)
        for pair in self.t.pairs:
            room = omega[pair.i] + omega[pair.j]
            for _ in range(2):
                excess = base[pair.i] - base[pair.j]
                excess += self._roll_row(pair.i, roll, spare)
                excess -= self._roll_row(pair.j, roll, spare)
                held = excess.copy()
                clamp(held, -room, room)
                excess -= held
                if not excess.any():
                    break
                met = excess == 0 if beyond_most else None
                excess.clip(-pair.most, pair.most, out=excess)
                excess *= pair.inverse
                excess >>= pair.q
                np.subtract(roll, excess, out=excess)
                excess.clip(-MOST_ROLL, MOST_ROLL, out=excess)
                if met is not None:
                    np.copyto(excess, roll, where=met)
                roll = excess
        return roll

    def _least_effort(self, eta: Words, force: Words) -> None:
        """The least Σ f² that the four strips leave: force (4, n) from eta (4, n)."""
        t, box, omega = self.t, self.box, self.omega
        first, last, a = self.scratch.words[:3]
        np.subtract(eta[0], omega[0], out=first)
        np.add(eta[0], omega[0], out=last)
        for i in range(1, 4):
            np.maximum(first, np.subtract(eta[i], omega[i], out=a), out=first)
            np.minimum(last, np.add(eta[i], omega[i], out=a), out=last)
        first.clip(-WIDEST, LARGEST, out=first)
        last.clip(-LARGEST, WIDEST, out=last)
        middle = np.add(first, last, out=a)  # theirs where rounding has crossed the two
        middle >>= 1
        np.minimum(first, middle, out=first)
        np.maximum(last, middle, out=last)
        effort = a
        np.copyto(effort, self.effort)
        np.maximum(effort, first, out=effort)
        np.minimum(effort, last, out=effort)
        for i in VANES:
            f = force[i]
            np.subtract(effort, eta[i], out=f)
            clamp(f, -omega[i], omega[i])
            f *= t.null[i]
            f >>= 11
            f >>= self.z
            f += self.rounded_up[i]
            f >>= 1
            clamp(f, box.lo[i], box.hi[i])
