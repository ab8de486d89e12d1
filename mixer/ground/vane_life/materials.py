"""What vanes are made of. Every value with its source; what was recalled says so.

Values at 300 K of the metals: Mechanical Engineers' Handbook, vol. 4, Table 1 [read]; those of
tungsten also Incropera, Table A.1.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from mixer.ground.inputs.arrays import Array

Factor = float | Array  # on an uncertain input; (cases, 1) of several cases side by side


@dataclass(frozen=True)
class Material:
    """Density, specific heat and conductivity over temperature, and how the surface fails.

    Properties run straight between `at_k`, the end values beyond. `fails_at_k` is melting or
    sublimation. A `receding` surface burns away as fast as it reacts, `reacts_kg_m2_s`
    exp(-`reacts_at_k`/T), and diffusion lets it. `conductivity_spread` is the share of the
    conductivity that is uncertain; `emits` is the total hemispherical emissivity at `emits_at_k`,
    good to a factor of `emits_spread`. `fusion_j_kg` is the heat of fusion (CRC [from memory]).
    `oxidises` says what hot exhaust does to the metal that no model here holds.
    `conductivity_factor` and `reaction_factor` stand for what is uncertain of either.
    """

    name: str
    density_kg_m3: float
    at_k: tuple[float, ...]
    specific_heat_j_kg_k: tuple[float, ...]
    conductivity_w_m_k: tuple[float, ...]
    conductivity_spread: float
    fails_at_k: float
    fails_by: Literal["melting", "sublimation"]
    source: str
    reacts_kg_m2_s: float = 0.0
    reacts_at_k: float = 0.0
    emits_at_k: tuple[float, ...] = (300.0,)
    emits: tuple[float, ...] = (0.8,)
    emits_spread: float = 1.2
    fusion_j_kg: float = 0.0
    oxidises: str = ""
    conductivity_factor: Factor = 1.0
    reaction_factor: Factor = 1.0

    @property
    def receding(self) -> bool:
        return self.reacts_kg_m2_s > 0.0

    def specific_heat(self, temperature_k: ArrayLike) -> Array:
        return np.interp(np.asarray(temperature_k, float), self.at_k, self.specific_heat_j_kg_k)

    def conductivity(self, temperature_k: ArrayLike) -> Array:
        at_k = np.asarray(temperature_k, float)
        return self.conductivity_factor * np.interp(at_k, self.at_k, self.conductivity_w_m_k)

    def emissivity(self, temperature_k: ArrayLike) -> Array:
        return np.interp(np.asarray(temperature_k, float), self.emits_at_k, self.emits)

    def reaction_kg_m2_s(self, surface_k: ArrayLike) -> Array:
        """How fast a surface would burn if the gas brought oxidiser without limit."""
        surface = np.maximum(np.asarray(surface_k, float), 1.0)
        return self.reaction_factor * self.reacts_kg_m2_s * np.exp(-self.reacts_at_k / surface)


# Kelvin at which Incropera, Table A.1, gives the metals' properties [read].
_METALS_AT_K = (300.0, 400.0, 600.0, 800.0, 1000.0, 1200.0, 1500.0, 2000.0, 2500.0)

MATERIALS = {
    material.name: material
    for material in (
        Material(
            "copper", 8933.0, (300.0, 600.0, 1200.0), (385.0, 417.0, 480.0), (401.0, 379.0, 339.0),
            0.05, 1358.0, "melting",
            "Mechanical Engineers' Handbook vol. 4, Table 1; emissivity of oxidised copper 0.6 to"
            " 0.7 from an emissivity table (bright 0.03, black 0.8)",
            emits=(0.65,), emits_spread=1.25, fusion_j_kg=209e3,
        ),
        Material(
            "tungsten", 19300.0, _METALS_AT_K,
            (132.0, 137.0, 142.0, 145.0, 148.0, 152.0, 157.0, 167.0, 176.0),
            (174.0, 159.0, 137.0, 125.0, 118.0, 113.0, 107.0, 100.0, 95.0),
            0.1, 3660.0, "melting",
            "Incropera, Table A.1, over temperature; emissivity of clean tungsten from"
            " Branstetter, NASA TN D-1088, 1961",
            emits_at_k=(300.0, 1000.0, 1500.0, 2000.0, 2500.0, 3000.0),
            emits=(0.0435, 0.124, 0.193, 0.252, 0.294, 0.323), emits_spread=1.5,
            fusion_j_kg=285e3,
            oxidises="steam and carbon dioxide oxidise tungsten from some 1000 K on, and above"
            " about 1300 K its oxide boils off",
        ),
        Material(
            "molybdenum", 10240.0, _METALS_AT_K,
            (251.0, 261.0, 275.0, 285.0, 295.0, 308.0, 330.0, 380.0, 459.0),
            (138.0, 134.0, 126.0, 118.0, 112.0, 105.0, 98.0, 90.0, 86.0),
            0.1, 2894.0, "melting",
            "Incropera, Table A.1, over temperature; emissivity between clean, 0.19 at 1773 K and"
            " 0.24 at 2273 K (maker data), and oxidised, 0.8 (from memory)",
            emits_at_k=(300.0, 1773.0, 2273.0), emits=(0.2, 0.39, 0.44), emits_spread=1.8,
            fusion_j_kg=391e3,
            oxidises="bare molybdenum oxidises from some 800 K on, and above about 1100 K its"
            " oxide boils off",
        ),
        Material(
            "graphite", 1800.0, (300.0, 500.0, 1000.0, 1500.0, 2000.0, 2500.0, 3000.0),
            (830.0, 1215.0, 1800.0, 1986.0, 2095.0, 2163.0, 2213.0),
            (100.0, 88.6, 60.0, 49.0, 38.0, 35.5, 33.0),
            0.4, 3915.0, "sublimation",
            "isomoulded: density and specific heat at 300 K maker data, above it the standard"
            " tables' (JANAF 4/83); conductivity 70–140 W/mK by grade, its fall with temperature"
            " and sublimation (CRC) from memory, as is its reaction with steam,"
            " 4.8e5 exp(-288 kJ/mol / RT) kg/m²s at"
            " 1 atm, as studies of nozzle erosion take it; emissivity between polished, 0.448 +"
            " 1.38e-4 T, and oxidised, 0.732 + 5.21e-5 T (Baker 1970, as the INL's graphite"
            " properties give it)",
            reacts_kg_m2_s=4.8e5, reacts_at_k=288e3 / 8.314462618,
            emits_at_k=(300.0, 3000.0), emits=(0.618515, 0.87515), emits_spread=1.2,
        ),
    )
}  # fmt: skip
