"""Pressure forces on a vane section in a supersonic stream: shock-expansion, blunt nose.

Flanks: the first turn is an oblique shock or an expansion fan, every later one a fan
(shock-expansion theory; Liepmann & Roshko, Elements of Gasdynamics, 1957 [from memory]). Nose:
modified Newtonian pressure with the Rayleigh pitot limit (Lees 1955 [from memory]). The flanks
behind a round nose are taken to see the pressures of the same flanks with a sharp one.
Coefficients refer to the stream's dynamic pressure and the new section's chord.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mixer.ground import gas
from mixer.ground.outline import Outline

FloatArray = NDArray[np.float64]

# Pressure coefficient on a blunt base, times M^2, downwards: 0.6 of a vacuum's at a heat ratio of
# 1.2 (Hoerner, Fluid-Dynamic Drag [from memory]).
BASE_SUCTION = 1.0
_NOSE_POINTS = np.polynomial.legendre.leggauss(24)


@dataclass(frozen=True)
class SectionForces:
    """Force coefficients of one section at one angle of attack.

    `c_n` square to the chord, `c_a` along it, `c_moment` about the new leading edge (chords),
    positive nose away from the side the stream strikes; `attached` False where the shock has left
    the flank and its pressure is an estimate.
    """

    alpha_rad: float
    c_n: float
    c_a: float
    c_moment: float
    attached: bool

    @property
    def c_l(self) -> float:
        """Force coefficient square to the stream."""
        return self.c_n * np.cos(self.alpha_rad) - self.c_a * np.sin(self.alpha_rad)

    @property
    def c_d(self) -> float:
        """Force coefficient along the stream."""
        return self.c_n * np.sin(self.alpha_rad) + self.c_a * np.cos(self.alpha_rad)


def detachment_deflection_rad(outline: Outline, mach: float, gamma: float) -> float:
    """Angle of attack beyond which the shock on the struck flank detaches."""
    return gas.detachment_angle_rad(mach, gamma) - outline.flank_rad


def flank_pressures(turn_rad: FloatArray, mach: float, gamma: float) -> tuple[FloatArray, bool]:
    """Pressure over stream pressure on successive panels of one convex side.

    `turn_rad` (n,) inclination of each panel into (+) or away from (-) the stream, falling.
    Returns the ratios (n,) and whether the shock is attached. Past detachment the first panel
    follows Newton's sin^2 law scaled to meet the last attached shock and held under the pitot
    limit, and the flow leaves it sonic: an estimate that keeps the curve continuous.
    """
    first = float(turn_rad[0])
    limit = gas.detachment_angle_rad(mach, gamma)
    attached = first <= limit
    if first > 0.0:
        shock = gas.oblique_shock(mach, min(first, limit), gamma)
        nose_mach, nose_pressure = shock.mach, shock.pressure_ratio
        if not attached:
            growth = (np.sin(first) / np.sin(limit)) ** 2
            pitot = gas.rayleigh_pitot_ratio(mach, gamma)
            nose_pressure = min(1.0 + (nose_pressure - 1.0) * growth, pitot)
    else:
        nu = float(gas.prandtl_meyer_rad(mach, gamma)) - first
        nose_mach = float(gas.mach_from_prandtl_meyer(nu, gamma))
        nose_pressure = float(gas.pressure_ratio(nose_mach, gamma)) / float(
            gas.pressure_ratio(mach, gamma)
        )
    if not np.isfinite(nose_mach):
        return np.zeros_like(turn_rad), attached
    # Behind a shock near detachment the flow is just subsonic: it is sonic at the shoulder.
    start_mach = max(nose_mach, 1.0)
    nu = gas.prandtl_meyer_rad(start_mach, gamma) + (first - turn_rad)
    expanded = gas.pressure_ratio(gas.mach_from_prandtl_meyer(nu, gamma), gamma)
    pressure = nose_pressure * expanded / gas.pressure_ratio(start_mach, gamma)
    if nose_mach < 1.0:
        pressure = pressure * _sonic_shoulder(nose_mach, gamma)
    pressure[turn_rad == first] = nose_pressure
    return pressure, attached


def _sonic_shoulder(nose_mach: float, gamma: float) -> float:
    """Sonic over local pressure of a stream that leaves a panel subsonic."""
    return float(gas.pressure_ratio(1.0, gamma) / gas.pressure_ratio(nose_mach, gamma))


def section_forces(outline: Outline, mach: float, gamma: float, alpha_rad: float) -> SectionForces:
    """Forces on a section at an angle of attack; the lower side is struck when it is positive."""
    slope = outline.slope_rad
    lower, lower_attached = flank_pressures(slope + alpha_rad, mach, gamma)
    upper, upper_attached = flank_pressures(slope - alpha_rad, mach, gamma)
    dynamic = 0.5 * gamma * mach * mach
    lower_cp, upper_cp = (lower - 1.0) / dynamic, (upper - 1.0) / dynamic
    dx, dy = np.diff(outline.x_m), np.diff(outline.y_m)
    x = 0.5 * (outline.x_m[1:] + outline.x_m[:-1])
    y = 0.5 * (outline.y_m[1:] + outline.y_m[:-1])
    chord = outline.chord_m
    normal = float(np.sum((lower_cp - upper_cp) * dx))
    axial = float(np.sum((lower_cp + upper_cp) * dy))
    axial += 2.0 * float(outline.y_m[-1]) * BASE_SUCTION / mach**2
    moment = float(np.sum((lower_cp - upper_cp) * (x * dx + y * dy)))
    if outline.nose_radius_m > 0.0:
        nose_normal, nose_axial = _nose_forces(outline, mach, gamma, alpha_rad)
        normal += nose_normal
        axial += nose_axial
        moment += nose_normal * (outline.nose_x_m + outline.nose_radius_m)
    return SectionForces(
        alpha_rad,
        normal / chord,
        axial / chord,
        moment / chord**2,
        lower_attached and upper_attached,
    )


def _nose_forces(
    outline: Outline, mach: float, gamma: float, alpha_rad: float
) -> tuple[float, float]:
    """Normal and axial force of the nose circle over dynamic pressure, m.

    Newton's cos^2 of the angle between the surface normal and the stream, where it faces it.
    """
    reach = 0.5 * np.pi - outline.flank_rad
    # The part of the arc from -reach to reach (upper side positive) that faces the stream.
    low = max(-reach, -0.5 * np.pi - alpha_rad)
    high = min(reach, 0.5 * np.pi - alpha_rad)
    if high <= low:
        return 0.0, 0.0
    points, weights = _NOSE_POINTS
    eta = 0.5 * (high + low) + 0.5 * (high - low) * points
    push = (
        gas.stagnation_pressure_coefficient(mach, gamma)
        * np.cos(eta + alpha_rad) ** 2
        * (0.5 * (high - low) * weights * outline.nose_radius_m)
    )
    return float(-np.sum(push * np.sin(eta))), float(np.sum(push * np.cos(eta)))
