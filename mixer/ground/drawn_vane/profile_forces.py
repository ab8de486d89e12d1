"""Pressure forces on a vane section in a supersonic stream: shock-expansion, blunt nose.

Flanks: the first turn is an oblique shock or an expansion fan, every later one a fan
(shock-expansion theory; Liepmann & Roshko, Elements of Gasdynamics, 1957 [from memory]). Nose:
modified Newtonian pressure with the Rayleigh pitot limit (Lees 1955 [from memory]). The flanks
behind a round nose are taken to see the pressures of the same flanks with a sharp one.
Coefficients refer to the stream's dynamic pressure and the new section's chord.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mixer.ground.drawn_vane import gas
from mixer.ground.drawn_vane.outline import Outline
from mixer.ground.inputs.arrays import Array

# Pressure coefficient on a blunt base, times M^2, downwards: 0.6 of a vacuum's at a heat ratio of
# 1.2 (Hoerner, Fluid-Dynamic Drag [from memory]).
BASE_SUCTION = 1.0
_NOSE_POINTS = np.polynomial.legendre.leggauss(24)


@dataclass(frozen=True)
class SectionForces:
    """Force coefficients of sections at angles of attack (...), each of their shape.

    `c_n` square to the chord, `c_a` along it, `c_moment` about the new leading edge (chords),
    positive nose away from the side the stream strikes; `attached` False where the shock has left
    the flank and its pressure is an estimate.
    """

    alpha_rad: Array
    c_n: Array
    c_a: Array
    c_moment: Array
    attached: NDArray[np.bool_]


def detachment_deflection_rad(outline: Outline, mach: float, gamma: float) -> float:
    """Angle of attack beyond which the shock on the struck flank detaches."""
    return float(gas.detachment_angle_rad(mach, gamma)) - outline.flank_rad


def flank_pressures(
    turn_rad: Array, mach: ArrayLike, gamma: float
) -> tuple[Array, NDArray[np.bool_]]:
    """Pressure over stream pressure on successive panels of convex sides.

    `turn_rad` (..., n) inclination of each panel into (+) or away from (-) the stream, falling;
    `mach` (...) of the stream.
    Returns the ratios (..., n) and whether the shock is attached (...). Past detachment the first
    panel follows Newton's sin^2 law scaled to meet the last attached shock and held under the
    pitot limit, and the flow leaves it sonic: an estimate that keeps the curve continuous.
    """
    first = turn_rad[..., :1]
    nose_mach, nose_pressure, attached = _first_panels(first, np.asarray(mach)[..., None], gamma)
    # Behind a shock near detachment the flow is just subsonic: it is sonic at the shoulder. Where
    # the first fan ends in vacuum, 1 stands in for a Mach number, and the pressure stays 0.
    start_mach = np.where(np.isfinite(nose_mach), np.maximum(nose_mach, 1.0), 1.0)
    nu = gas.prandtl_meyer_rad(start_mach, gamma) + (first - turn_rad)
    expanded = gas.pressure_ratio(gas.mach_from_prandtl_meyer(nu, gamma), gamma)
    pressure = nose_pressure * expanded / gas.pressure_ratio(start_mach, gamma)
    # Sonic over local pressure of a stream that leaves its panel subsonic.
    leaves = gas.pressure_ratio(np.minimum(nose_mach, 1.0), gamma)
    pressure = pressure * gas.pressure_ratio(1.0, gamma) / leaves
    return np.where(turn_rad == first, nose_pressure, pressure), attached[..., 0]


def _first_panels(
    turn_rad: Array, mach: Array, gamma: float
) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Mach number behind the first turn, pressure there, and whether a shock is attached."""
    limit = gas.detachment_angle_rad(mach, gamma)
    attached, struck = turn_rad <= limit, turn_rad > 0.0
    nu = gas.prandtl_meyer_rad(mach, gamma) - np.minimum(turn_rad, 0.0)
    fan_mach = gas.mach_from_prandtl_meyer(nu, gamma)
    fan_pressure = gas.pressure_ratio(fan_mach, gamma) / gas.pressure_ratio(mach, gamma)
    shock = gas.oblique_shock(mach, np.clip(turn_rad, 0.0, limit), gamma)
    pressure = np.where(struck, shock.pressure_ratio, fan_pressure)
    growth = (np.sin(turn_rad) / np.sin(limit)) ** 2
    estimate = np.minimum(1.0 + (pressure - 1.0) * growth, gas.rayleigh_pitot_ratio(mach, gamma))
    return (
        np.where(struck, shock.mach, fan_mach),
        np.where(attached, pressure, estimate),
        attached,
    )


