"""What changes over the burn, for many rows: `mixer.flight.schedule`."""

import numpy as np
from numpy.typing import NDArray

from mixer.flight import layout as at
from mixer.ground.batch_box import Box
from mixer.ground.batch_tables import BatchTables, place_on
from mixer.ground.batch_words import Words

RATE_CELLS = 64


def pressure_ratio(t: BatchTables, pressure_pa: Words) -> Words:
    """pc/pc_ref, Q14, of the same shape."""
    ratio = pressure_pa.clip(0, t[at.PA_MAX])
    ratio >>= t[at.PA_SHIFT]
    ratio *= t[at.PA_MANT]
    ratio >>= 15
    return ratio.clip(0, 32767, out=ratio)


def load_rate(t: BatchTables, ratio: Words) -> Words:
    """How fast the burn load grows, Q14, of the same shape: ratio^0.8 from the table."""
    cell = t[at.RATE_OFF] + (ratio >> 9)
    return t.words.take(cell) + ((t.words.take(cell + RATE_CELLS) * (ratio & 511)) >> 9)


def set_force_gain(t: BatchTables, ratio: Words, load_us: Words, box: Box) -> None:
    """Set the box's κ = (pc/pc_ref)·effectiveness, Q14, and its unit; ratio, load (columns,)."""
    load_ms, *of_vanes = t.wear()
    place, into = place_on(load_ms, load_us // 1000)
    for effectiveness, slope, kappa in zip(of_vanes[::2], of_vanes[1::2], box.kappa, strict=True):
        np.multiply(slope.take(place), into, out=kappa)
        kappa >>= 16
        kappa += effectiveness.take(place)
        kappa *= ratio
        kappa >>= 14
    np.add((box.kappa > 16384).any(axis=0), 1, out=box.unit, casting="unsafe")
    box.kappa.clip(1, 32767, out=box.kappa)


def lever_gains(t: BatchTables, time_us: Words) -> tuple[Words, Words]:
    """What turns mN·m of pitch and yaw into counts, and counts into mN·m; both (columns,)."""
    time_ms, *columns = t.lever()
    place, into = place_on(time_ms, time_us // 1000)
    gain, slope, moment, moment_slope = (column.take(place) for column in columns)
    return gain + into * slope, moment + ((into * moment_slope) >> 15)


def put_in_eighths(
    demand_mnm: NDArray[np.int64], gain: int | Words, exponent: int, want: Words
) -> None:
    """Demands in eighths of a count, demand · gain / 2^exponent, into `want`; spoils `demand_mnm`.

    The flight core's products of two halves give exactly this: rounded to nearest above 28
    fraction bits, downward at 28 and below.
    """
    demand_mnm *= gain
    if exponent > 28:
        demand_mnm += 1 << (exponent - 1)
    demand_mnm >>= exponent
    np.copyto(want, demand_mnm, casting="unsafe")
