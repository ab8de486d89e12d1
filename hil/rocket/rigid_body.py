"""A rigid body turning in three axes, for many bodies at once.

Arrays have components first and one column per body: a vector is (3, N), a quaternion (4, N) with
the scalar part first. The quaternion turns body axes (x nose, y starboard, z down) into earth
axes (x up; y and z level, along body y and z while the rocket stands on its rail). Every sum is
written out, so that a body's numbers do not depend on how many fly beside it.
"""

from collections.abc import Callable

import numpy as np

from mixer.ground.inputs.arrays import Array


def cross(a: Array, b: Array) -> Array:
    """a × b for (3, N) vectors."""
    ax, ay, az = a
    bx, by, bz = b
    return np.array([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx])


def axes_in_earth(quaternion: Array) -> Array:
    """The rotation matrix (3, 3, N), body to earth; column j is body axis j seen from earth."""
    w, x, y, z = quaternion
    xx, yy, zz = x * x, y * y, z * z
    xy, xz, yz = x * y, x * z, y * z
    wx, wy, wz = w * x, w * y, w * z
    return np.array(
        [
            np.array([1.0 - 2.0 * (yy + zz), 2.0 * (xy - wz), 2.0 * (xz + wy)]),
            np.array([2.0 * (xy + wz), 1.0 - 2.0 * (xx + zz), 2.0 * (yz - wx)]),
            np.array([2.0 * (xz - wy), 2.0 * (yz + wx), 1.0 - 2.0 * (xx + yy)]),
        ]
    )


def to_earth(axes: Array, vector: Array) -> Array:
    """A body vector (3, N) in earth axes, `axes` from `axes_in_earth`."""
    return axes[:, 0] * vector[0] + axes[:, 1] * vector[1] + axes[:, 2] * vector[2]


def to_body(axes: Array, vector: Array) -> Array:
    """An earth vector (3, N) in body axes."""
    return axes[0] * vector[0] + axes[1] * vector[1] + axes[2] * vector[2]


def quaternion_rate(quaternion: Array, rate_rad_s: Array) -> Array:
    """q̇ = ½ q ⊗ (0, ω), ω in body axes."""
    w, x, y, z = quaternion
    p, q, r = rate_rad_s
    return 0.5 * np.array(
        [
            -x * p - y * q - z * r,
            w * p + y * r - z * q,
            w * q + z * p - x * r,
            w * r + x * q - y * p,
        ]
    )


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
