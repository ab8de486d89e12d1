"""One-dimensional conduction: a bar of changing section, heated along its length."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy

from mixer.ground.inputs.arrays import Array
from mixer.ground.inputs.csv_files import InputError
from mixer.ground.vane_life.materials import Material

LUMPED_BIOT = 0.1  # below this a body may be taken at one temperature (Incropera, chapter 5)


class ConductionError(InputError):
    """The heat equation could not be solved."""


def biot_number(coefficient_w_m2_k: float, length_m: float, conductivity_w_m_k: float) -> float:
    """Resistance inside a body over that of the film on it."""
    return coefficient_w_m2_k * length_m / conductivity_w_m_k


@dataclass(frozen=True)
class Bar:
    """Cells of a bar per metre of its depth, first cell at the heated end.

    `edge_m` (n + 1,) cell ends along the bar; `section_m2` (n + 1,) area conducted through at
    each end; `volume_m3` (n,); `film_w_k` (n,) heat transfer coefficient times heated surface;
    `gas_k` (n,) temperature of the gas there; `flux_w` (n,) heat that enters regardless;
    `surface_m2` (n,) heated surface, which also radiates. Of several bars side by side, those that
    differ from bar to bar have an axis more in front.
    """

    edge_m: Array
    section_m2: Array
    volume_m3: Array
    film_w_k: Array
    gas_k: Array
    flux_w: Array
    surface_m2: Array | float = 0.0

    def film_heat_w(self, temperature_k: Array) -> Array:
        """Heat into each cell through the film and regardless of it."""
        return self.film_w_k * (self.gas_k - temperature_k) + self.flux_w

    @cached_property
    def middle_m(self) -> Array:
        return 0.5 * (self.edge_m[..., 1:] + self.edge_m[..., :-1])

    @cached_property
    def gap_m(self) -> Array:
        """From each cell's middle to the next, (n - 1,)."""
        return self.middle_m[..., 1:] - self.middle_m[..., :-1]


def conductance_w_k(bar: Bar, material: Material, temperature_k: Array) -> Array:
    """Heat that passes from cell to cell, (..., n - 1), over the difference of temperature."""
    between_k = 0.5 * (temperature_k[..., 1:] + temperature_k[..., :-1])
    return material.conductivity(between_k) * bar.section_m2[..., 1:-1] / bar.gap_m


def conduct(bar: Bar, material: Material, temperature_k: Array, heat_w: Array) -> None:
    """Add to each cell's heat what comes from its neighbours."""
    rise = temperature_k[..., 1:] - temperature_k[..., :-1]
    flow = conductance_w_k(bar, material, temperature_k) * rise
    heat_w[..., :-1] += flow
    heat_w[..., 1:] -= flow


def bulk_failure_s(
    bar: Bar,
    material: Material,
    start_k: float,
    heat_into_w: Callable[[Bar, Array], Array] = Bar.film_heat_w,
) -> float:
    """Time in which the whole bar, at one temperature, takes up the heat to melt or sublime.

    inf where it never does: what it takes up falls with its temperature, down to nothing.
    """
    mass = material.density_kg_m3 * float(bar.volume_m3.sum())

    def taken_up_w(temperature_k: float) -> float:
        return float(heat_into_w(bar, np.full(len(bar.volume_m3), temperature_k)).sum())

    if taken_up_w(material.fails_at_k) <= 0.0:
        return np.inf

    def pace(temperature_k: float) -> float:
        return mass * float(material.specific_heat(temperature_k)) / taken_up_w(temperature_k)

    return float(scipy.integrate.quad(pace, start_k, material.fails_at_k, limit=200)[0])
