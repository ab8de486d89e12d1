"""Pressure forces on a vane section in a supersonic stream: shock-expansion, blunt nose.

Flanks: the first turn is an oblique shock or an expansion fan, every later one a fan
(shock-expansion theory; Liepmann & Roshko, Elements of Gasdynamics, 1957 [from memory]). Nose:
modified Newtonian pressure with the Rayleigh pitot limit (Lees 1955 [from memory]). The flanks
behind a round nose are taken to see the pressures of the same flanks with a sharp one.
Coefficients refer to the stream's dynamic pressure and the new section's chord.
"""

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
    """Force coefficients of one section at angles of attack (...), each of their shape.

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
    return gas.detachment_angle_rad(mach, gamma) - outline.flank_rad


def flank_pressures(turn_rad: Array, mach: float, gamma: float) -> tuple[Array, NDArray[np.bool_]]:
    """Pressure over stream pressure on successive panels of convex sides.

    `turn_rad` (..., n) inclination of each panel into (+) or away from (-) the stream, falling.
    Returns the ratios (..., n) and whether the shock is attached (...). Past detachment the first
    panel follows Newton's sin^2 law scaled to meet the last attached shock and held under the
    pitot limit, and the flow leaves it sonic: an estimate that keeps the curve continuous.
    """
    first = turn_rad[..., :1]
    nose_mach, nose_pressure, attached = _first_panels(first, mach, gamma)
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
    turn_rad: Array, mach: float, gamma: float
) -> tuple[Array, Array, NDArray[np.bool_]]:
    """Mach number behind the first turn, pressure there, and whether a shock is attached."""
    limit = gas.detachment_angle_rad(mach, gamma)
    attached, struck = turn_rad <= limit, turn_rad > 0.0
    nu = gas.prandtl_meyer_rad(mach, gamma) - np.minimum(turn_rad, 0.0)
    behind_mach = gas.mach_from_prandtl_meyer(nu, gamma)
    pressure = gas.pressure_ratio(behind_mach, gamma) / gas.pressure_ratio(mach, gamma)
    if np.any(struck):
        shocks = [gas.oblique_shock(mach, min(float(t), limit), gamma) for t in turn_rad[struck]]
        behind_mach[struck] = [shock.mach for shock in shocks]
        pressure[struck] = [shock.pressure_ratio for shock in shocks]
    if not np.all(attached):
        growth = (np.sin(turn_rad) / np.sin(limit)) ** 2
        estimate = np.minimum(
            1.0 + (pressure - 1.0) * growth, gas.rayleigh_pitot_ratio(mach, gamma)
        )
        pressure = np.where(attached, pressure, estimate)
    return behind_mach, pressure, attached


def section_forces(
    outline: Outline, mach: float, gamma: float, alpha_rad: ArrayLike
) -> SectionForces:
    """Forces on a section at angles of attack; the lower side is struck when they are positive."""
    alpha = np.asarray(alpha_rad, dtype=float)
    slope = outline.slope_rad
    lower, lower_attached = flank_pressures(slope + alpha[..., None], mach, gamma)
    upper, upper_attached = flank_pressures(slope - alpha[..., None], mach, gamma)
    dynamic = 0.5 * gamma * mach * mach
    lower_cp, upper_cp = (lower - 1.0) / dynamic, (upper - 1.0) / dynamic
    dx, dy = np.diff(outline.x_m), np.diff(outline.y_m)
    x = 0.5 * (outline.x_m[1:] + outline.x_m[:-1])
    y = 0.5 * (outline.y_m[1:] + outline.y_m[:-1])
    chord = outline.chord_m
    normal = np.sum((lower_cp - upper_cp) * dx, axis=-1)
    axial = np.sum((lower_cp + upper_cp) * dy, axis=-1)
    axial = axial + 2.0 * float(outline.y_m[-1]) * BASE_SUCTION / mach**2
    moment = np.sum((lower_cp - upper_cp) * (x * dx + y * dy), axis=-1)
    if outline.nose_radius_m > 0.0:
        nose_normal, nose_axial = _nose_forces(outline, mach, gamma, alpha)
        normal = normal + nose_normal
        axial = axial + nose_axial
        moment = moment + nose_normal * (outline.nose_x_m + outline.nose_radius_m)
    return SectionForces(
        alpha, normal / chord, axial / chord, moment / chord**2, lower_attached & upper_attached
    )


def _nose_forces(
    outline: Outline, mach: float, gamma: float, alpha_rad: Array
) -> tuple[Array, Array]:
    """Normal and axial force of the nose circle over dynamic pressure, m.

    Newton's cos^2 of the angle between the surface normal and the stream, where it faces it.
    """
    reach = 0.5 * np.pi - outline.flank_rad
    # The part of the arc from -reach to reach (upper side positive) that faces the stream.
    low = np.maximum(-reach, -0.5 * np.pi - alpha_rad)
    high = np.maximum(np.minimum(reach, 0.5 * np.pi - alpha_rad), low)
    points, weights = _NOSE_POINTS
    middle, half = (0.5 * (high + low))[..., None], (0.5 * (high - low))[..., None]
    eta = middle + half * points
    push = (
        gas.stagnation_pressure_coefficient(mach, gamma)
        * np.cos(eta + alpha_rad[..., None]) ** 2
        * (half * weights * outline.nose_radius_m)
    )
    return -np.sum(push * np.sin(eta), axis=-1), np.sum(push * np.cos(eta), axis=-1)
