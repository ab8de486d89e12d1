"""Curves between listed points: straight from point to point, the end value beyond the ends."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mixer.ground.inputs.arrays import Array


def straight(at: ArrayLike, points: Array, values: Array) -> Array:
    """Values at `at`, straight from point to point, the end values beyond the ends."""
    return np.interp(np.asarray(at, dtype=float), points, values)


@dataclass(frozen=True)
class ForceCurve:
    """What a new vane gives at the reference chamber pressure.

    `deflection_deg` and `force_n`, both (n,), rise strictly; `drag_n` (n,) is the force along
    the axis against the thrust, or None where it was not given.
    """

    deflection_deg: Array
    force_n: Array
    drag_n: Array | None = None

    def force_at(self, deflection_deg: ArrayLike) -> Array:
        """Normal force in N at deflections in deg, of the same shape."""
        return straight(deflection_deg, self.deflection_deg, self.force_n)

    def deflection_at(self, force_n: ArrayLike) -> Array:
        """Deflection in deg that gives a normal force in N, of the same shape."""
        return straight(force_n, self.force_n, self.deflection_deg)

    def drag_at(self, deflection_deg: ArrayLike) -> Array:
        """Drag in N at deflections in deg; not a number where the vehicle file gives no drag."""
        if self.drag_n is None:
            return np.full(np.shape(deflection_deg), np.nan)
        return straight(deflection_deg, self.deflection_deg, self.drag_n)


@dataclass(frozen=True)
class ServoTable:
    """Measured pulse width against deflection; both (n,), deflection rising strictly."""

    deflection_deg: Array
    pulse_us: Array


@dataclass(frozen=True)
class Servo:
    """One servo and its linkage: either a straight line or a measured table.

    `slew_deg_s` is the fastest the vane turns. With a table, `neutral_us` is the table's pulse
    at zero deflection and `us_per_deg` is None.
    """

    slew_deg_s: float
    neutral_us: float
    us_per_deg: float | None
    table: ServoTable | None = None

    def pulse_us(self, deflection_deg: ArrayLike) -> Array:
        """Pulse width in µs for deflections in deg, of the same shape."""
        if self.table is not None:
            return straight(deflection_deg, self.table.deflection_deg, self.table.pulse_us)
        assert self.us_per_deg is not None
        return self.neutral_us + self.us_per_deg * np.asarray(deflection_deg, dtype=float)
