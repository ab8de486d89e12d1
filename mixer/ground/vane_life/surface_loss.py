"""Heat that leaves a vane's surface again: radiation to the surroundings, and burning carbon.

A hot face radiates past the jet, which is thin and all but transparent, to surroundings at room
temperature; its neighbours, as hot as itself, take nothing. Graphite's reactions with steam and
carbon dioxide take heat up, and the gas that they give off thickens the film (blowing).
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from mixer.ground.inputs.arrays import Array
from mixer.ground.vane_life.conduction import Bar
from mixer.ground.vane_life.materials import Factor, Material

STEFAN_BOLTZMANN_W_M2_K4 = 5.670374e-8
SURROUNDINGS_K = 300.0
LEAST_SURFACE_M2 = 1e-12  # stands in for none, where a film per area is asked for
# C + H2O and C + CO2 at 2000 K, 132.4 and 159.0 kJ per mole of carbon, three to one as steam and
# carbon dioxide stand in the exhaust of an alcohol (NASA polynomials, McBride, TM-4513, 1993).
REACTION_J_KG = (0.75 * 132.416e3 + 0.25 * 158.980e3) / 12.011e-3


def blowing_factor(burning: Factor) -> Factor:
    """Film with gas blown through it over the film without: ln(1+B')/B'.

    Stagnant-film theory (Kays & Crawford, Convective Heat and Mass Transfer [from memory]).
    """
    return np.log1p(burning) / burning if np.all(burning) else 1.0


def view_of_surroundings(near_radius: float, far_radius: float) -> float:
    """Share of a face's view that is not the next vane's face, a quarter turn on.

    Crossed strings (Hottel) between two long strips from near to far radius on axes square to each
    other: F = (2 sqrt(a^2+b^2) - sqrt(2)(a+b)) / (2(b-a)).
    """
    a, b = near_radius, far_radius
    return 1.0 - float((2.0 * np.hypot(a, b) - np.sqrt(2.0) * (a + b)) / (2.0 * (b - a)))


@dataclass(frozen=True)
class SurfaceLoss:
    """What a material's surface does with heat besides passing it on.

    `view` is the share of the hemisphere that is cold; `burning` B' at its limit, 0 for what does
    not burn; `gas_heat_j_kg_k` the specific heat that ties the diffusing mass to the film.
    """

    material: Material
    view: float
    burning: Factor
    gas_heat_j_kg_k: float
    emissivity_factor: Factor = 1.0
    surroundings_k: float = SURROUNDINGS_K

    def emissivity(self, temperature_k: Array) -> Array:
        return np.minimum(self.material.emissivity(temperature_k) * self.emissivity_factor, 1.0)

    def radiated_w_m2(self, temperature_k: Array) -> Array:
        """Net radiation to the surroundings."""
        gap = np.asarray(temperature_k, float) ** 4 - self.surroundings_k**4
        return self.emissivity(temperature_k) * self.view * STEFAN_BOLTZMANN_W_M2_K4 * gap

    @cached_property
    def diffusion_kg_j(self) -> Factor:
        """What diffusion lets burn at most, over the film: ln(1+B')/cp."""
        return np.log1p(self.burning) / self.gas_heat_j_kg_k

    @cached_property
    def thinning(self) -> Factor:
        """Share of the film that blowing takes where as much burns as diffusion lets."""
        return 1.0 - blowing_factor(self.burning)

    def burned_kg_m2_s(self, film_w_m2_k: Array, temperature_k: Array) -> Array:
        """Carbon burned under a film: reaction and diffusion in series."""
        limit, share = self._burning(film_w_m2_k, temperature_k)
        return limit * share

    def _burning(self, film_w_m2_k: Array, temperature_k: Array) -> tuple[Array, Array]:
        """What diffusion lets burn, and the share of it that does."""
        reaction = self.material.reaction_kg_m2_s(temperature_k)
        limit = np.maximum(film_w_m2_k * self.diffusion_kg_j, 1e-30)
        return limit, reaction / (reaction + limit)

    def net_w(self, bar: Bar, temperature_k: Array) -> Array:
        """Heat into each cell of a bar: film less blowing, radiation and reactions."""
        radiated_w = bar.surface_m2 * self.radiated_w_m2(temperature_k)
        if not self.material.receding:
            return bar.film_heat_w(temperature_k) - radiated_w
        film_w_m2_k = bar.film_w_k / np.maximum(bar.surface_m2, LEAST_SURFACE_M2)
        limit, share = self._burning(film_w_m2_k, temperature_k)
        # Of what is blown at the limit, so much blows: its B' goes in share.
        thinned = 1.0 - share * self.thinning
        film_w = bar.film_w_k * thinned * (bar.gas_k - temperature_k) + bar.flux_w
        return film_w - radiated_w - bar.surface_m2 * limit * share * REACTION_J_KG
