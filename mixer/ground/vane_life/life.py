"""Will the vane live? Heat into its edge and faces, conduction inwards, and what gives way first.

An estimate to plan a static test by, not a substitute for one. The vane stands edge-on to the
jet and radiates past it; radiation of the gas and of the nozzle's hot wall, particles, and the
flow between vanes are left out.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace

import numpy as np
import scipy

from mixer.ground.drawn_vane.geometry import EngineFields, VaneGeometry, jet_for
from mixer.ground.drawn_vane.propellants import Burning, burning_of
from mixer.ground.inputs.arrays import Array
from mixer.ground.vane_life.conduction import Bar, biot_number, bulk_failure_s
from mixer.ground.vane_life.heat_load import CELLS, ChordSection, heat_load
from mixer.ground.vane_life.heating import Heating, heat_bars
from mixer.ground.vane_life.materials import MATERIALS, Factor, Material
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
class _Factors:
    """What each uncertain input of the life estimate is multiplied by."""

    film: Factor = 1.0
    temperature: Factor = 1.0
    conductivity: Factor = 1.0
    emission: Factor = 1.0
    burns: Factor = 1.0
    reacts: Factor = 1.0


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
    section = ChordSection(geometry, load)
    burning = burning_of(engine.propellants, engine.mixture_ratio)
    far_m = jet_for(geometry, engine).exit_radius_m
    view = view_of_surroundings(far_m - 1e-3 * geometry.immersed_span_mm, far_m)

    def loss_of(case: _Factors) -> SurfaceLoss:
        limit = burning.limit * (case.burns if measured_rate_mm_s is None else 1.0)
        solid = replace(
            material, conductivity_factor=case.conductivity, reaction_factor=case.reacts
        )
        return SurfaceLoss(
            solid, view, limit if material.receding else 0.0, load.gas_heat_j_kg_k, case.emission
        )

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
    cases = _side_by_side(list(spreads.values()))
    loss = loss_of(cases)

    def recession_rate_m_s(surface_k: Array, gone_m: Array) -> Factor:
        if measured_rate_mm_s is not None:  # over whole burns, their warming up included
            return 1e-3 * measured_rate_mm_s * cases.burns
        film = cases.film * load.nose_w_m2_k(section.radius_m(gone_m))
        return loss.burned_kg_m2_s(film, surface_k) / material.density_kg_m3

    allowed_m = 1e-3 * (geometry.allowed_recession_mm or ALLOWED_RECESSION * geometry.tip_chord_mm)
    allowed_m = min(allowed_m, float(section.depths_m[-1]))
    heatings = heat_bars(
        lambda gone_m: section.bar(gone_m, cases.film, cases.temperature),
        loss.material, START_K, horizon_s, recession_rate_m_s if material.receding else None,
        material.fails_at_k, allowed_m, loss.net_w, shaft_and_hub(geometry),
        1 + 2 * len(spreads), done,
    )  # fmt: skip
    runs = [_Run(heating, material, allowed_m) for heating in heatings]
    nominal = _life(runs[0], section, loss_of(_Factors()), burning, horizon_s)
    doubts = []
    for index, name in enumerate(spreads):
        ends = [run.life_s for run in runs[1 + 2 * index : 3 + 2 * index]]
        doubts.append(Doubt(name, min(ends), max(ends)))
    done(1.0)
    doubts.sort(key=lambda doubt: -doubt.weight(horizon_s))
    low, high = _together(nominal.life_s, doubts)
    return replace(nominal, low_s=low, high_s=high, doubts=tuple(doubts))


def _side_by_side(spreads: list[tuple[str, float]]) -> _Factors:
    """The nominal case, then every uncertain input at the lower and the upper end of its range."""
    factors = {field.name: np.ones((1 + 2 * len(spreads), 1)) for field in fields(_Factors)}
    for index, (key, factor) in enumerate(spreads):
        factors[key][1 + 2 * index : 3 + 2 * index, 0] = 1.0 / factor, factor
    return _Factors(**factors)


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

    heating: Heating
    material: Material
    allowed_m: float

    @property
    def local_s(self) -> float:
        hottest = self.heating.temperature_k.max(axis=1)
        return self.heating.first_time_s(hottest >= self.material.fails_at_k)

    @property
    def recession_s(self) -> float:
        return self.heating.first_time_s(self.heating.recession_m >= self.allowed_m)

    @property
    def life_s(self) -> float:
        return min(self.local_s, self.recession_s)


def _life(
    run: _Run, section: ChordSection, loss: SurfaceLoss, burning: Burning, horizon_s: float
) -> Life:
    """All that is told of a run; the range of the life is still missing."""
    heating, material, load = run.heating, run.material, section.load
    if run.recession_s < run.local_s:
        ends_by = f"the leading edge has lost {1e3 * run.allowed_m:.3g} mm"
    else:
        at_nose = heating.temperature_k[-1].argmax() < CELLS // 2
        ends_by = f"the {'leading' if at_nose else 'trailing'} edge reaches {material.fails_by}"
    bars, nose = section.bar(heating.recession_m[:, None]), float(section.radius_m(0.0))
    film, conductivity = float(load.nose_w_m2_k(nose)), float(material.conductivity(800.0))
    return Life(
        life_s=run.life_s,
        low_s=np.nan,
        high_s=np.nan,
        ends_by=ends_by,
        local_s=run.local_s,
        bulk_s=bulk_failure_s(section.bar(0.0), material, START_K, loss.net_w),
        recession_s=run.recession_s,
        allowed_recession_mm=1e3 * run.allowed_m,
        horizon_s=horizon_s,
        biot_nose=biot_number(film, nose, conductivity),
        biot_chord=biot_number(film, 0.5 * section.chord_m, conductivity),
        heating=heating,
        doubts=(),
        material=material,
        mean_k=np.average(heating.temperature_k, axis=1, weights=bars.volume_m3),
        face_m=_face_m(section, bars, heating, loss),
        burning=burning,
        loss=loss,
    )


def _face_m(section: ChordSection, bars: Bar, heating: Heating, loss: SurfaceLoss) -> Array:
    """What the faces have lost over time, at half chord; `bars` at the times of `heating`.

    In the proportion of face to edge that the burning model gives, scaled to what the edge lost:
    a measured recession of the edge so scales that of the faces.
    """
    if not loss.material.receding:
        return np.zeros_like(heating.time_s)
    middle = (bars.edge_m < 0.5 * section.chord_m).sum(axis=1, keepdims=True)
    film = bars.film_w_k / bars.surface_m2
    face = np.take_along_axis(loss.burned_kg_m2_s(film, heating.temperature_k), middle, axis=1)
    nose = section.load.nose_w_m2_k(section.radius_m(heating.recession_m))
    lost, modelled = (
        scipy.integrate.cumulative_trapezoid(
            burned_kg_m2_s / loss.material.density_kg_m3, heating.time_s, initial=0.0
        )
        for burned_kg_m2_s in (face[:, 0], loss.burned_kg_m2_s(nose, heating.surface_k))
    )
    if modelled[-1] <= 0.0:
        return np.zeros_like(heating.time_s)
    return lost * float(heating.recession_m[-1] / modelled[-1])
