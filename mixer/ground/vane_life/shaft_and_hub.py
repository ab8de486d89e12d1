"""Where a vane's heat goes at its root: along the span into the shaft, and on into the hub.

Three bodies in a row. Across a strip of the span, heated evenly along it, the mean stands
Q S/(3 k A) over the root (a plane wall with even generation: Incropera, section 3.5); the unheated
part outside the jet and half the shaft follow in series. The shaft's own heat sits in its middle.
Contact from vane to shaft and from shaft to hub is taken as perfect, and nothing cools the hub: of
a real one, clamped and with a gap, the vane has less.
"""

from dataclasses import dataclass

import numpy as np

from mixer.ground.drawn_vane.geometry import VaneGeometry
from mixer.ground.inputs.arrays import Array
from mixer.ground.vane_life.materials import Material

LEAST_SECTION_M2 = 1e-12  # stands in for none, through which nothing leaves


@dataclass(frozen=True)
class ShaftMaterial:
    """Values at 300 K, Incropera, Table A.1 [from memory]."""

    density_kg_m3: float
    specific_heat_j_kg_k: float
    conductivity_w_m_k: float


SHAFT_MATERIALS = {
    "steel": ShaftMaterial(7854.0, 434.0, 60.5),  # plain carbon
    "stainless steel": ShaftMaterial(7900.0, 477.0, 14.9),  # AISI 304
    "aluminium": ShaftMaterial(2770.0, 875.0, 177.0),  # alloy 2024-T6
    "copper": ShaftMaterial(8933.0, 385.0, 401.0),
    "titanium": ShaftMaterial(4500.0, 522.0, 21.9),
}


@dataclass(frozen=True)
class ShaftAndHub:
    """`jet_m` of the span heated, `outside_m` from there to the shaft; `half_shaft_k_w` resistance.

    `shaft_j_k`, `hub_j_k` heat capacities; a shaft that ends in nothing has a hub of none.
    """

    jet_m: float
    outside_m: float
    half_shaft_k_w: float
    shaft_j_k: float
    hub_j_k: float

    def flows(
        self, material: Material, section_m2: Array, temperature_k: Array, ends_k: Array
    ) -> tuple[Array, Array]:
        """Heat that leaves each cell per metre of span, W/m, and how fast shaft and hub warm, K/s.

        `section_m2` (..., n) of each cell across the span, `temperature_k` (..., n), `ends_k`
        (..., 2).
        """
        shaft_k, hub_k = ends_k[..., :1], ends_k[..., 1:]
        area_m2 = np.maximum(section_m2.sum(axis=-1, keepdims=True), LEAST_SECTION_M2)
        share = section_m2 / area_m2
        mean_k = (share * temperature_k).sum(axis=-1, keepdims=True)
        along_m = self.jet_m / 3.0 + self.outside_m
        vane_k_w = along_m / (material.conductivity(mean_k) * area_m2)
        # Into the shaft each cell's share goes with its section.
        leaves_w = share * (temperature_k - shaft_k) / (vane_k_w + self.half_shaft_k_w)
        into_w = leaves_w.sum(axis=-1, keepdims=True)
        on_w, hub_k_s = np.zeros_like(hub_k), np.zeros_like(hub_k)
        if self.hub_j_k:
            on_w = (shaft_k - hub_k) / self.half_shaft_k_w
            hub_k_s = on_w / self.hub_j_k
        warms = np.concatenate([(into_w - on_w) / self.shaft_j_k, hub_k_s], axis=-1)
        return leaves_w / self.jet_m, warms


def shaft_and_hub(geometry: VaneGeometry) -> ShaftAndHub | None:
    """The heat sink that the drawing has; None where it has none."""
    drawn = geometry.heat_sink
    if drawn is None:
        return None
    of = SHAFT_MATERIALS[drawn.material]
    area_m2 = 0.25e-6 * np.pi * drawn.shaft_diameter_mm**2
    length_m = 1e-3 * drawn.shaft_length_mm
    return ShaftAndHub(
        1e-3 * geometry.immersed_span_mm,
        1e-3 * geometry.root_station_mm,
        0.5 * length_m / (of.conductivity_w_m_k * area_m2),
        of.density_kg_m3 * of.specific_heat_j_kg_k * area_m2 * length_m,
        1e-3 * drawn.hub_mass_g * of.specific_heat_j_kg_k,
    )
