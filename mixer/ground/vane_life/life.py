"""Will the vane live? Heat into its edge and faces, conduction inwards, and what gives way first.

An estimate to plan a static test by, not a substitute for one. The vane stands edge-on to the
jet and radiates past it; radiation of the gas and of the nozzle's hot wall, particles, and the
flow between vanes are left out.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import scipy

from mixer.ground.drawn_vane.geometry import EngineFields, VaneGeometry, jet_for
from mixer.ground.drawn_vane.propellants import Burning, burning_of
from mixer.ground.inputs.arrays import Array
from mixer.ground.vane_life.conduction import Bar, Heating, biot_number, bulk_failure_s, heat_bar
from mixer.ground.vane_life.heat_load import CELLS, ChordSection, HeatLoad, heat_load
from mixer.ground.vane_life.materials import MATERIALS, Material
from mixer.ground.vane_life.shaft_and_hub import shaft_and_hub
from mixer.ground.vane_life.surface_loss import SurfaceLoss, view_of_surroundings

START_K = 293.0
ALLOWED_RECESSION = 0.15  # of the tip chord, where the drawing allows no other depth
# What is uncertain, and by which factor either way.
FILM_SPREAD, TEMPERATURE_SPREAD, REACTION_SPREAD = 1.4, 1.05, 3.0


@dataclass(frozen=True)
class Doubt:
    """One uncertain input: what it is, and the life at either end of its range."""

    name: str
    low_s: float
    high_s: float

    def weight(self, horizon_s: float) -> float:
        """Logarithm of the range of the life, as far as the horizon lets it be seen."""
        return float(np.log(min(self.high_s, horizon_s) / min(self.low_s, horizon_s)))


@dataclass(frozen=True)
class Life:
    """How long a vane lives at the reference chamber pressure, s; inf is past the horizon.

    `local_s` until the hottest place melts or sublimes, `bulk_s` until all of it would have taken
    the heat to do so, `recession_s` until the edge has lost the allowed depth. `life_s` is the
    first of local and recession. `doubts` are sorted, the dominating one first.
    """

    life_s: float
    low_s: float
    high_s: float
    ends_by: str
    local_s: float
    bulk_s: float
    recession_s: float
    allowed_recession_mm: float
    horizon_s: float
    biot_nose: float
    biot_chord: float
    heating: Heating
    doubts: tuple[Doubt, ...]
    material: Material
    mean_k: Array  # (m,) over the section, at the times of `heating`
    face_m: Array  # (m,) what each face has lost by then
    burning: Burning
    loss: SurfaceLoss

    def mean_at_k(self, time_s: float) -> float:
        """Mean temperature of the section at a time; that of the last moment beyond it."""
        return float(np.interp(time_s, self.heating.time_s, self.mean_k))

    def face_mm_at(self, time_s: float) -> float:
        """What each face has lost after a time."""
        return 1e3 * float(np.interp(time_s, self.heating.time_s, self.face_m))

    @property
    def dominating(self) -> Doubt:
        return self.doubts[0]

    @property
    def sentence(self) -> str:
        """The result in words."""
        if np.isinf(self.life_s):
            return f"Outlives {self.horizon_s:g} s; {self.dominating.name} decides by how much."
        high = f"over {self.horizon_s:g}" if np.isinf(self.high_s) else f"{self.high_s:.3g}"
        return (
            f"Lives about {self.life_s:.3g} s ({self.low_s:.3g} to {high} s), until"
            f" {self.ends_by}; the dominating uncertainty is {self.dominating.name}."
        )


@dataclass(frozen=True)
class _Case:
    """One set of inputs of the life estimate."""

    geometry: VaneGeometry
    load: HeatLoad
    material: Material
    loss: SurfaceLoss
    rate_m_s: Callable[[float, float], float]  # recession rate, surface K and nose radius


def vane_life(
    geometry: VaneGeometry,
    engine: EngineFields,
    horizon_s: float = 120.0,
    measured_rate_mm_s: float | None = None,
    measured_spread: float = 0.3,
    done: Callable[[float], None] = lambda _share: None,
) -> Life:
    """Life of one vane at the reference chamber pressure, and what makes it uncertain.

    A recession rate measured on burnt vanes, in mm per s of burn load, replaces the estimate from
    diffusion; `measured_spread` is the share it is uncertain by. `done` is told the share of the
    work that is over.
    """
    load, material = heat_load(geometry, engine), MATERIALS[geometry.material]
    burning = burning_of(engine.propellants, engine.mixture_ratio)
    far_m = jet_for(geometry, engine).exit_radius_m
    view = view_of_surroundings(far_m - 1e-3 * geometry.immersed_span_mm, far_m)

    def case(film: float = 1.0, temperature: float = 1.0, conductivity: float = 1.0,
             emission: float = 1.0, burns: float = 1.0, reacts: float = 1.0) -> _Case:  # fmt: skip
        heat = load.scaled(film, temperature)
        k = tuple(value * conductivity for value in material.conductivity_w_m_k)
        solid = replace(
            material, conductivity_w_m_k=k, reacts_kg_m2_s=material.reacts_kg_m2_s * reacts
        )
        limit = burning.limit * (burns if measured_rate_mm_s is None else 1.0)
        loss = SurfaceLoss(
            solid, view, limit if material.receding else 0.0, load.gas_heat_j_kg_k, emission
        )

        def rate_m_s(surface_k: float, radius_m: float) -> float:
            if measured_rate_mm_s is not None:  # over whole burns, their warming up included
                return 1e-3 * measured_rate_mm_s * burns
            film = np.array(heat.nose_w_m2_k(radius_m))
            return float(loss.burned_kg_m2_s(film, np.array(surface_k)) / solid.density_kg_m3)

        return _Case(geometry, heat, solid, loss, rate_m_s)

    spreads = {
        "the heat transfer coefficient": ("film", FILM_SPREAD),
        "the gas temperature": ("temperature", TEMPERATURE_SPREAD),
        f"the conductivity of {material.name}": (
            "conductivity",
            1.0 + material.conductivity_spread,
        ),
        "radiation to the surroundings": ("emission", material.emits_spread),
    }
    if material.receding:
        if measured_rate_mm_s is None:
            spreads["how much carbon the exhaust can burn"] = ("burns", burning.spread)
            spreads["how fast hot graphite reacts"] = ("reacts", REACTION_SPREAD)
        else:
            spreads["the recession rate of hot graphite"] = ("burns", 1.0 + measured_spread)
    total = 1 + 2 * len(spreads)
    nominal = _life(_heated(case(), horizon_s), burning)
    done(1 / total)
    doubts = []
    for index, (name, (key, factor)) in enumerate(spreads.items()):
        ends = [_heated(case(**{key: f}), horizon_s).life_s for f in (1.0 / factor, factor)]
        doubts.append(Doubt(name, min(ends), max(ends)))
        done((3 + 2 * index) / total)
    doubts.sort(key=lambda doubt: -doubt.weight(horizon_s))
    low, high = _together(nominal.life_s, doubts)
    return replace(nominal, low_s=low, high_s=high, doubts=tuple(doubts))


def _together(life_s: float, doubts: list[Doubt]) -> tuple[float, float]:
    """Low and high life with all doubts independent: roots of summed squares of logarithms."""
    if np.isinf(life_s):
        return min(doubt.low_s for doubt in doubts), np.inf
    below = np.sqrt(sum(np.log(life_s / doubt.low_s) ** 2 for doubt in doubts))
    if any(np.isinf(doubt.high_s) for doubt in doubts):
        return float(life_s * np.exp(-below)), np.inf
    above = np.sqrt(sum(np.log(doubt.high_s / life_s) ** 2 for doubt in doubts))
    return float(life_s * np.exp(-below)), float(life_s * np.exp(above))


@dataclass(frozen=True)
class _Run:
    """One case, heated until the horizon or until the vane gives way."""

    case: _Case
    section: ChordSection
    allowed_m: float
    horizon_s: float
    heating: Heating

    @property
    def local_s(self) -> float:
        hottest = self.heating.temperature_k.max(axis=1)
        return self.heating.first_time_s(hottest >= self.case.material.fails_at_k - 0.5)

    @property
    def recession_s(self) -> float:
        gone = self.heating.recession_m >= self.allowed_m * (1.0 - 1e-6)
        return self.heating.first_time_s(gone)

    @property
    def life_s(self) -> float:
        return min(self.local_s, self.recession_s)


def _heated(case: _Case, horizon_s: float) -> _Run:
    geometry, material = case.geometry, case.material
    section = ChordSection(geometry, case.load)
    allowed_m = 1e-3 * (geometry.allowed_recession_mm or ALLOWED_RECESSION * geometry.tip_chord_mm)
    allowed_m = min(allowed_m, float(section.depths_m[-1]))
    recedes = (
        (lambda surface_k, gone_m: case.rate_m_s(surface_k, section.radius_m(gone_m)))
        if material.receding
        else None
    )
    heating = heat_bar(
        section.bar, material, START_K, horizon_s, recedes, material.fails_at_k, allowed_m,
        case.loss.net_w, shaft_and_hub(geometry),
    )  # fmt: skip
    return _Run(case, section, allowed_m, horizon_s, heating)


def _life(run: _Run, burning: Burning) -> Life:
    """All that is told of a run; the range of the life is still missing."""
    section, heating, loss = run.section, run.heating, run.case.loss
    material, load = run.case.material, run.case.load
    if run.recession_s < run.local_s:
        ends_by = f"the leading edge has lost {1e3 * run.allowed_m:.3g} mm"
    else:
        at_nose = heating.temperature_k[-1].argmax() < CELLS // 2
        ends_by = f"the {'leading' if at_nose else 'trailing'} edge reaches {material.fails_by}"
    bars, nose = [section.bar(float(g)) for g in heating.recession_m], section.radius_m(0.0)
    film, conductivity = load.nose_w_m2_k(nose), float(material.conductivity(800.0))
    return Life(
        life_s=run.life_s,
        low_s=np.nan,
        high_s=np.nan,
        ends_by=ends_by,
        local_s=run.local_s,
        bulk_s=bulk_failure_s(bars[0], material, START_K, loss.net_w),
        recession_s=run.recession_s,
        allowed_recession_mm=1e3 * run.allowed_m,
        horizon_s=run.horizon_s,
        biot_nose=biot_number(film, nose, conductivity),
        biot_chord=biot_number(film, 0.5 * section.chord_m, conductivity),
        heating=heating,
        doubts=(),
        material=material,
        mean_k=_means_k(bars, heating),
        face_m=_face_m(section, bars, heating, loss),
        burning=burning,
        loss=loss,
    )


def _means_k(bars: list[Bar], heating: Heating) -> Array:
    """Mean temperature of the section at each time."""
    return np.array(
        [
            np.average(temperature_k, weights=bar.volume_m3)
            for temperature_k, bar in zip(heating.temperature_k, bars, strict=True)
        ]
    )


def _face_m(section: ChordSection, bars: list[Bar], heating: Heating, loss: SurfaceLoss) -> Array:
    """What the faces have lost over time, at half chord.

    In the proportion of face to edge that the burning model gives, scaled to what the edge lost:
    a measured recession of the edge so scales that of the faces.
    """
    density = loss.material.density_kg_m3
    if not loss.burning:
        return np.zeros_like(heating.time_s)
    face, edge = [], []
    over_time = zip(heating.temperature_k, heating.recession_m, bars, strict=True)
    for temperature_k, gone_m, bar in over_time:
        middle = int(np.searchsorted(bar.edge_m, 0.5 * section.chord_m))
        film = bar.film_w_k / bar.surface_m2
        face.append(float(loss.burned_kg_m2_s(film, temperature_k)[middle]) / density)
        nose = np.array(section.load.nose_w_m2_k(section.radius_m(float(gone_m))))
        edge.append(float(loss.burned_kg_m2_s(nose, temperature_k[0])) / density)
    lost, modelled = (
        scipy.integrate.cumulative_trapezoid(rate, heating.time_s, initial=0.0)
        for rate in (face, edge)
    )
    if modelled[-1] <= 0.0:
        return np.zeros_like(heating.time_s)
    return lost * float(heating.recession_m[-1] / modelled[-1])
