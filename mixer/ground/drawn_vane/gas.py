"""Compressible flow of a perfect gas: nozzle, shocks, expansion fans.

Angles are radians, pressures ratios unless a unit ends the name; every relation takes floats or
arrays. Source, unless said: NACA Report 1135, Equations, Tables, and Charts for Compressible Flow
(1953) [from memory; every relation is checked numerically against its governing equations].
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mixer.ground.inputs.arrays import Array
from mixer.ground.inputs.csv_files import InputError

GAS_CONSTANT_J_MOL_K = 8.314462618
MACH_LIMIT = 60.0  # upper end of every search for a Mach number


class GasError(InputError):
    """A flow that the relations do not describe, said in words."""


def root_between(gap: Callable[[float], float], low: float, high: float) -> float:
    """Where `gap` crosses 0; it must have different signs at the two ends."""
    from scipy.optimize import root_scalar  # slow to load, and only drawn vanes need it

    return float(root_scalar(gap, bracket=(low, high), method="brentq", xtol=1e-13).root)


# --- isentropic flow ---------------------------------------------------------------------------


def temperature_ratio(mach: ArrayLike, gamma: float) -> Array:
    """Static over total temperature."""
    return 1.0 / (1.0 + 0.5 * (gamma - 1.0) * np.square(mach))


def pressure_ratio(mach: ArrayLike, gamma: float) -> Array:
    """Static over total pressure."""
    return temperature_ratio(mach, gamma) ** (gamma / (gamma - 1.0))


def area_ratio(mach: ArrayLike, gamma: float) -> Array:
    """Area over throat area."""
    power = (gamma + 1.0) / (2.0 * (gamma - 1.0))
    return (2.0 / ((gamma + 1.0) * temperature_ratio(mach, gamma))) ** power / np.asarray(mach)


def exit_mach(expansion_ratio: float, gamma: float) -> float:
    """Supersonic Mach number at an area ratio. GasError where the nozzle has no supersonic exit."""
    if not expansion_ratio > 1.0:
        raise GasError(
            f"subsonic exit: an expansion ratio of {expansion_ratio:g} gives no supersonic jet;"
            " it must be above 1"
        )
    largest = float(area_ratio(MACH_LIMIT, gamma))
    if expansion_ratio > largest:
        raise GasError(f"expansion ratio {expansion_ratio:g} is beyond {largest:.4g}")
    return root_between(lambda m: float(area_ratio(m, gamma)) - expansion_ratio, 1.0, MACH_LIMIT)


# --- expansion fans ----------------------------------------------------------------------------


def prandtl_meyer_rad(mach: ArrayLike, gamma: float) -> Array:
    """Angle through which sonic flow turns to reach a Mach number (1 or more)."""
    g = np.sqrt((gamma + 1.0) / (gamma - 1.0))
    b = np.sqrt(np.square(mach) - 1.0)
    return g * np.arctan(b / g) - np.arctan(b)


def prandtl_meyer_limit_rad(gamma: float) -> float:
    """Angle at which the flow would reach vacuum."""
    return 0.5 * np.pi * (np.sqrt((gamma + 1.0) / (gamma - 1.0)) - 1.0)


def mach_from_prandtl_meyer(nu_rad: ArrayLike, gamma: float) -> Array:
    """Mach number at a Prandtl-Meyer angle; infinite at and beyond the vacuum limit.

    Newton's method in x = sqrt(M^2 - 1), where dnu/dx = x^2 (g^2-1)/((g^2+x^2)(1+x^2)), started
    at Hall's rational approximation (Aeronautical Journal 79, 1975) [from memory].
    """
    nu = np.atleast_1d(np.asarray(nu_rad, dtype=float))
    limit = prandtl_meyer_limit_rad(gamma)
    inside = (nu > 0.0) & (nu < limit)
    target = np.where(inside, nu, 0.5 * limit)
    y = np.cbrt(target / limit) ** 2
    mach = (1.0 + 1.3604 * y + 0.0962 * y**2 - 0.5127 * y**3) / (1.0 - 0.6722 * y - 0.3278 * y**2)
    x = np.sqrt(np.square(mach) - 1.0)
    g = np.sqrt((gamma + 1.0) / (gamma - 1.0))
    for _ in range(60):
        square = x * x
        slope = square * (g * g - 1.0) / ((g * g + square) * (1.0 + square))
        error = g * np.arctan(x / g) - np.arctan(x) - target
        # Never past a factor of two either way: the angle flattens out near vacuum.
        step = np.minimum(np.maximum(x - error / slope, 0.5 * x), 2.0 * x) - x
        x = x + step
        if np.all(np.abs(step) <= 1e-8 * x):  # what is still missing is of the order of its square
            break
    mach = np.where(inside, np.sqrt(1.0 + x**2), np.where(nu <= 0.0, 1.0, np.inf))
    return mach.reshape(np.shape(nu_rad))


# --- normal shock and pitot --------------------------------------------------------------------


@dataclass(frozen=True)
class Shock:
    """What stands behind a shock: Mach number, static and total pressure over those ahead."""

    mach: Array
    pressure_ratio: Array
    total_pressure_ratio: Array


def normal_shock(mach: ArrayLike, gamma: float) -> Shock:
    """State behind a normal shock at `mach`, 1 or more."""
    m2 = np.square(mach)
    static = 1.0 + 2.0 * gamma / (gamma + 1.0) * (m2 - 1.0)
    density = (gamma + 1.0) * m2 / ((gamma - 1.0) * m2 + 2.0)
    behind = np.sqrt((1.0 + 0.5 * (gamma - 1.0) * m2) / (gamma * m2 - 0.5 * (gamma - 1.0)))
    total = (density**gamma / static) ** (1.0 / (gamma - 1.0))
    return Shock(behind, static, total)


def rayleigh_pitot_ratio(mach: ArrayLike, gamma: float) -> Array:
    """Stagnation pressure behind a normal shock, over the static pressure ahead of it."""
    return normal_shock(mach, gamma).total_pressure_ratio / pressure_ratio(mach, gamma)


def stagnation_pressure_coefficient(mach: ArrayLike, gamma: float) -> Array:
    """Largest pressure coefficient on a blunt edge: the pitot limit of modified Newtonian flow."""
    return (rayleigh_pitot_ratio(mach, gamma) - 1.0) / (0.5 * gamma * np.square(mach))


# --- oblique shock -----------------------------------------------------------------------------


def detachment_angle_rad(mach: ArrayLike, gamma: float) -> Array:
    """Largest turn an attached shock can give at `mach`."""
    m2 = np.square(mach)
    root = np.sqrt((gamma + 1.0) * (1.0 + 0.5 * (gamma - 1.0) * m2 + (gamma + 1.0) / 16.0 * m2**2))
    wave = np.arcsin(np.sqrt((0.25 * (gamma + 1.0) * m2 - 1.0 + root) / (gamma * m2)))
    return wave_turn_rad(wave, m2, gamma)


def wave_turn_rad(wave_rad: ArrayLike, mach_squared: ArrayLike, gamma: float) -> Array:
    """Flow turn across a shock standing at `wave_rad` to the flow."""
    wave, m2 = np.asarray(wave_rad, float), np.asarray(mach_squared, float)
    normal = m2 * np.square(np.sin(wave))
    return np.arctan(
        2.0 / np.tan(wave) * (normal - 1.0) / (m2 * (gamma + np.cos(2.0 * wave)) + 2.0)
    )


def oblique_wave_angle_rad(mach: ArrayLike, turn_rad: ArrayLike, gamma: float) -> Array:
    """Angle of the weak shock that turns the flow by `turn_rad`. GasError past detachment.

    The middle root of the cubic in sin^2, in its trigonometric form (NACA 1135, eq. 150). Where
    there is no turn it is the Mach wave.
    """
    mach, turn = np.broadcast_arrays(np.asarray(mach, float), np.maximum(turn_rad, 0.0))
    limit = detachment_angle_rad(mach, gamma)
    if np.any(turn > limit):
        first = int(np.argmax(turn > limit))
        raise GasError(
            f"no attached shock turns Mach {mach.flat[first]:.4g} by"
            f" {np.degrees(turn.flat[first]):.2f}°; it detaches at"
            f" {np.degrees(limit.flat[first]):.2f}°"
        )
    m2, s2 = np.square(mach), np.square(np.sin(turn))
    b = -(m2 + 2.0) / m2 - gamma * s2
    c = (2.0 * m2 + 1.0) / m2**2 + (0.25 * (gamma + 1.0) ** 2 + (gamma - 1.0) / m2) * s2
    d = -(1.0 - s2) / m2**2
    radius = np.sqrt(np.maximum(b * b - 3.0 * c, 0.0))
    cosine = np.clip((4.5 * b * c - b**3 - 13.5 * d) / radius**3, -1.0, 1.0)
    weak = (-b + 2.0 * radius * np.cos((np.arccos(cosine) + 4.0 * np.pi) / 3.0)) / 3.0
    return np.arcsin(np.sqrt(np.where(turn > 0.0, np.clip(weak, 1.0 / m2, 1.0), 1.0 / m2)))


def oblique_shock(mach: ArrayLike, turn_rad: ArrayLike, gamma: float) -> Shock:
    """State behind the weak shock that turns the flow by `turn_rad`."""
    wave = oblique_wave_angle_rad(mach, turn_rad, gamma)
    across = normal_shock(np.maximum(mach * np.sin(wave), 1.0), gamma)
    behind = across.mach / np.sin(wave - np.maximum(turn_rad, 0.0))
    return Shock(behind, across.pressure_ratio, across.total_pressure_ratio)
