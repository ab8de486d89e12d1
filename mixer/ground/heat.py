"""Will the vane live? Heat into its edge and faces, conduction inwards, and what gives way first.

An estimate to plan a static test by, not a substitute for one. Gas radiation, particles, the
shaft as a way out for heat, and the flow between vanes are left out. All heat transfer scales
with chamber pressure to the power 0.8 (Bartz, Jet Propulsion 27, 1957, 49-51 [from memory]).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import quad

from mixer.ground import gas
from mixer.ground.conduction import Bar, Heating, biot_number, heat_bar
from mixer.ground.geometry import NozzleFields, VaneGeometry, jet_for
from mixer.ground.hot_gas import HotGas
from mixer.ground.materials import MATERIALS, Material
from mixer.ground.outline import section_outline

FloatArray = NDArray[np.float64]

PRESSURE_EXPONENT = 0.8
START_K = 293.0
CELLS = 36
LEAST_NOSE_RADIUS_M = 2e-4  # a sharper edge burns or melts to this at once
ALLOWED_RECESSION = 0.15  # of the tip chord, where the drawing allows no other depth
WALL_OVER_TOTAL = 0.5  # wall temperature at which Bartz's property factor is taken
# Carbon burned per unit of gas that diffuses to the wall: about 0.17 in air; combustion gas
# carries less free oxidiser [from memory]. Good to a factor of two.
BURNING = 0.1
# What is uncertain, and by which factor either way.
FILM_SPREAD, TEMPERATURE_SPREAD, BURNING_SPREAD = 1.4, 1.05, 2.0


def bartz_coefficient_w_m2_k(
    throat_diameter_m: float,
    viscosity_pa_s: float,
    specific_heat_j_kg_k: float,
    prandtl: float,
    chamber_pressure_pa: float,
    characteristic_velocity_m_s: float,
    area_over_throat: float = 1.0,
    property_factor: float = 1.0,
) -> float:
    """Gas-side heat transfer coefficient in a nozzle, without the throat curvature term."""
    return (
        0.026
        / throat_diameter_m**0.2
        * (viscosity_pa_s**0.2 * specific_heat_j_kg_k / prandtl**0.6)
        * (chamber_pressure_pa / characteristic_velocity_m_s) ** PRESSURE_EXPONENT
        * area_over_throat**-0.9
        * property_factor
    )


def bartz_property_factor(wall_over_total: float, mach: float, gamma: float) -> float:
    """Bartz's sigma: gas properties across the boundary layer."""
    total_over_static = 1.0 / float(gas.temperature_ratio(mach, gamma))
    return float(
        (0.5 * wall_over_total * total_over_static + 0.5) ** -0.68 * total_over_static**-0.12
    )


def stagnation_coefficient_w_m2_k(stream: gas.FlowState, hot: HotGas, radius_m: float) -> float:
    """Heat transfer coefficient on the stagnation line of a round leading edge.

    0.57 Pr^-0.6 cp sqrt(rho mu du/dx), Newtonian velocity gradient (Fay & Riddell, J. Aeronautical
    Sciences 25, 1958, for a cylinder across the stream [from memory]).
    """
    pitot_pa = stream.pressure_pa * gas.rayleigh_pitot_ratio(stream.mach, stream.gamma)
    density = pitot_pa / (hot.gas_constant_j_kg_k * hot.temperature_k)
    gradient = np.sqrt(2.0 * (pitot_pa - stream.pressure_pa) / density) / radius_m
    viscosity = hot.viscosity_pa_s(hot.temperature_k)
    return float(
        0.57
        * hot.prandtl**-0.6
        * hot.specific_heat_j_kg_k
        * np.sqrt(density * viscosity * gradient)
    )


@dataclass(frozen=True)
class HeatLoad:
    """What the jet does to one vane: coefficients in W/m²K, temperatures in K.

    `nose_times_root_radius` times radius^-0.5 is the coefficient on the edge's stagnation line.
    """

    nose_times_root_radius: float
    face_w_m2_k: float
    nose_gas_k: float
    face_gas_k: float
    gas_heat_j_kg_k: float

    def nose_w_m2_k(self, radius_m: float) -> float:
        return self.nose_times_root_radius / np.sqrt(radius_m)


