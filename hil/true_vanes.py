"""The vanes as they really are: force and drag from the true angle, the true wear, the true place.

The code in flight believes its tables; these vanes differ from them by what `Truth` says, and a
lost vane gives nothing at all.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hil.truth import VANES, Truth
from mixer.ground.vehicle import Vehicle

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Line:
    """A curve through listed points that goes on straight beyond its ends."""

    x: Array
    y: Array

    def __call__(self, x: Array) -> Array:
        return np.interp(x, self.x, self.y)


def extended(x: Array, y: Array, by: float) -> Line:
    """The curve through the points (x, y), its end slopes going on for `by` beyond the ends."""
    low = y[0] - by * (y[1] - y[0]) / (x[1] - x[0])
    high = y[-1] + by * (y[-1] - y[-2]) / (x[-1] - x[-2])
    return Line(np.array([x[0] - by, *x, x[-1] + by]), np.array([low, *y, high]))


class TrueVanes:
    """Four vanes in each of N flights. `alive` (4, N) is 1, or 0 where a vane is gone."""

    BEYOND_DEG = 30.0  # how far past its listed points a curve is followed

    def __init__(self, vehicle: Vehicle, truth: Truth):
        self.truth = truth
        self.alive = np.ones((VANES, truth.flights))
        self._roll_arm_m = vehicle.layout.roll_arm_m
        self._travel_deg = vehicle.vanes.travel_deg
        curves = vehicle.vanes.curves
        self._force = [extended(c.deflection_deg, c.force_n, self.BEYOND_DEG) for c in curves]
        self._drag = [
            None if c.drag_n is None else extended(c.deflection_deg, c.drag_n, self.BEYOND_DEG)
            for c in curves
        ]
        self._erosion = vehicle.erosion

    def strength(self, pressure_share: Array, load_s: Array) -> Array:
        """Force over that of a new vane at the reference pressure, (4, N), from (1, N)s."""
        worn = self.truth.vane_force_alike * self.alive * pressure_share
        if self._erosion is None:
            return worn
        listed = np.stack(
            [np.interp(load_s[0], self._erosion.load_s, row) for row in self._erosion.effectiveness]
        )
        return worn * (1.0 - self.truth.vane_wear_alike * (1.0 - listed))

    def force_n(self, strength: Array, angle_deg: Array) -> Array:
        """Normal force (4, N) at true angles (4, N)."""
        return strength * np.stack([f(a) for f, a in zip(self._force, angle_deg, strict=True)])

    def drag_n(self, strength: Array, angle_deg: Array) -> Array:
        """Drag of all four together (N,); none where the vehicle file lists none."""
        total = np.zeros(angle_deg.shape[1])
        for drag, share, angle in zip(self._drag, strength, angle_deg, strict=True):
            if drag is not None:
                total = total + share * drag(angle)
        return total

    def reach_n(self, strength: Array) -> tuple[Array, Array]:
        """Least and greatest normal force (4, N) within travel."""
        ends = np.stack([f(t) for f, t in zip(self._force, self._travel_deg, strict=True)])
        return strength * ends[:, :1], strength * ends[:, 1:]

    def moment_nm(self, force_n: Array, lever_arm_m: Array) -> Array:
        """Roll, pitch and yaw moment (3, N) about the centre of gravity."""
        pitch = _sum(self.truth.cos_clocking * force_n) * lever_arm_m
        yaw = _sum(self.truth.sin_clocking * force_n) * lever_arm_m
        return np.stack([self._roll_arm_m * _sum(force_n), pitch, yaw])

    def side_n(self, force_n: Array) -> tuple[Array, Array]:
        """What the four vanes push along body y and z, (N,) each."""
        return -_sum(self.truth.sin_clocking * force_n), _sum(self.truth.cos_clocking * force_n)


def _sum(per_vane: Array) -> Array:
    """Sum over the vanes, in an order that does not depend on how many flights there are."""
    return (per_vane[0] + per_vane[1]) + (per_vane[2] + per_vane[3])
