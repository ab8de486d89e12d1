"""A drawing of a blunt vane and the nozzle it stands behind, for tests to change."""

from collections.abc import Callable, Sequence
from types import SimpleNamespace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from mixer.ground.drawn_vane.geometry import NozzleFields, VaneGeometry, WornEdge
from mixer.ground.drawn_vane.hinge import HingeTable, hinge_from_curves
from mixer.ground.drawn_vane.outline import Outline
from mixer.ground.drawn_vane.profile_forces import SectionForces, forces_of_sections
from mixer.ground.drawn_vane.vane_forces import computed_curve

TRAVEL = (-15.0, 15.0)
DRAWING: dict[str, Any] = {
    "span_mm": 40.0,
    "root_chord_mm": 70.0,
    "tip_chord_mm": 70.0,
    "thickness_mm": 8.4,
    "section": "double-wedge",
    "leading_edge_radius_mm": 3.0,
    "hinge_line_mm": 30.0,
    "immersed_span_mm": 35.0,
    "distance_behind_exit_mm": 5.0,
}
NOZZLE: dict[str, Any] = {
    "chamber_pressure_bar": 20.0,
    "throat_diameter_mm": 47.7,
    "expansion_ratio": 4.0,
    "specific_heat_ratio": 1.2,
    "propellants": None,
    "mixture_ratio": None,
}


def vane(**changes: Any) -> VaneGeometry:
    """35 × 70 mm in the jet, 12 % thick, 3 mm nose radius."""
    return VaneGeometry(**{**DRAWING, **changes})


def nozzle(**changes: Any) -> Any:
    """5 kN at 20 bar: throat 47.7 mm, expansion 4, γ 1.2."""
    return SimpleNamespace(**{**NOZZLE, **changes})


def in_proportion(
    gamma: float, ratio: float, thrust_n: float, **changes: Any
) -> tuple[Callable[[float], Any], VaneGeometry]:
    """A nozzle of about that thrust at 20 bar, at any chamber pressure in bar, and a vane in
    proportion to its exit.
    """
    throat_mm = 1e3 * np.sqrt(4.0 / np.pi * thrust_n / (20e5 * 1.4))
    radius_mm = 0.5 * throat_mm * np.sqrt(ratio)

    def nozzle_at(bar: float) -> Any:
        return nozzle(
            chamber_pressure_bar=bar,
            throat_diameter_mm=throat_mm,
            expansion_ratio=ratio,
            specific_heat_ratio=gamma,
        )

    drawn = vane(
        span_mm=0.8 * radius_mm,
        root_chord_mm=1.4 * radius_mm,
        tip_chord_mm=1.3 * radius_mm,
        thickness_mm=0.15 * radius_mm,
        leading_edge_radius_mm=0.03 * radius_mm,
        hinge_line_mm=0.45 * radius_mm,
        immersed_span_mm=0.6 * radius_mm,
        distance_behind_exit_mm=0.1 * radius_mm,
        **changes,
    )
    return nozzle_at, drawn


def hinge_table(
    geometry: VaneGeometry,
    engine: NozzleFields,
    travel_deg: Sequence[float],
    load_s: Sequence[float] = (0.0,),
    worn_at: Callable[[float], WornEdge | None] = lambda _load_s: None,
) -> HingeTable:
    """Hinge moments over the travel at each burn load, the leading edge worn as `worn_at` says."""
    curves = [computed_curve(geometry, engine, travel_deg, worn_at(load)) for load in load_s]
    return hinge_from_curves(load_s, curves, geometry.mean_chord_mm)


def section_forces(
    outline: Outline, mach: float, gamma: float, alpha_rad: ArrayLike
) -> SectionForces:
    """Forces on one section at angles of attack of any shape."""
    alpha = np.asarray(alpha_rad, dtype=float)
    found = forces_of_sections([outline], np.array([mach]), gamma, alpha.ravel())
    return SectionForces(
        alpha,
        *(part.reshape(alpha.shape) for part in (found.c_n, found.c_a, found.c_moment)),
        attached=found.attached.reshape(alpha.shape),
    )
