"""What a count, a tick and a mantissa are: the scales by which numbers become integers."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from mixer.flight import layout as at
from mixer.ground.inputs.arrays import Array
from mixer.ground.tables.straight_pieces import at_least_two, spread

if TYPE_CHECKING:
    from mixer.ground.vehicle.vehicle import Vehicle

COUNTS = 4096  # the largest force
EIGHTHS = 8 * COUNTS
Q14 = 1 << 14
LONGEST_TICKS = 32768  # in time
LEVER_STEP = 0.004  # of ln(arm), from one record to the next: keeps 1/L within 2e-6
LONGEST_SEGMENT = 8192  # in angle: a slope's rounding then stays below a quarter of an eighth
FAR_EIGHTHS = 1 << 25  # demands are taken up to 1024 times the largest vane force
MOST_MNM = 1 << 29
PRESSURE_RATIO_MAX = 2.0
NO_THRUST_RATIO = 0.05
TICK_S = (1 << at.TICK) / 1e6  # the tables' step of time


def largest_force_n(vehicle: "Vehicle") -> float:
    """The force of 4096 counts in N: the largest of any new vane within its travel."""
    return max(
        float(np.abs(curve.force_at(travel)).max())
        for curve, travel in zip(vehicle.vanes.curves, vehicle.vanes.travel_deg, strict=True)
    )


@dataclass(frozen=True)
class Scaled:
    """value ≈ mantissa · 2^-exponent."""

    mantissa: int
    exponent: int


def scaled(value: float, bits: int) -> Scaled:
    """The value with a mantissa of at most `bits` bits."""
    exponent = bits - int(np.ceil(np.log2(abs(value))))
    if round(abs(value) * 2.0**exponent) >= 1 << bits:
        exponent -= 1
    return Scaled(round(value * 2.0**exponent), exponent)


def halved_product(value: float) -> Scaled:
    """The value as the flight core's product by halves of 9 bits takes it: exponent 9 or more."""
    exponent = min(max(scaled(value, 19).exponent, 9), 30)
    return Scaled(round(value * 2.0**exponent), exponent)


def halves(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Values up to 1 as Q14, and what is left of them in Q28."""
    whole = np.round(values * 2.0**28)
    coarse = np.round(whole / Q14)
    return coarse, whole - coarse * Q14


def in_ticks(time_s: ArrayLike) -> Array:
    """Times as ticks of the tables, with more between them where they are far apart."""
    ticks = np.unique(np.round(np.asarray(time_s) / TICK_S))
    return at_least_two(spread(ticks, LONGEST_TICKS))
