"""What wear does to a vane over a planned burn: outline, area, mass, forces, hinge moment.

With a drawing, forces of the worn vane are computed as those of the new one; without, force goes
with the area that is left.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from mixer.ground.drawn_vane.geometry import NozzleFields, VaneGeometry, WornEdge, vane_volume_m3
from mixer.ground.drawn_vane.hinge import HingeTable, hinge_from_curves
from mixer.ground.drawn_vane.vane_forces import VaneCurve, computed_curve
from mixer.ground.inputs.arrays import Array
from mixer.ground.vane_life.materials import MATERIALS
from mixer.ground.wear.face_wear import face_after_mm, face_rate_mm_s
from mixer.ground.wear.recession import RecessionFit, WearError, spent_at_s

POINTS = 9  # burn loads in a table, ends included
STEP_DEG = 3.0  # between deflections at which worn vanes are computed


@dataclass(frozen=True)
class WearPrediction:
    """A vane's wear over a burn, at burn loads `load_s` (m,).

    `effectiveness` with the band `low`, `high` (m,) for one more vane; `area_mm2` of the planform
    (in the jet with a drawing, between the measured stations without). The rest is None without a
    drawing: `mass_g`, `centre_of_pressure_mm` (behind the new edge, at the largest deflection),
    `drag_at_rest_n` (m,), `hinge`.
    """

    load_s: Array
    effectiveness: Array
    low: Array
    high: Array
    area_mm2: Array
    edges: tuple[WornEdge, ...]
    mass_g: Array | None = None
    centre_of_pressure_mm: Array | None = None
    drag_at_rest_n: Array | None = None
    hinge: HingeTable | None = None


def effectiveness_of(worn: VaneCurve, new: VaneCurve) -> float:
    """One number for a worn vane's force over the new one's: least squares over the travel."""
    return float(worn.force_n @ new.force_n / (new.force_n @ new.force_n))


def predict_wear(
    fit: RecessionFit,
    planned_load_s: float,
    geometry: VaneGeometry | None = None,
    engine: NozzleFields | None = None,
    travel_deg: Sequence[float] = (-15.0, 15.0),
    done: Callable[[float], None] = lambda _share: None,
) -> WearPrediction:
    """Wear over a planned burn load. WearError where less than half the chord would be left.

    `done` is told the share of the work that is over.
    """
    load = np.linspace(0.0, planned_load_s, POINTS)
    low_factor, high_factor = fit.band
    deepest_mm = _deepest_mm(fit, geometry)
    _refuse_spent(fit, planned_load_s, deepest_mm)
    edges = [_worn(fit, float(s), 1.0, geometry) for s in load]
    if geometry is None or engine is None:
        area = [_measured_area_mm2(fit, edge) for edge in edges]
        low, high = (
            [_measured_area_mm2(fit, _held(fit.edge(float(s), f), deepest_mm)) for s in load]
            for f in (high_factor, low_factor)
        )
        whole = area[0]
        done(1.0)
        return WearPrediction(
            load, np.array(area) / whole, np.array(low) / whole, np.array(high) / whole,
            np.array(area), tuple(edges),
        )  # fmt: skip

    found = []
    for f in (1.0, high_factor, low_factor):
        found.append(_worn_curves(fit, load, f, geometry, engine, travel_deg))
        done(len(found) / 3)
    nominal, new = found[0], found[0][0]
    low, high = ([effectiveness_of(curve, new) for curve in curves] for curves in found[1:])
    grams = 1e3 * MATERIALS[geometry.material].density_kg_m3
    mass = np.array([grams * vane_volume_m3(geometry, edge) for edge in edges])
    furthest = int(np.argmax(np.abs(new.deflection_deg)))
    return WearPrediction(
        load,
        np.array([effectiveness_of(c, new) for c in nominal]),
        np.minimum(low, high),
        np.maximum(low, high),
        np.array([_drawn_area_mm2(geometry, edge) for edge in edges]),
        tuple(edges),
        mass,
        np.array([c.centre_of_pressure_mm[furthest] for c in nominal]),
        np.array([c.drag_at_rest_n for c in nominal]),
        hinge_from_curves(load, nominal, geometry.mean_chord_mm),
    )


def effectiveness_for(
    fit: RecessionFit,
    load_s: Array,
    factor: float,
    geometry: VaneGeometry | None = None,
    engine: NozzleFields | None = None,
    travel_deg: Sequence[float] = (-15.0, 15.0),
) -> Array:
    """Effectiveness at burn loads (m,), the first 0, of a vane whose edge recedes `factor` times
    as fast as the fit says. WearError as from `predict_wear`.
    """
    _refuse_spent(fit, float(load_s[-1]), _deepest_mm(fit, geometry), factor)
    if geometry is None or engine is None:
        area = [_measured_area_mm2(fit, fit.edge(float(s), factor)) for s in load_s]
        return np.array(area) / area[0]
    curves = _worn_curves(fit, load_s, factor, geometry, engine, travel_deg)
    return np.array([effectiveness_of(curve, curves[0]) for curve in curves])


def _refuse_spent(
    fit: RecessionFit, planned_load_s: float, deepest_mm: Array, factor: float = 1.0
) -> None:
    spent_s = spent_at_s(fit, deepest_mm, factor)
    if spent_s < planned_load_s:
        raise WearError(
            f"the leading edge has lost {float(np.min(deepest_mm)):.3g} mm, half the chord, after"
            f" {spent_s:.3g} s of burn load; the planned burn is {planned_load_s:g} s: a longer"
            " chord, another material or a shorter burn"
        )


def _worn_curves(
    fit: RecessionFit,
    load_s: Array,
    factor: float,
    geometry: VaneGeometry,
    engine: NozzleFields,
    travel_deg: Sequence[float],
) -> list[VaneCurve]:
    deepest_mm = _deepest_mm(fit, geometry)
    edges = [_held(_worn(fit, float(s), factor, geometry), deepest_mm) for s in load_s]
    return [computed_curve(geometry, engine, travel_deg, edge, STEP_DEG) for edge in edges]


def _held(edge: WornEdge, deepest_mm: Array) -> WornEdge:
    """The edge no deeper than can be described, for the far end of a wide band."""
    return replace(edge, recession_mm=np.minimum(edge.recession_mm, deepest_mm))


def _worn(
    fit: RecessionFit, load_s: float, factor: float, geometry: VaneGeometry | None
) -> WornEdge:
    """The vane after a burn load, edge and faces `factor` times as fast as the fit says."""
    edge = fit.edge(load_s, factor)
    if geometry is None:
        return edge
    rate_mm_s = face_rate_mm_s(fit, geometry) * factor
    return replace(edge, face_mm=face_after_mm(rate_mm_s, load_s, geometry))


def chord_mm(fit: RecessionFit) -> Array:
    """Chord of the new vane at the fit's stations: the largest that was measured before a burn."""
    chord = np.zeros_like(fit.station_mm)
    for specimen in fit.specimens:
        index = np.searchsorted(fit.station_mm, specimen.station_mm)
        chord[index] = np.maximum(chord[index], specimen.chord_before_mm)
    return chord


def _deepest_mm(fit: RecessionFit, geometry: VaneGeometry | None) -> Array:
    if geometry is not None:
        return np.full_like(fit.station_mm, geometry.largest_recession_mm)
    return 0.5 * chord_mm(fit)


def _measured_area_mm2(fit: RecessionFit, edge: WornEdge) -> float:
    left = chord_mm(fit) - edge.recession_mm
    return float(np.trapezoid(left, fit.station_mm)) if len(left) > 1 else float(left[0])


def _drawn_area_mm2(geometry: VaneGeometry, edge: WornEdge) -> float:
    station = np.linspace(geometry.root_station_mm, geometry.span_mm, 201)
    return float(np.trapezoid(geometry.chord_mm_at(station) - edge.at(station), station))
