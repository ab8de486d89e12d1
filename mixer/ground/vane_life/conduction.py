"""One-dimensional transient conduction: a bar of changing section, heated along its length."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy
from numpy.typing import NDArray

from mixer.ground.inputs.arrays import Array
from mixer.ground.inputs.csv_files import InputError
from mixer.ground.vane_life.materials import Material
from mixer.ground.vane_life.shaft_and_hub import ShaftAndHub

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
    `surface_m2` (n,) heated surface, which also radiates.
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


@dataclass(frozen=True)
class Heating:
    """A heated bar over time: `time_s` (m,), `temperature_k` (m, n), `recession_m` (m,).

    `ends_k` (m, 2): shaft and hub, where there is a sink, else (m, 0).
    """

    time_s: Array
    temperature_k: Array
    recession_m: Array
    ends_k: Array

    @property
    def surface_k(self) -> Array:
        return self.temperature_k[:, 0]

    def first_time_s(self, reached: NDArray[np.bool_]) -> float:
        """First time at which a condition (m,) holds; inf where it never does."""
        hits = np.flatnonzero(reached)
        return float(self.time_s[hits[0]]) if len(hits) else np.inf


def heat_bar(
    bar_at: Callable[[float], Bar],
    material: Material,
    start_k: float,
    horizon_s: float,
    recession_rate_m_s: Callable[[float, float], float] | None = None,
    stop_at_k: float = np.inf,
    stop_at_recession_m: float = np.inf,
    heat_into_w: Callable[[Bar, Array], Array] = Bar.film_heat_w,
    sink: ShaftAndHub | None = None,
) -> Heating:
    """Heat a bar until the horizon, a temperature anywhere in it or a recession is reached.

    `bar_at(recession_m)` gives the bar when so much of its end is gone; its first edge moves, its
    last stays. `recession_rate_m_s(surface_k, recession_m)` is how fast the end recedes. Cells
    move with the ends, which carries heat between them: the second term of `slopes`.
    `heat_into_w(bar, temperature_k)` is the net heat into each cell through its surface, what
    it radiates included; a `sink` takes heat across the bar.
    """
    # The solver asks again and again for one recession: always, where none is, and else while it
    # varies temperatures alone.
    bar_at = lru_cache(maxsize=1)(bar_at)
    cells = len(bar_at(0.0).volume_m3)

    def slopes(_time: float, state: Array) -> Array:
        temperature, ends = state[1 : cells + 1], state[cells + 1 :]
        recession = float(state[0]) if recession_rate_m_s else 0.0  # not the solver's rounding
        bar = bar_at(recession)
        speed = recession_rate_m_s(float(temperature[0]), recession) if recession_rate_m_s else 0.0
        middle = 0.5 * (bar.edge_m[1:] + bar.edge_m[:-1])
        gap = middle[1:] - middle[:-1]
        rise = temperature[1:] - temperature[:-1]
        heat = heat_into_w(bar, temperature)
        conduct(bar, material, temperature, heat)
        slope = np.zeros(len(state))
        if sink is not None:
            section = bar.volume_m3  # per metre of span
            leaves, slope[cells + 1 :] = sink.flows(material, section, temperature, ends)
            heat -= leaves
        rate = heat / (material.density_kg_m3 * material.specific_heat(temperature) * bar.volume_m3)
        if speed > 0.0:
            length = bar.edge_m[-1] - bar.edge_m[0]
            moves = speed * (bar.edge_m[-1] - middle) / length
            rate += moves * _gradient(rise / gap, gap)
        slope[0], slope[1 : cells + 1] = speed, rate
        return slope

    def hot(_time: float, state: Array) -> float:
        return float(state[1 : cells + 1].max()) - stop_at_k if np.isfinite(stop_at_k) else -1.0

    def gone(_time: float, state: Array) -> float:
        return float(state[0]) - stop_at_recession_m if np.isfinite(stop_at_recession_m) else -1.0

    for event in (hot, gone):
        event.terminal = True  # type: ignore[attr-defined]
    ends = np.full(0 if sink is None else 2, float(start_k))
    start = np.concatenate([[0.0], np.full(cells, float(start_k)), ends])
    solution = scipy.integrate.solve_ivp(
        slopes,
        (0.0, horizon_s),
        start,
        method="LSODA",
        events=(hot, gone),
        # Lives of four materials stay within 0.1 % of those at a tenth of all three.
        rtol=3e-5,
        atol=np.concatenate([[1e-8], np.full(cells + len(ends), 3e-3)]),
        max_step=horizon_s / 20.0,
        # Heat goes from cell to neighbour: the band takes a twelfth of the work of the full matrix.
        # What the end has lost stands first, beside the cell whose heat moves it: behind the last
        # cell, outside the band, it took two to three times as long. What goes into a sink is
        # small, and left to iteration.
        lband=1,
        uband=1,
    )
    if not solution.success:
        raise ConductionError(f"the heat equation could not be solved: {solution.message}")
    state = solution.y
    recession_m = state[0] if recession_rate_m_s else np.zeros_like(solution.t)
    return Heating(solution.t, state[1 : cells + 1].T, recession_m, state[cells + 1 :].T)


def conduct(bar: Bar, material: Material, temperature_k: Array, heat_w: Array) -> None:
    """Add to each cell's heat what comes from its neighbours."""
    middle = 0.5 * (bar.edge_m[1:] + bar.edge_m[:-1])
    conductivity = material.conductivity(0.5 * (temperature_k[1:] + temperature_k[:-1]))
    rise = temperature_k[1:] - temperature_k[:-1]
    flow = conductivity * bar.section_m2[1:-1] * rise / (middle[1:] - middle[:-1])
    heat_w[:-1] += flow
    heat_w[1:] -= flow


def _gradient(slope: Array, gap: Array) -> Array:
    """Slope at each of n places from the slopes (n - 1,) between them and their gaps.

    Of second order inside, of first at the ends. As np.gradient, in a third of its time.
    """
    before, after = gap[:-1], gap[1:]
    found = np.empty(len(slope) + 1)
    found[0], found[-1] = slope[0], slope[-1]
    found[1:-1] = (after * slope[:-1] + before * slope[1:]) / (before + after)
    return found


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
