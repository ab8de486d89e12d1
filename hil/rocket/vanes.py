"""The vanes as they really are: force and drag from the true angle, the true wear, the true place.

The code in flight believes its tables; these vanes differ from them by what `Truth` says, and a
lost vane gives nothing at all.
"""

from collections.abc import Sequence

import numpy as np

from hil.rocket.dispersion import Truth
from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.vehicle.vehicle import Vehicle


class VaneCurves:
    """A curve through listed points for each vane, straight between them and beyond their ends.

    x, y: a row of points for each vane. Curves are followed for `BEYOND_DEG` past their ends.
    """

    BEYOND_DEG = 30.0

    def __init__(self, x: Sequence[Array], y: Sequence[Array]):
        self._points = [self._extended(*points) for points in zip(x, y, strict=True)]
        first_x, first_y = self._points[0]
        self._alike = all(
            np.array_equal(first_x, other_x) and np.array_equal(first_y, other_y)
            for other_x, other_y in self._points[1:]
        )

    def __call__(self, angle_deg: Array) -> Array:
        """Values (4, N) at angles (4, N)."""
        if self._alike:
            return np.interp(angle_deg, *self._points[0])
        rows = zip(angle_deg, self._points, strict=True)
        return np.array([np.interp(row, *points) for row, points in rows])

    def _extended(self, x: Array, y: Array) -> tuple[Array, Array]:
        by = self.BEYOND_DEG
        low = y[0] - by * (y[1] - y[0]) / (x[1] - x[0])
        high = y[-1] + by * (y[-1] - y[-2]) / (x[-1] - x[-2])
        return np.array([x[0] - by, *x, x[-1] + by]), np.array([low, *y, high])


class TrueVanes:
    """Four vanes in each of N flights. `alive` (4, N) is 1, or 0 where a vane is gone."""

    def __init__(self, vehicle: Vehicle, truth: Truth):
        self.truth = truth
        self.alive = np.ones((VANES, truth.flights))
        cosine, sine = truth.cos_clocking, truth.sin_clocking
        self._along = np.stack([np.ones_like(cosine), cosine, sine], axis=1)  # (4, 3, N)
        self._roll_arm_m = vehicle.layout.roll_arm_m
        self._travel_deg = vehicle.vanes.travel_deg
        vanes = vehicle.vanes
        angles_deg = [curve.deflection_deg for curve in vanes.curves]
        self._force = VaneCurves(angles_deg, [curve.force_n for curve in vanes.curves])
        drags_n = [curve.drag_n for curve in vanes.curves if curve.drag_n is not None]
        self._drag = VaneCurves(angles_deg, drags_n) if len(drags_n) == VANES else None
        self._erosion = vehicle.erosion

    def strength(self, pressure_share: Array, load_s: Array) -> Array:
        """Force over that of a new vane at the reference pressure, (4, N), from (1, N)s."""
        worn = self.truth.vane_force_alike * self.alive * pressure_share
        if self._erosion is None:
            return worn
        listed = np.array(
            [np.interp(load_s[0], self._erosion.load_s, row) for row in self._erosion.effectiveness]
        )
        return worn * (1.0 - self.truth.vane_wear_alike * (1.0 - listed))

    def force_n(self, strength: Array, angle_deg: Array) -> Array:
        """Normal force (4, N) at true angles (4, N)."""
        return strength * self._force(angle_deg)

    def drag_n(self, strength: Array, angle_deg: Array) -> Array:
        """Drag of all four together (N,); none where the vehicle file lists none."""
        if self._drag is None:
            return np.zeros(angle_deg.shape[1])
        return _sum(strength * self._drag(angle_deg))

    def reach_n(self, strength: Array) -> tuple[Array, Array]:
        """Least and greatest normal force (4, N) within travel."""
        ends = self._force(self._travel_deg)
        return strength * ends[:, :1], strength * ends[:, 1:]

    def loads(self, force_n: Array, lever_arm_m: Array) -> tuple[Array, Array, Array]:
        """Moment (3, N) about the centre of gravity, and push along body y and z, (N,) each."""
        all_n, z_n, minus_y_n = _sum(self._along * force_n[:, None])
        moment_nm = [self._roll_arm_m * all_n, z_n * lever_arm_m, minus_y_n * lever_arm_m]
        return np.array(moment_nm), -minus_y_n, z_n


def _sum(per_vane: Array) -> Array:
    """Sum over the vanes, in an order that does not depend on how many flights there are."""
    return (per_vane[0] + per_vane[1]) + (per_vane[2] + per_vane[3])
