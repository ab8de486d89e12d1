"""A drawing of a blunt vane and the nozzle it stands behind, for tests to change."""

from types import SimpleNamespace
from typing import Any

from mixer.ground.drawn_vane.geometry import VaneGeometry

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