def forces_of_sections(
    outlines: Sequence[Outline], mach: Array, gamma: float, alpha_rad: Array
) -> SectionForces:
    """Forces (s, a) on s sections, each in a stream of its own, at angles of attack (a,).

    The lower side is struck where these are positive. The sections have as many panels each.
    """
    x_m, y_m = (np.array([getattr(one, key) for one in outlines]) for key in ("x_m", "y_m"))
    nose_x_m, radius_m, chord_m = (
        np.array([getattr(one, key) for one in outlines])[:, None]
        for key in ("nose_x_m", "nose_radius_m", "chord_m")
    )
    dx, dy = np.diff(x_m)[:, None], np.diff(y_m)[:, None]
    x, y = (0.5 * (ends[:, None, 1:] + ends[:, None, :-1]) for ends in (x_m, y_m))
    slope, alpha = np.arctan2(dy, dx), alpha_rad[:, None]
    mach = mach[:, None]
    (lower, upper), attached = flank_pressures(
        np.stack([slope + alpha, slope - alpha]), mach, gamma
    )
    dynamic = (0.5 * gamma * np.square(mach))[..., None]
    lower_cp, upper_cp = (lower - 1.0) / dynamic, (upper - 1.0) / dynamic
    nose_normal, nose_axial = _nose_forces(radius_m, slope[..., 0], mach, gamma, alpha_rad)
    normal = np.sum((lower_cp - upper_cp) * dx, axis=-1) + nose_normal
    base = 2.0 * y_m[:, -1:] * BASE_SUCTION / np.square(mach)
    axial = np.sum((lower_cp + upper_cp) * dy, axis=-1) + base + nose_axial
    moment = np.sum((lower_cp - upper_cp) * (x * dx + y * dy), axis=-1)
    moment = moment + nose_normal * (nose_x_m + radius_m)
    return SectionForces(
        alpha_rad,
        normal / chord_m,
        axial / chord_m,
        moment / chord_m**2,
        np.asarray(attached.all(axis=0)),
    )


def _nose_forces(
    radius_m: Array, flank_rad: Array, mach: Array, gamma: float, alpha_rad: Array
) -> tuple[Array, Array]:
    """Normal and axial force of the nose circles over dynamic pressure, m.

    Newton's cos^2 of the angle between the surface normal and the stream, where it faces it.
    """
    reach = 0.5 * np.pi - flank_rad
    # The part of the arc from -reach to reach (upper side positive) that faces the stream.
    low = np.maximum(-reach, -0.5 * np.pi - alpha_rad)
    high = np.maximum(np.minimum(reach, 0.5 * np.pi - alpha_rad), low)
    points, weights = _NOSE_POINTS
    middle, half = (0.5 * (high + low))[..., None], (0.5 * (high - low))[..., None]
    eta = middle + half * points
    push = (
        gas.stagnation_pressure_coefficient(mach, gamma)[..., None]
        * np.cos(eta + alpha_rad[:, None]) ** 2
        * (half * weights * radius_m[..., None])
    )
    return -np.sum(push * np.sin(eta), axis=-1), np.sum(push * np.cos(eta), axis=-1)
