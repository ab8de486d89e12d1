"""Transport properties of combustion gas from its temperature, molar mass and heat ratio.

Estimates that need no equilibrium calculation (Huzel & Huang, NASA SP-125, chapter 4, after
Bartz 1957 [from memory]); good to about 20 %.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from mixer.ground.drawn_vane import gas
from mixer.ground.drawn_vane.jet import FlowState
from mixer.ground.inputs.arrays import Array


@dataclass(frozen=True)
class HotGas:
    """Combustion gas at the chamber's total temperature."""

    temperature_k: float
    molar_mass_kg_mol: float
    gamma: float

    @property
    def gas_constant_j_kg_k(self) -> float:
        return gas.GAS_CONSTANT_J_MOL_K / self.molar_mass_kg_mol

    @property
    def specific_heat_j_kg_k(self) -> float:
        return self.gamma * self.gas_constant_j_kg_k / (self.gamma - 1.0)

    @property
    def prandtl(self) -> float:
        """Prandtl number after Eucken."""
        return 4.0 * self.gamma / (9.0 * self.gamma - 5.0)

    @property
    def characteristic_velocity_m_s(self) -> float:
        """Ideal c*: chamber pressure times throat area over mass flow."""
        g = self.gamma
        power = (g + 1.0) / (2.0 * (g - 1.0))
        return float(
            np.sqrt(self.gas_constant_j_kg_k * self.temperature_k / g) * (0.5 * (g + 1.0)) ** power
        )

    def viscosity_pa_s(self, temperature_k: float) -> float:
        """1.184e-7 M^0.5 T^0.6, M in g/mol."""
        return 1.184e-7 * np.sqrt(self.molar_mass_kg_mol * 1e3) * temperature_k**0.6

    def static_temperature_k(self, mach: float) -> float:
        return self.temperature_k * float(gas.temperature_ratio(mach, self.gamma))

    def recovery_temperature_k(self, mach: float) -> float:
        """Temperature an insulated wall takes under a turbulent layer (recovery Pr^(1/3))."""
        static = self.static_temperature_k(mach)
        return static + self.prandtl ** (1.0 / 3.0) * (self.temperature_k - static)

    def reynolds(self, stream: FlowState, length_m: float) -> float:
        """Reynolds number of a stream over a length, at its static temperature."""
        temperature_k = self.static_temperature_k(stream.mach)
        speed = stream.mach * np.sqrt(self.gamma * self.gas_constant_j_kg_k * temperature_k)
        density = stream.pressure_pa / (self.gas_constant_j_kg_k * temperature_k)
        return float(density * speed * length_m / self.viscosity_pa_s(temperature_k))


def friction_coefficient(reynolds: ArrayLike, mach: ArrayLike) -> Array:
    """Mean friction of a turbulent flat plate, one side.

    Prandtl and Schlichting's 0.455/(log10 Re)^2.58 with the compressibility factor
    (1 + 0.144 M^2)^-0.65 used in drag build-ups [from memory].
    """
    return 0.455 / np.log10(reynolds) ** 2.58 / (1.0 + 0.144 * np.square(mach)) ** 0.65