def heat_load(geometry: VaneGeometry, engine: NozzleFields) -> HeatLoad:
    """Heat load at the reference chamber pressure; scales with pressure to the power 0.8.

    Faces: Bartz's coefficient at the exit, carried from the nozzle's diameter to a plate's chord
    with the fifth-root law both correlations share (0.0296/0.026, mean over the chord 5/4).
    """
    jet = jet_for(geometry, engine)
    hot, stream = geometry.hot_gas(jet.core.gamma), jet.core
    assert engine.throat_diameter_mm and engine.expansion_ratio
    at_exit = bartz_coefficient_w_m2_k(
        1e-3 * engine.throat_diameter_mm,
        hot.viscosity_pa_s(hot.temperature_k),
        hot.specific_heat_j_kg_k,
        hot.prandtl,
        1e5 * engine.chamber_pressure_bar,
        hot.characteristic_velocity_m_s,
        engine.expansion_ratio,
        bartz_property_factor(WALL_OVER_TOTAL, stream.mach, stream.gamma),
    )
    chord_m = 1e-3 * geometry.tip_chord_mm
    plate = 1.25 * 0.0296 / 0.026 * (2.0 * jet.exit_radius_m / chord_m) ** 0.2
    return HeatLoad(
        stagnation_coefficient_w_m2_k(stream, hot, 1.0),
        at_exit * plate,
        hot.temperature_k,
        hot.recovery_temperature_k(stream.mach),
        hot.specific_heat_j_kg_k,
    )


class ChordSection:
    """The vane's middle section as a bar along its chord, for any depth of recession."""

    def __init__(self, geometry: VaneGeometry, load: HeatLoad) -> None:
        self.load = load
        station_mm = 0.5 * (geometry.root_station_mm + geometry.span_mm)
        drawn = geometry.outline_at(station_mm)
        self.chord_m, self.thickness_m = drawn.chord_m, drawn.thickness_m
        least = min(LEAST_NOSE_RADIUS_M, 0.4 * self.thickness_m)
        radius_m = max(drawn.nose_radius_m, least)
        self.depths_m = np.linspace(0.0, 1e-3 * geometry.largest_recession_mm, 40)
        worn = [
            section_outline(
                geometry.section, self.chord_m, self.thickness_m, radius_m, round(float(d), 9)
            )
            for d in self.depths_m
        ]
        self.radii_m = np.array([o.nose_radius_m for o in worn])
        self.touches_m = np.array([o.x_m[0] - o.nose_x_m for o in worn])
        self.flank_x_m, self.flank_y_m = worn[0].x_m, worn[0].y_m

    def radius_m(self, recession_m: float) -> float:
        return float(np.interp(recession_m, self.depths_m, self.radii_m))

    def bar(self, recession_m: float) -> Bar:
        """Cells from the nose to the trailing edge, fine at the nose."""
        radius = self.radius_m(recession_m)
        touch = float(np.interp(recession_m, self.depths_m, self.touches_m))
        edge = (self.chord_m - recession_m) * np.linspace(0.0, 1.0, CELLS + 1) ** 2.0
        on_nose = np.minimum(edge, touch)
        # Nose: area of a cap of the circle; flanks: trapezia.
        back = np.clip(radius - on_nose, -radius, radius)
        rise = np.sqrt(np.maximum(radius**2 - back**2, 0.0))
        cap = radius**2 * np.arccos(back / radius) - back * rise
        height = np.interp(edge + recession_m, self.flank_x_m, self.flank_y_m)
        at_touch = np.interp(touch + recession_m, self.flank_x_m, self.flank_y_m)
        flank_edge = np.maximum(edge, touch)
        flank_height = np.where(edge > touch, height, at_touch)
        flank = np.diff(flank_edge) * (flank_height[1:] + flank_height[:-1])
        half = np.where(edge < touch, rise, height)
        # Surface: the arc, most heated on its stagnation line, and the flanks.
        angle = np.arccos(back / radius)
        nose = self.load.nose_w_m2_k(radius)
        arc = np.maximum(nose * np.diff(np.sin(angle)), self.load.face_w_m2_k * np.diff(angle))
        faces = self.load.face_w_m2_k * np.diff(flank_edge)
        film_nose, film_faces = 2.0 * radius * arc, 2.0 * faces
        film = film_nose + film_faces
        gas_k = (film_nose * self.load.nose_gas_k + film_faces * self.load.face_gas_k) / film
        return Bar(
            edge + recession_m, 2.0 * half, np.diff(cap) + flank, film, gas_k, np.zeros(CELLS)
        )


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
    rate_m_s: Callable[[float], float]  # full recession rate at a nose radius


