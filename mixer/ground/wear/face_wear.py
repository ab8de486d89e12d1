"""How fast the faces of burnt vanes thin, from what inspections measured of them.

Thickness before and after says it; else what mass the leading edge does not explain, spread over
both faces of the part in the jet.
"""

import numpy as np

from mixer.ground.drawn_vane.geometry import VaneGeometry
from mixer.ground.drawn_vane.outline import LARGEST_FACE
from mixer.ground.vane_life.materials import MATERIALS
from mixer.ground.wear.recession import RecessionFit


def face_rate_mm_s(fit: RecessionFit, geometry: VaneGeometry) -> float:
    """Depth off each face per second of burn load; 0 where nothing tells it.

    From thicknesses the least-squares line through the origin over every reading.
    """
    loads, losses = [], []
    for specimen, load_s in zip(fit.specimens, fit.load_s, strict=True):
        for lost_mm in specimen.face_loss_mm:
            loads.append(load_s)
            losses.append(lost_mm)
    if losses:
        load, lost = np.array(loads), np.array(losses)
        return max(float(load @ lost / (load @ load)), 0.0)
    if not fit.face_rate_g_s:
        return 0.0
    span = np.linspace(geometry.root_station_mm, geometry.span_mm, 51)
    area_mm2 = float(np.trapezoid(geometry.chord_mm_at(span), span))
    g_mm3 = 1e-6 * MATERIALS[geometry.material].density_kg_m3
    return fit.face_rate_g_s / (g_mm3 * 2.0 * area_mm2)


def face_after_mm(rate_mm_s: float, load_s: float, geometry: VaneGeometry) -> float:
    """Depth off each face after a burn load, no deeper than a section can be described with."""
    tip_thickness_mm = geometry.thickness_mm * geometry.tip_chord_mm / geometry.root_chord_mm
    return min(rate_mm_s * load_s, LARGEST_FACE * tip_thickness_mm)
