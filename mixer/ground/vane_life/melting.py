"""How far the melt gets: a bar by enthalpy, from its first melting to the end of the burn.

Each cell holds an enthalpy; from solidus to liquidus, the heat of fusion, its temperature stays at
the melting point, so the front needs no tracking (enthalpy method: Voller & Cross, Int. J. Heat
Mass Transfer 24, 1981 [from memory]). The jet sweeps the melt off: a molten cell at an end goes,
and the next one stands in the jet, with the film of a nose blunted so far. Were the melt to stay,
the vane would last longer: it heats further, shields what is behind it, and the front goes as in
Neumann's solution (Carslaw & Jaeger, section 11.2), by which this is checked.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike

from mixer.ground.drawn_vane.geometry import NozzleFields, VaneGeometry
from mixer.ground.inputs.arrays import Array
from mixer.ground.vane_life.conduction import Bar, ConductionError, conduct
from mixer.ground.vane_life.heat_load import ChordSection, heat_load
from mixer.ground.vane_life.materials import Material
from mixer.ground.vane_life.shaft_and_hub import ShaftAndHub, shaft_and_hub
from mixer.ground.vane_life.surface_loss import SurfaceLoss

LIQUID_K = 5000.0  # how far above melting the liquid's line is drawn


class Enthalpy:
    """Temperature of a material by its enthalpy in J/kg, 0 at 200 K; the liquid as the solid."""

    def __init__(self, material: Material) -> None:
        solid_k = np.linspace(200.0, material.fails_at_k, 400)
        heat = material.specific_heat(solid_k)
        held = scipy.integrate.cumulative_trapezoid(heat, solid_k, initial=0.0)
        self.solidus, self.fusion = float(held[-1]), material.fusion_j_kg
        self.liquidus = self.solidus + self.fusion
        liquid = self.liquidus + float(heat[-1]) * LIQUID_K
        self._held = np.concatenate([held, [self.liquidus, liquid]])
        self._at_k = np.concatenate([solid_k, solid_k[-1] + np.array([0.0, LIQUID_K])])

    def temperature_k(self, held_j_kg: ArrayLike) -> Array:
        return np.interp(np.asarray(held_j_kg, float), self._held, self._at_k)

    def of_solid(self, temperature_k: float) -> float:
        return float(np.interp(temperature_k, self._at_k[:-2], self._held[:-2]))

    def molten(self, held_j_kg: Array) -> Array:
        """Share of each cell that is molten."""
        return np.clip((held_j_kg - self.solidus) / self.fusion, 0.0, 1.0)


@dataclass(frozen=True)
class Melt:
    """A melting bar over time (m,): what is molten from each end, and of the whole.

    `mean_k` is that of what is left, `ends_k` (m, 2) shaft and hub, where there is a sink.
    `through` says that the melt came as far as the bar is described, and was followed no further.
    """

    time_s: Array
    nose_m: Array
    tail_m: Array
    share: Array
    mean_k: Array
    ends_k: Array
    through: bool

    @property
    def begins_s(self) -> float:
        """When the first of an end is molten; inf where none is."""
        hits = np.flatnonzero(self.share > 0.0)
        return float(self.time_s[hits[0]]) if len(hits) else np.inf


def melt_bar(
    bar_at: Callable[[float], Bar],
    material: Material,
    start_k: float,
    horizon_s: float,
    swept: bool = True,
    deepest_m: float = np.inf,
    heat_into_w: Callable[[Bar, Array], Array] = Bar.film_heat_w,
    sink: ShaftAndHub | None = None,
) -> Melt:
    """Heat a bar to the horizon, or until the melt from its first end is `deepest_m` deep.

    `bar_at(depth_m)` gives the bar when so much of its end is gone, as `bars_at` of `heat_bars`
    does. ConductionError where the equation could not be solved.
    """
    whole = bar_at(0.0)
    state_of = Enthalpy(material)
    cells, ends = len(whole.volume_m3), 0 if sink is None else 2
    held = np.full(cells, state_of.of_solid(start_k))
    ends_k, now, first, last = np.full(ends, start_k), 0.0, 0, cells
    times, states, sinks = [np.array([0.0])], [held[None]], [ends_k[None]]
    while now < horizon_s and first < last and whole.edge_m[first] - whole.edge_m[0] < deepest_m:
        bar = _rebinned(bar_at(float(whole.edge_m[first] - whole.edge_m[0])), whole, first, last)
        count = last - first

        def slopes(_time: float, state: Array, bar: Bar = bar, count: int = count) -> Array:
            temperature = state_of.temperature_k(state[:count])
            heat = heat_into_w(bar, temperature)
            conduct(bar, material, temperature, heat)
            slope = np.empty(len(state))
            if sink is not None:
                leaves, slope[count:] = sink.flows(
                    material, bar.volume_m3, temperature, state[count:]
                )
                heat -= leaves
            slope[:count] = heat / (material.density_kg_m3 * bar.volume_m3)
            return slope

        def goes(_time: float, state: Array, count: int = count) -> float:
            return float(state[:count].max()) - state_of.liquidus if swept else -1.0

        goes.terminal = True  # type: ignore[attr-defined]
        solved = scipy.integrate.solve_ivp(
            slopes, (now, horizon_s), np.concatenate([held[first:last], ends_k]), method="LSODA",
            events=goes, rtol=1e-5, atol=np.append(np.full(count, 1.0), np.full(ends, 1e-3)),
            max_step=horizon_s / 50.0, lband=1, uband=1,
        )  # fmt: skip
        if not solved.success:
            raise ConductionError(f"the melt could not be followed: {solved.message}")
        steps = np.tile(held, (len(solved.t), 1))
        steps[:, first:last] = solved.y[:count].T
        times.append(solved.t[1:])
        states.append(steps[1:])
        sinks.append(solved.y[count:].T[1:])
        now, held, ends_k = float(solved.t[-1]), steps[-1].copy(), solved.y[count:, -1]
        if solved.status == 1:  # what lies beyond a molten cell falls off with it
            gone = int(held[first:last].argmax()) + first
            if gone - first < last - gone:
                held[first : gone + 1], first = state_of.liquidus, gone + 1
            else:
                held[gone:last], last = state_of.liquidus, gone
    return _told(whole, state_of, times, states, sinks, now < horizon_s, deepest_m)


def _rebinned(bar: Bar, whole: Bar, first: int, last: int) -> Bar:
    """What is left of the whole bar's cells, in the jet as `bar` stands in it."""

    def binned(values: Array) -> Array:
        summed = np.concatenate([[0.0], np.cumsum(values)])
        return np.diff(np.interp(whole.edge_m[first : last + 1], bar.edge_m, summed))

    film = binned(bar.film_w_k)
    gas_w = binned(bar.film_w_k * bar.gas_k)
    surface = np.broadcast_to(bar.surface_m2, bar.film_w_k.shape)
    return Bar(
        whole.edge_m[first : last + 1],
        whole.section_m2[first : last + 1],
        whole.volume_m3[first:last],
        film,
        np.divide(gas_w, film, out=np.full_like(film, float(bar.gas_k[0])), where=film > 0.0),
        binned(bar.flux_w),
        binned(surface),
    )