def vane_life(
    geometry: VaneGeometry,
    engine: NozzleFields,
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

    def rate_with(load: HeatLoad, burning: float) -> Callable[[float], float]:
        if measured_rate_mm_s is not None:
            measured_m_s = 1e-3 * measured_rate_mm_s * burning / BURNING
            return lambda _radius: measured_m_s
        per_film = burning / (load.gas_heat_j_kg_k * material.density_kg_m3)
        return lambda radius: load.nose_w_m2_k(radius) * per_film

    def case(film: float = 1.0, temperature: float = 1.0, conductivity: float = 1.0,
             burning: float = 1.0) -> _Case:  # fmt: skip
        heat = replace(
            load,
            nose_times_root_radius=load.nose_times_root_radius * film,
            face_w_m2_k=load.face_w_m2_k * film,
            nose_gas_k=load.nose_gas_k * temperature,
            face_gas_k=load.face_gas_k * temperature,
        )
        k = tuple(value * conductivity for value in material.conductivity_w_m_k)
        solid = replace(material, conductivity_w_m_k=k)
        return _Case(geometry, heat, solid, rate_with(heat, BURNING * burning))

    spreads = {
        "the heat transfer coefficient": ("film", FILM_SPREAD),
        "the gas temperature": ("temperature", TEMPERATURE_SPREAD),
        f"the conductivity of {material.name}": (
            "conductivity", 1.0 + material.conductivity_spread,
        ),
    }  # fmt: skip
    if material.receding:
        spread = BURNING_SPREAD if measured_rate_mm_s is None else 1.0 + measured_spread
        spreads["the recession rate of hot graphite"] = ("burning", spread)
    total = 1 + 2 * len(spreads)
    nominal = _simulate(case(), horizon_s)
    done(1 / total)
    doubts = []
    for index, (name, (key, factor)) in enumerate(spreads.items()):
        ends = [_simulate(case(**{key: f}), horizon_s).life_s for f in (1.0 / factor, factor)]
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


def _simulate(case: _Case, horizon_s: float) -> Life:
    geometry, load, material = case.geometry, case.load, case.material
    section = ChordSection(geometry, load)
    allowed_m = 1e-3 * (geometry.allowed_recession_mm or ALLOWED_RECESSION * geometry.tip_chord_mm)
    allowed_m = min(allowed_m, float(section.depths_m[-1]))
    recedes = (
        (lambda surface_k, gone_m: case.rate_m_s(section.radius_m(gone_m))
         * material.burning_share(surface_k))
        if material.receding else None
    )  # fmt: skip
    heating = heat_bar(
        section.bar, material, START_K, horizon_s, recedes, material.fails_at_k, allowed_m
    )
    local_s = heating.first_time_s(heating.surface_k >= material.fails_at_k - 0.5)
    recession_s = heating.first_time_s(heating.recession_m >= allowed_m * (1.0 - 1e-6))
    if recession_s < local_s:
        ends_by = f"the leading edge has lost {1e3 * allowed_m:.3g} mm"
    else:
        ends_by = f"the leading edge reaches {material.fails_by}"
    bar, nose = section.bar(0.0), load.nose_w_m2_k(section.radius_m(0.0))
    conductivity = float(material.conductivity(800.0))
    return Life(
        life_s=min(local_s, recession_s),
        low_s=np.nan,
        high_s=np.nan,
        ends_by=ends_by,
        local_s=local_s,
        bulk_s=bulk_failure_s(bar, material),
        recession_s=recession_s,
        allowed_recession_mm=1e3 * allowed_m,
        horizon_s=horizon_s,
        biot_nose=biot_number(nose, section.radius_m(0.0), conductivity),
        biot_chord=biot_number(nose, 0.5 * section.chord_m, conductivity),
        heating=heating,
        doubts=(),
        material=material,
    )


def bulk_failure_s(bar: Bar, material: Material, start_k: float = START_K) -> float:
    """Time in which the whole bar, at one temperature, takes up the heat to melt or sublime."""
    film, pull = float(bar.film_w_k.sum()), float((bar.film_w_k * bar.gas_k).sum())
    mass = material.density_kg_m3 * float(bar.volume_m3.sum())
    if pull / film <= material.fails_at_k:
        return np.inf

    def pace(temperature_k: float) -> float:
        return mass * float(material.specific_heat(temperature_k)) / (pull - film * temperature_k)

    return float(quad(pace, start_k, material.fails_at_k, limit=200)[0])
