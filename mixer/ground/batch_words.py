"""32-bit words in columns: one column for every row of a batch, or a single one for all of them."""

import numpy as np
from numpy.typing import NDArray

Words = NDArray[np.int32]
Mask = NDArray[np.bool_]
Reals = NDArray[np.float64]
Indices = NDArray[np.intp]

LARGEST = 2**31 - 1


def words(rows: int, columns: int) -> Words:
    """Words all 0, shape (rows, columns)."""
    return np.zeros((rows, columns), np.int32)


class Scratch:
    """Arrays to compute in, used over and over, so that they stay in a core's own cache.

    Whoever runs next overwrites them.
    """

    def __init__(self, rows: int):
        self.words = words(9, rows)
        self.reals = np.zeros(rows)
        self.masks = np.zeros((2, rows), np.bool_)


def clamp(x: Words, lo: int | Words, hi: int | Words) -> None:
    """Hold x inside lo … hi, in place.

    numpy is quick with two single numbers as bounds and with whole columns of them, but takes
    four times as long for `clip` to whole columns, or for the larger of a column and a number.
    """
    if isinstance(lo, int) or lo.size == 1:
        x.clip(lo, hi, out=x)
    else:
        np.maximum(x, lo, out=x)
        np.minimum(x, hi, out=x)


def of_rows(columns: Words, rows: Indices) -> Words:
    """The columns (…, k) of some rows; the one column stays as it is where all rows share it."""
    return columns if columns.shape[-1] == 1 else columns.take(rows, axis=-1)


def put_back(some: Words, rows: Indices, columns: Words) -> None:
    """Set the columns of some rows; line by line, which numpy does several times faster."""
    for line, all_of_line in zip(some, columns, strict=True):
        all_of_line[rows] = line


def dot(row: list[int], values: Words) -> Words:
    """Σ row[i]·values[i] in 32 bits: (columns,)."""
    total = values[0] * row[0]
    for factor, value in zip(row[1:], values[1:], strict=True):
        total += value * factor
    return total


def mark_beyond(values: Words, limit: int, mark: Mask, spare: Mask) -> None:
    """Add to mark (n,) the columns of values (2, n) that go past ±limit."""
    for row in values:
        if row.max() > limit:
            mark |= np.greater(row, limit, out=spare)
        if row.min() < -limit:
            mark |= np.less(row, -limit, out=spare)


def bit_lengths(values: Words) -> Words:
    """How many bits each value ≥ 0 has: the exponent of a double."""
    exponents = values.astype(np.float64).view(np.int64)
    exponents >>= 52
    exponents -= 1022
    return np.maximum(exponents, 0, out=exponents).astype(np.int32)


def brought_near(values: Words, limit: int) -> Words:
    """Halve the columns of values (2, n) downward, in place, until they lie within ±limit.

    Returns how often each was halved, (n,).
    """
    halved = bit_lengths(np.absolute(values).max(axis=0))
    halved -= limit.bit_length()
    np.maximum(halved, 0, out=halved)
    near = values >> halved
    halved += np.absolute(near, out=near).max(axis=0) > limit  # as long as the limit, and beyond
    values >>= halved
    return halved


def in_halves(gap: Words, out: Words | None = None) -> Words:
    """A gap (2, n) of up to 2^25 in two halves each, for `fine_product`: (4, n)."""
    halves = words(4, gap.shape[1]) if out is None else out
    np.right_shift(gap, 12, out=halves[:2])
    np.bitwise_and(gap, 4095, out=halves[2:])
    return halves


def fine_product(
    x: int | Words,
    y: int | Words,
    x_low: int | Words,
    y_low: int | Words,
    halves: Words,
    room: Words | None = None,
) -> Words:
    """(x, y)·gap for a unit vector in two halves, Q14 and Q28, and a gap `in_halves`: (n,).

    room: (3, n) to work in; the product is its first row.
    """
    top, middle, part = words(3, halves.shape[1]) if room is None else room
    high_x, high_y, low_x, low_y = halves
    np.multiply(x_low, high_x, out=middle)
    middle += np.multiply(y_low, high_y, out=part)
    middle >>= 2
    middle += np.multiply(x, low_x, out=part)
    middle += np.multiply(y, low_y, out=part)
    middle >>= 10
    np.multiply(x, high_x, out=top)
    top += np.multiply(y, high_y, out=part)
    top <<= 2
    top += middle
    top += 8
    top >>= 4
    return top
