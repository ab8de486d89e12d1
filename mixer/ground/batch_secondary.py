"""Steps two and three for many rows: `mixer.flight.secondary`.

Each vane is a strip |s − η| ≤ ω. Only where the four strips have nothing in common are the pairs
gone through one after another, in the order of the flight core.
"""

import numpy as np

from mixer.ground.batch_box import Box
from mixer.ground.batch_tables import VANES, BatchTables
from mixer.ground.batch_words import (
    Mask,
    Scratch,
    Words,
    clamp,
    dot,
    of_rows,
    put_back,
    words,
)

MOST_ROLL = 65535  # as in `mixer.flight.secondary`
MOST_HALF = 16384
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
        self.twice_middle_sum, self.reach, self.limit, self.effort = words(4, columns)
        self.z, self.scale, self.to_sixteenths = words(3, columns)
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
        np.add(self.z, 11, out=self.to_sixteenths)
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
        self._put_roll(roll_want, roll, limited, spare)
        for e, wanted, way in zip((e_x, e_y), point, self.to_middle, strict=True):
            np.left_shift(wanted, 4, out=e)
            e += way
            clamp(e, -self.limit, self.limit)
            e <<= self.scale
            e >>= 6
        for i in VANES:
            self._put_eta(i, e_x, e_y, roll, eta[i], spare)
        common = common_stretch(eta, self.omega, self.scratch.words[1:3], spare)
        rows = np.flatnonzero(common[0] > common[1])
        if rows.size:
            omega = of_rows(self.omega, rows)
            met = eta.take(rows, axis=1)
            roll, gave_way = self._until_strips_meet(roll.take(rows), met, omega)
            limited[rows[gave_way]] = True
            put_back(met, rows, eta)
            put_back(common_stretch(met, omega, words(2, rows.size), roll), rows, common)
        self._put_least_effort(eta, common, force, spare)

    def _put_roll(self, wanted: Words, roll: Words, limited: Mask, spare: Words) -> None:
        """Roll from the middle, held to what all vanes together give, in the box's scale."""
        np.left_shift(wanted, 1, out=spare)
        spare -= self.twice_middle_sum
        np.copyto(roll, spare)
        clamp(roll, -self.reach, self.reach)
        np.not_equal(roll, spare, out=limited)
        roll <<= self.z
        roll >>= 3
        roll.clip(-MOST_ROLL, MOST_ROLL, out=roll)

    def _put_eta(
        self, i: int, e_x: Words, e_y: Words, roll: Words, eta: Words, spare: Words
    ) -> None:
        """Where the strip of vane i stands."""
        t = self.t
        np.multiply(e_x, t.row_x[i], out=eta)
        eta += np.multiply(e_y, t.row_y[i], out=spare)
        eta += 1 << (t.row_q[i] - 1)
        eta >>= t.row_q[i]
        eta += self._roll_row(i, roll, spare)

    def _roll_row(self, i: int, roll: Words, row: Words) -> Words:
        """What roll adds to η of vane i, in `row`."""
        t = self.t
        np.multiply(roll, t.row_roll[i], out=row)
        row += 1 << (t.row_q[i] - 1)
        row >>= t.row_q[i]
        return row

    def _until_strips_meet(self, roll: Words, eta: Words, omega: Words) -> tuple[Words, Mask]:
        """Take roll (k,) back, pair by pair, until their strips meet; eta (4, k) follows in place.

        Returns the new roll, and where it had to give way.
        """
        spare = np.empty_like(roll)
        gave_way = np.zeros(roll.size, np.bool_)
        for i in VANES:
            eta[i] -= self._roll_row(i, roll, spare)
        for pair in self.t.pairs:
            room = omega[pair.i] + omega[pair.j]
            for _ in range(2):
                excess = eta[pair.i] - eta[pair.j]
                excess += self._roll_row(pair.i, roll, spare)
                excess -= self._roll_row(pair.j, roll, spare)
                np.copyto(spare, excess)
                clamp(spare, -room, room)
                excess -= spare
                if not excess.any():
                    break
                gave_way |= excess != 0
                excess.clip(-pair.most, pair.most, out=excess)
                excess *= pair.inverse
                excess >>= pair.q
                roll -= excess
                roll.clip(-MOST_ROLL, MOST_ROLL, out=roll)
        for i in VANES:
            eta[i] += self._roll_row(i, roll, spare)
        return roll, gave_way

    def _put_least_effort(self, eta: Words, common: Words, force: Words, spare: Words) -> None:
        """The least Σ f² within the strips' common stretch: force (4, n) from eta (4, n)."""
        t, box, omega = self.t, self.box, self.omega
        first, last = common
        middle = np.add(first, last, out=spare)  # both where rounding has crossed the two
        middle >>= 1
        np.minimum(first, middle, out=first)
        np.maximum(last, middle, out=last)
        effort = spare
        np.copyto(effort, self.effort)
        clamp(effort, first, last)
        for i in VANES:
            f = force[i]
            np.subtract(effort, eta[i], out=f)
            clamp(f, -omega[i], omega[i])
            f *= t.null[i]
            f >>= self.to_sixteenths
            f += self.rounded_up[i]
            f >>= 1
            clamp(f, box.lo[i], box.hi[i])


def common_stretch(eta: Words, omega: Words, common: Words, spare: Words) -> Words:
    """First and last of what four strips η ± ω have in common, set in `common` (2, n)."""
    first, last = common
    np.subtract(eta[0], omega[0], out=first)
    np.add(eta[0], omega[0], out=last)
    for i in range(1, 4):
        np.maximum(first, np.subtract(eta[i], omega[i], out=spare), out=first)
        np.minimum(last, np.add(eta[i], omega[i], out=spare), out=last)
    return common