def _told(
    whole: Bar,
    state_of: Enthalpy,
    times: list[Array],
    states: list[Array],
    sinks: list[Array],
    early: bool,
    deepest_m: float,
) -> Melt:
    held = np.concatenate(states)
    molten, width = state_of.molten(held), np.diff(whole.edge_m)

    def from_end(share: Array, of: Array) -> Array:
        # Whole cells in a row, and the share of the next.
        behind = np.cumprod(np.column_stack([np.ones(len(share)), share >= 1.0]), axis=1)[:, :-1]
        return (behind * share) @ of

    nose, tail = from_end(molten, width), from_end(molten[:, ::-1], width[::-1])
    solid = (1.0 - molten) * whole.volume_m3
    left = solid.sum(axis=1)
    warm = np.minimum(state_of.temperature_k(held), state_of.temperature_k(state_of.liquidus))
    mean = np.full(len(left), float(state_of.temperature_k(state_of.liquidus)))
    np.divide((solid * warm).sum(axis=1), left, out=mean, where=left > 0.0)
    return Melt(
        np.concatenate(times), nose, tail, molten @ whole.volume_m3 / whole.volume_m3.sum(), mean,
        np.concatenate(sinks), bool(early or nose[-1] >= deepest_m),
    )  # fmt: skip


@dataclass(frozen=True)
class MeltBand:
    """The melt by the burn's end: as estimated, at best and at worst, in mm from each end.

    Best: the film at its lower end and the melt stays. Worst: the film at its upper end.
    """

    middle: Melt
    best: Melt
    worst: Melt
    deepest_mm: float

    @property
    def depth_mm(self) -> float:
        """From the leading edge, no deeper than a vane can be described."""
        return self.depth_of(self.middle)

    @property
    def depth_band_mm(self) -> tuple[float, float]:
        return self.depth_of(self.best), self.depth_of(self.worst)

    def depth_of(self, melt: Melt) -> float:
        return self.deepest_mm if melt.through else 1e3 * float(melt.nose_m[-1])

    @property
    def tail_mm(self) -> float:
        return 1e3 * float(self.middle.tail_m[-1])


def melt_by_the_end(
    geometry: VaneGeometry,
    engine: NozzleFields,
    loss: SurfaceLoss,
    burn_s: float,
    start_k: float,
    film_spread: float,
) -> MeltBand | None:
    """How far a metal vane's melt gets at reference pressure; None for what does not melt.

    `film_spread` is the factor by which the film is uncertain.
    """
    if loss.material.fails_by != "melting":
        return None
    section, sink = ChordSection(geometry, heat_load(geometry, engine)), shaft_and_hub(geometry)
    deepest_m = 1e-3 * geometry.largest_recession_mm

    def melted(film: float, swept: bool) -> Melt:
        return melt_bar(
            lambda depth_m: section.bar(depth_m, film),
            loss.material, start_k, burn_s, swept, deepest_m, loss.net_w, sink,
        )  # fmt: skip

    return MeltBand(
        melted(1.0, True),
        melted(1.0 / film_spread, False),
        melted(film_spread, True),
        1e3 * deepest_m,
    )
