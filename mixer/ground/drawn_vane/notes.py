"""What the reader of a drawn vane's curve has to know, in sentences."""

from collections.abc import Sequence

import numpy as np

from mixer.ground.drawn_vane.geometry import Strip
from mixer.ground.drawn_vane.jet import Jet


def curve_notes(
    jet: Jet,
    slices: Sequence[Strip],
    distance_m: float,
    reduced_aspect: float,
    detachment_deg: float,
    travel_deg: Sequence[float],
) -> tuple[str, ...]:
    """Notes on the jet, on where shocks stand, and on how far the span correction goes."""
    notes = [*_jet_notes(jet, slices, distance_m)]
    if any(s.outline.nose_radius_m > 0.0 for s in slices):
        notes.append(
            "the round nose has a detached bow shock at every deflection; the flanks behind it are"
            " taken to see the pressures of the same flanks with a sharp edge"
        )
    notes.append(_shock_note(detachment_deg, max(abs(angle) for angle in travel_deg)))
    if reduced_aspect < 1.0:
        notes.append(
            f"aspect ratio times sqrt(M²-1) is {reduced_aspect:.2f}, under 1: the finite-span"
            " correction is a blend to the slender-wing limit, not a solution"
        )
    return tuple(notes)


def _jet_notes(jet: Jet, slices: Sequence[Strip], distance_m: float) -> tuple[str, str]:
    core_m = jet.core_radius_m(distance_m)
    wetted_m = sum(s.width_m for s in slices)
    share = sum(s.width_m for s in slices if s.radius_m > core_m) / wetted_m
    turn_deg = np.degrees(jet.skirt.turn_rad)
    return (
        f"jet {jet.expansion}: {jet.core.pressure_pa / 1e5:.3g} bar at the exit against"
        f" {jet.ambient_pressure_pa / 1e5:.3g} bar outside; the lip wave leaves at"
        f" {np.degrees(jet.lip_wave_rad):.1f}° and has crossed {share:.0%} of the immersed span;"
        f" the jet's edge runs at Mach {jet.skirt.mach:.2f}, the core at {jet.core.mach:.2f}",
        f"the jet's edge turns {abs(turn_deg):.1f}° {'inwards' if turn_deg < 0.0 else 'outwards'}:"
        f" from {1e3 * jet.exit_radius_m:.1f} mm at the exit to"
        f" {1e3 * jet.edge_radius_m(distance_m):.1f} mm beside half chord, where"
        f" {1e3 * wetted_m:.1f} mm of the vane's span are in it",
    )


def _shock_note(detachment_deg: float, largest_deg: float) -> str:
    """Where the shock of a sharp flank, the one the pressures are computed from, stands."""
    if detachment_deg <= 0.0:
        return "a sharp flank's shock is detached at every deflection: pressures are estimates"
    if detachment_deg < largest_deg:
        return (
            f"a sharp flank's shock detaches at {detachment_deg:.1f}°, inside the travel of"
            f" {largest_deg:g}°: forces beyond are estimates"
        )
    return (
        "a sharp flank's shock stays attached over the travel (it detaches at"
        f" {detachment_deg:.1f}°)"
    )
