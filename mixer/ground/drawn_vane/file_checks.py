"""Do the vanes fit into the jet, and does the rest of the vehicle file agree with their drawing?"""

from collections.abc import Sequence

import numpy as np

from mixer.ground.drawn_vane.geometry import GeometryError, NozzleFields, VaneGeometry
from mixer.ground.drawn_vane.jet import Jet

ROLL_ARM_MAY_DIFFER = 0.10  # of where the computed force acts
# Delivered over ideal thrust: 0.92 to 1.0 in good nozzles (Sutton & Biblarz, correction factors
# [from memory]); wider by what a chamber pressure is known to.
THRUST_OVER_IDEAL = (0.85, 1.03)


def thrust_coefficient(jet: Jet, chamber_pressure_pa: float, expansion_ratio: float) -> float:
    """Ideal thrust over chamber pressure times throat area.

    Sutton & Biblarz, Rocket Propulsion Elements, eq. 3-30 [from memory].
    """
    g = jet.core.gamma
    exit_share = jet.core.pressure_pa / chamber_pressure_pa
    momentum = (
        2.0
        * g
        * g
        / (g - 1.0)
        * (2.0 / (g + 1.0)) ** ((g + 1.0) / (g - 1.0))
        * (1.0 - exit_share ** ((g - 1.0) / g))
    )
    ambient_share = jet.ambient_pressure_pa / chamber_pressure_pa
    return float(np.sqrt(momentum) + (exit_share - ambient_share) * expansion_ratio)


def ideal_thrust_n(engine: NozzleFields, jet: Jet) -> float:
    """Thrust of the drawn nozzle without losses, at the drawing's ambient pressure."""
    assert engine.throat_diameter_mm and engine.expansion_ratio
    chamber_pa = 1e5 * engine.chamber_pressure_bar
    throat_m2 = 0.25 * np.pi * (1e-3 * engine.throat_diameter_mm) ** 2
    return float(
        chamber_pa * throat_m2 * thrust_coefficient(jet, chamber_pa, engine.expansion_ratio)
    )


def roll_arm_warning(file_m: float, computed_m: float) -> str | None:
    """A sentence where layout.roll_arm_m is not where the computed force acts."""
    error = file_m / computed_m - 1.0
    if abs(error) <= ROLL_ARM_MAY_DIFFER:
        return None
    return (
        f"layout.roll_arm_m = {file_m:g} is {abs(error):.0%} {'over' if error > 0 else 'under'} the"
        f" {computed_m:.4f} m at which the drawn vane's force acts: roll, as promised and as flown,"
        f" is {abs(error):.0%} too {'large' if error > 0 else 'small'}; write {computed_m:.4f}"
    )


def thrust_warning(file_n: float, ideal_n: float) -> str | None:
    """A sentence where engine.thrust_n is not what throat, pressure and expansion can give."""
    share = file_n / ideal_n
    low, high = THRUST_OVER_IDEAL
    if low <= share <= high:
        return None
    return (
        f"engine.thrust_n = {file_n:g} is {share:.0%} of the {ideal_n:.4g} N that chamber pressure,"
        f" throat and expansion ratio give without losses; {low:.0%} to {high:.0%} would be"
        " plausible: one of the four is not this engine's, and the drawn forces go with the others"
    )


def refuse_impossible(
    geometry: VaneGeometry, jet: Jet, travel_deg: Sequence[float], apart_deg: float = 90.0
) -> None:
    """GeometryError for vanes that do not fit into the jet or strike each other.

    The worst case for neighbours `apart_deg` round the axis is one turned each way: the corners
    of their tips then meet half way between them, so a corner's throw to the side must stay under
    the tip's radius times tan(apart/2).
    """
    radius_mm, immersed = 1e3 * jet.exit_radius_m, geometry.immersed_span_mm
    if immersed >= 2.0 * radius_mm or geometry.thickness_mm >= 2.0 * radius_mm:
        raise GeometryError(
            [
                f"the vane is wider than the jet: {immersed:g} mm of span and"
                f" {geometry.thickness_mm:g} mm of thickness against a jet of"
                f" {2.0 * radius_mm:.3g} mm across"
            ]
        )
    largest = np.radians(max(abs(angle) for angle in travel_deg))
    ahead = geometry.hinge_line_mm
    behind = max(geometry.tip_chord_mm - geometry.hinge_line_mm, 0.0)
    tip_thickness = geometry.thickness_mm * geometry.tip_chord_mm / geometry.root_chord_mm
    throw = max(max(ahead, behind) * np.sin(largest), 0.5 * tip_thickness)
    gap = radius_mm - immersed
    needed = throw / np.tan(np.radians(0.5 * apart_deg))
    if gap <= needed:
        raise GeometryError(
            [
                "the vanes collide at the centre line:"
                f" immersed_span_mm = {immersed:g} leaves {gap:.3g} mm from tip to axis,"
                f" and a travel of {travel_deg[0]:g}° to {travel_deg[1]:g}° swings a tip's corner"
                f" {throw:.3g} mm towards its neighbour, {apart_deg:.3g}° round the axis;"
                f" immerse under {radius_mm - needed:.3g} mm, or cut the travel"
            ]
        )
