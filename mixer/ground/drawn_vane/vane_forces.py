"""What one vane gives over its travel, computed from its drawing and the jet.

Strips along the immersed span, each by shock-expansion with a blunt nose, in the stream that
meets it; then the finite-span correction on the whole. An estimate to be corrected by a static
test: shock interaction between vanes, the nozzle's boundary layer and two-phase flow are left out.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from mixer.ground.drawn_vane.file_checks import refuse_impossible
from mixer.ground.drawn_vane.geometry import (
    GeometryError,
    NozzleFields,
    Strip,
    VaneGeometry,
    WornEdge,
    jet_for,
    strips,
)
from mixer.ground.drawn_vane.hot_gas import HotGas, friction_coefficient
from mixer.ground.drawn_vane.jet import FlowState, Jet
from mixer.ground.drawn_vane.notes import curve_notes
from mixer.ground.drawn_vane.profile_forces import (
    detachment_deflection_rad,
    forces_of_sections,
)
from mixer.ground.inputs.arrays import Array

SpanOf = Literal["drawing", "wetted"]  # whose span the finite-span correction takes
STEP_DEG = 1.0  # widest distance between computed deflections
EDGE_ON_RAD = 1e-3  # stands in for zero deflection where a ratio of force and moment is asked for


@dataclass(frozen=True)
class VaneCurve:
    """One vane at reference chamber pressure; arrays (n,) over `deflection_deg`.

    `force_n` acts square to the engine axis and is what the moments are made of and what a load
    cell beside the vehicle reads; `drag_n` acts along the axis against the thrust.
    `normal_force_n` and `axial_force_n` are the same force square to the chord and along it.
    `centre_of_pressure_mm` lies behind the new leading edge. `hinge_moment_nm` is what the gas
    does to the shaft: positive turns the vane towards positive deflection. `roll_arm_m` is the
    radius at which the force acts. `detachment_deg` is the deflection at which a shock first
    leaves a sharp flank, whether inside the travel or not. `edge_radius_m` is that of the jet
    beside half chord. `notes` say in words what was found.
    """

    deflection_deg: Array
    force_n: Array
    drag_n: Array
    normal_force_n: Array
    axial_force_n: Array
    centre_of_pressure_mm: Array
    hinge_moment_nm: Array
    roll_arm_m: float
    detachment_deg: float
    jet: Jet
    edge_radius_m: float
    notes: tuple[str, ...]

    @property
    def drag_at_rest_n(self) -> float:
        return float(np.interp(0.0, self.deflection_deg, self.drag_n))


def span_factor(aspect_ratio: float, beta: float) -> float:
    """Normal force of a rectangular plate over that of an endless one.

    1 - 1/(2 AR beta) for AR beta >= 1 (Anderson, Aircraft Performance and Design, eq. 2.18c;
    Bonney 1950). Below that, a straight blend to Jones's slender-wing limit (NACA Report 835,
    1946 [from memory]), which for the slope reads pi/2 AR.
    """
    reduced = aspect_ratio * beta
    if reduced >= 1.0:
        return 1.0 - 0.5 / reduced
    slope_over_aspect = 0.5 * np.pi + (2.0 - 0.5 * np.pi) * reduced
    return 0.25 * reduced * slope_over_aspect


def centre_of_pressure_share(aspect_ratio: float, beta: float) -> float:
    """Centre of pressure of a thin rectangular plate, chords behind its leading edge.

    (3 AR beta - 2)/(6 AR beta - 3) for AR beta >= 1, from the tip cones' load; below that it
    runs to the leading edge, the slender-wing limit.
    """
    reduced = aspect_ratio * beta
    if reduced >= 1.0:
        return (3.0 * reduced - 2.0) / (6.0 * reduced - 3.0)
    return reduced / 3.0


def deflections_deg(travel_deg: Sequence[float], step_deg: float = STEP_DEG) -> Array:
    """Deflections from end to end of the travel, at most a step apart, 0 among them."""
    low, high = float(travel_deg[0]), float(travel_deg[1])
    if not low < high:
        raise GeometryError([f"travel_deg = [{low:g}, {high:g}] must rise"])
    marks = np.unique([low, 0.0, high]) if low < 0.0 < high else np.array([low, high])
    pieces = [
        np.linspace(a, b, int(np.ceil((b - a) / step_deg)) + 1)
        for a, b in itertools.pairwise(marks)
    ]
    return np.unique(np.concatenate(pieces).round(9))


def computed_curve(
    geometry: VaneGeometry,
    engine: NozzleFields,
    travel_deg: Sequence[float] = (-15.0, 15.0),
    worn: WornEdge | None = None,
    step_deg: float = STEP_DEG,
    span_of: SpanOf = "drawing",
) -> VaneCurve:
    """Force, drag, centre of pressure and hinge moment of one vane over its travel.

    Deflections are `step_deg` apart at most, 0 among them. A worn leading edge is a `WornEdge`.
    The jet is taken as it is beside half chord: its edge, and the stream on each strip, inclined
    as the lip wave leaves it. The finite-span correction is that of the drawing's immersed span:
    both tips' cones start at the leading edge, close behind the exit. `span_of` "wetted" takes
    the span between tip and the jet's edge instead; how far apart the two are is what the
    correction can be trusted to.

    GeometryError (a list of sentences in `.problems`) or gas.GasError, both ValueError, where
    the vane, the jet or the travel is impossible.
    """
    jet = jet_for(geometry, engine)
    refuse_impossible(geometry, jet, travel_deg)
    hot = geometry.hot_gas(jet.core.gamma)
    distance_m = 1e-3 * (geometry.distance_behind_exit_mm + 0.5 * geometry.tip_chord_mm)
    edge_m = jet.edge_radius_m(distance_m)
    slices = wetted_strips(geometry, jet, distance_m, worn)
    streams = [jet.state_at(s.radius_m, distance_m).across for s in slices]

    wetted_m = sum(s.width_m for s in slices)
    span_m = wetted_m if span_of == "wetted" else 1e-3 * geometry.immersed_span_mm
    area_m2 = sum(s.width_m * (s.outline.chord_m - s.outline.nose_x_m) for s in slices)
    chord_m = area_m2 / wetted_m
    aspect, beta = span_m / chord_m, float(np.sqrt(jet.core.mach**2 - 1.0))
    factor = span_factor(aspect, beta)
    shift_m = chord_m * (centre_of_pressure_share(aspect, beta) - 0.5)

    angles_deg = deflections_deg(travel_deg, step_deg)
    sizes = np.unique(np.abs(angles_deg))
    normal, axial, moment, arm = _over_sizes(slices, streams, hot, np.radians(sizes))
    normal, moment = normal * factor, moment * factor
    centre_m = moment / normal + shift_m
    # The vane is symmetrical: negative deflections mirror the positive ones.
    index = np.searchsorted(sizes, np.abs(angles_deg))
    sign, angle = np.sign(angles_deg), np.radians(np.abs(angles_deg))
    # Drag does not change sign with the deflection; the side force does.
    n, a, x = normal[index] * (angle > 0.0), axial[index], centre_m[index]
    side = sign * (n * np.cos(angle) - a * np.sin(angle))
    if np.any(np.diff(side) <= 0.0):
        worst = angles_deg[1:][np.diff(side) <= 0.0]
        raise GeometryError(
            [
                f"the side force stops rising at {np.min(np.abs(worst)):.3g}° of deflection:"
                " keep the travel inside that"
            ]
        )
    detachment = np.degrees(
        min(
            detachment_deflection_rad(s.outline, stream.mach, stream.gamma)
            for s, stream in zip(slices, streams, strict=True)
        )
    )
    return VaneCurve(
        deflection_deg=angles_deg,
        force_n=side,
        drag_n=n * np.sin(angle) + a * np.cos(angle),
        normal_force_n=sign * n,
        axial_force_n=a,
        centre_of_pressure_mm=1e3 * x,
        hinge_moment_nm=sign * n * (1e-3 * geometry.hinge_line_mm - x),
        roll_arm_m=arm,
        detachment_deg=float(detachment),
        jet=jet,
        edge_radius_m=edge_m,
        notes=curve_notes(jet, slices, distance_m, aspect * beta, float(detachment), travel_deg),
    )


def wetted_strips(
    geometry: VaneGeometry, jet: Jet, distance_m: float, worn: WornEdge | None = None
) -> list[Strip]:
    """Slices of what stands in the jet, its edge as it is at a distance behind the exit.

    GeometryError where the jet has drawn in past the vane's tip.
    """
    edge_m = jet.edge_radius_m(distance_m)
    tip_mm = 1e3 * jet.exit_radius_m - geometry.immersed_span_mm
    if 1e3 * edge_m <= tip_mm:
        raise GeometryError(
            [
                f"the jet misses the vane: {1e3 * distance_m:.3g} mm behind the exit its edge has"
                f" drawn in to a radius of {1e3 * edge_m:.3g} mm, and the tip stands at"
                f" {tip_mm:.3g} mm; immerse more, come nearer to the exit, or expand less"
            ]
        )
    core_m = jet.core_radius_m(distance_m)
    return strips(geometry, jet.exit_radius_m, worn, core_radius_m=core_m, edge_radius_m=edge_m)


def _over_sizes(
    slices: list[Strip], streams: list[FlowState], hot: HotGas, alpha_rad: Array
) -> tuple[Array, Array, Array, float]:
    """Two-dimensional sums over the strips: normal N, axial N, moment about the edge N m, arm m.

    At zero deflection normal and moment are those of a deflection next to it, so that their
    ratio is the centre of pressure there.
    """
    mach = np.array([stream.mach for stream in streams])
    push = np.array([stream.dynamic_pressure_pa for stream in streams])
    push = push * [strip.width_m for strip in slices]
    outlines = [strip.outline for strip in slices]
    alpha = np.maximum(alpha_rad, EDGE_ON_RAD)
    found = forces_of_sections(outlines, mach, streams[0].gamma, alpha)
    chord = np.array([outline.chord_m for outline in outlines])
    wetted = chord - [outline.nose_x_m for outline in outlines]
    reynolds = [hot.reynolds(one, length) for one, length in zip(streams, wetted, strict=True)]
    friction = 2.0 * friction_coefficient(np.array(reynolds), mach)
    normal = push * chord @ found.c_n
    axial = push * chord @ found.c_a + push * wetted @ friction
    moment = push * chord**2 @ found.c_moment
    radius = np.array([strip.radius_m for strip in slices])
    arm = float(push * chord * radius @ found.c_n[:, -1] / normal[-1])
    return normal, axial, moment, arm
