"""A rigid body turning in three axes, for many bodies at once.

Arrays have components first and one column per body: a vector is (3, N), a quaternion (4, N) with
the scalar part first. The quaternion turns body axes (x nose, y starboard, z down) into earth
axes (x up; y and z level, along body y and z while the rocket stands on its rail). Every sum is
written out, so that a body's numbers do not depend on how many fly beside it.

Products and matrices are taken by tables of rows, since for one body alone each call of numpy costs
as much as the arithmetic of a hundred: written term by term they take three times as long.
"""

from collections.abc import Callable

import numpy as np

from mixer.ground.inputs.arrays import Array

_NEXT, _LAST = np.array([1, 2, 0]), np.array([2, 0, 1])  # of x, y, z in turn

# Of the matrix each term, row by row, less the diagonal's 1: ±2 (first ± second product). Products
# are numbered 4 i + j, i and j of w, x, y, z.
_FIRST = np.array([10, 6, 7, 6, 5, 11, 7, 11, 5])  # yy xy xz  xy xx yz  xz yz xx
_SECOND = np.array([15, 3, 2, 3, 15, 1, 2, 1, 10])  # zz wz wy  wz zz wx  wy wx yy
_SIGN = np.array([[1.0], [-1.0], [1.0], [1.0], [1.0], [-1.0], [-1.0], [1.0], [1.0]])
_TWICE = np.array([[-2.0], [2.0], [2.0], [2.0], [-2.0], [2.0], [2.0], [2.0], [-2.0]])

# What p, q and r each turn w, x, y, z by: half of which part, and its sign.
_PARTNER = np.array([[1, 0, 3, 2], [2, 3, 0, 1], [3, 2, 1, 0]])
_HALF = 0.5 * np.array(
    [
        [[-1.0], [1.0], [1.0], [-1.0]],
        [[-1.0], [-1.0], [1.0], [1.0]],
        [[-1.0], [1.0], [-1.0], [1.0]],
    ]
)


def cross(a: Array, b: Array) -> Array:
    """a × b for (3, N) vectors."""
    return a.take(_NEXT, 0) * b.take(_LAST, 0) - a.take(_LAST, 0) * b.take(_NEXT, 0)


def axes_in_earth(quaternion: Array) -> Array:
    """The rotation matrix (3, 3, N), body to earth; column j is body axis j seen from earth."""
    products = (quaternion[:, None] * quaternion).reshape(16, -1)
    matrix = _TWICE * (products.take(_FIRST, 0) + _SIGN * products.take(_SECOND, 0))
    matrix[::4] += 1.0
    return matrix.reshape(3, 3, -1)


def to_earth(axes: Array, vector: Array) -> Array:
    """A body vector (3, N) in earth axes, `axes` from `axes_in_earth`."""
    return axes[:, 0] * vector[0] + axes[:, 1] * vector[1] + axes[:, 2] * vector[2]


def to_body(axes: Array, vector: Array) -> Array:
    """An earth vector (3, N) in body axes."""
    return axes[0] * vector[0] + axes[1] * vector[1] + axes[2] * vector[2]


def quaternion_rate(quaternion: Array, rate_rad_s: Array) -> Array:
    """q̇ = ½ q ⊗ (0, ω), ω in body axes."""
    by_p, by_q, by_r = _HALF * quaternion.take(_PARTNER, 0) * rate_rad_s[:, None]
    return by_p + by_q + by_r


def angular_acceleration(inertia_kg_m2: Array, rate_rad_s: Array, moment_nm: Array) -> Array:
    """Euler's equations in principal axes: ω̇ = I⁻¹ (M − ω × I ω), inertia (3, N)."""
    return (moment_nm - cross(rate_rad_s, inertia_kg_m2 * rate_rad_s)) / inertia_kg_m2


def normalised(quaternion: Array) -> Array:
    """The quaternion at length 1."""
    w, x, y, z = quaternion
    return quaternion / np.sqrt(w * w + x * x + y * y + z * z)


def runge_kutta(
    derivative: Callable[[float, Array], Array], time_s: float, state: Array, step_s: float
) -> Array:
    """The state one step on, by the classical fourth-order method (Kutta 1901)."""
    half_s = 0.5 * step_s
    k1 = derivative(time_s, state)
    k2 = derivative(time_s + half_s, state + half_s * k1)
    k3 = derivative(time_s + half_s, state + half_s * k2)
    k4 = derivative(time_s + step_s, state + step_s * k3)
    return state + (step_s / 6.0) * (k1 + 2.0 * (k2 + k3) + k4)
