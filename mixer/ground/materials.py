"""What vanes are made of. Every value with its source; what was recalled says so.

Values at 300 K of the metals: Mechanical Engineers' Handbook, vol. 4, Table 1 [read]; those of
tungsten also Incropera, Table A.1.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Material:
    """Density, specific heat and conductivity over temperature, and how the surface fails.

    Properties run straight between `at_k`, the end values beyond. `fails_at_k` is melting or
    sublimation. A `receding` surface burns away once it is hot: from `burns_from_k`, fully from
    `burns_fully_k`. `conductivity_spread` is the share of the conductivity that is uncertain.
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
    burns_from_k: float | None = None
    burns_fully_k: float | None = None

    @property
    def receding(self) -> bool:
        return self.burns_from_k is not None

    def specific_heat(self, temperature_k: ArrayLike) -> FloatArray:
        return np.interp(np.asarray(temperature_k, float), self.at_k, self.specific_heat_j_kg_k)

    def conductivity(self, temperature_k: ArrayLike) -> FloatArray:
        return np.interp(np.asarray(temperature_k, float), self.at_k, self.conductivity_w_m_k)

    def burning_share(self, surface_k: float) -> float:
        """Share of the full recession rate at a surface temperature, 0 to 1."""
        if self.burns_from_k is None or self.burns_fully_k is None:
            return 0.0
        share = (surface_k - self.burns_from_k) / (self.burns_fully_k - self.burns_from_k)
        return float(np.clip(share, 0.0, 1.0))


MATERIALS = {
    material.name: material
    for material in (
        Material(
            "copper", 8933.0, (300.0, 600.0, 1200.0), (385.0, 417.0, 480.0), (401.0, 379.0, 339.0),
            0.05, 1358.0, "melting", "Mechanical Engineers' Handbook vol. 4, Table 1",
        ),
        Material(
            "tungsten", 19300.0, (300.0,), (132.0,), (174.0,),
            0.3, 3660.0, "melting",
            "Mechanical Engineers' Handbook vol. 4, Table 1; Incropera A.1; 300 K values held",
        ),
        Material(
            "molybdenum", 10240.0, (300.0,), (251.0,), (138.0,),
            0.3, 2894.0, "melting",
            "Mechanical Engineers' Handbook vol. 4, Table 1; 300 K values held; oxidation, which"
            " eats bare molybdenum in hot oxidising gas, is left out",
        ),
        Material(
            "graphite", 1800.0, (300.0, 1000.0, 2000.0, 3000.0),
            (830.0, 1650.0, 2000.0, 2150.0), (100.0, 60.0, 38.0, 33.0),
            0.4, 3915.0, "sublimation",
            "isomoulded: density and specific heat at 300 K maker data; conductivity 70–140 W/mK"
            " by grade, its fall and the rise of specific heat with temperature, sublimation (CRC)"
            " and the onset of burning all from memory",
            burns_from_k=1200.0,
            burns_fully_k=1700.0,
        ),
    )
}  # fmt: skip
