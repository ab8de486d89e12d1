"""Everything a drawing promises about its vanes, examined once, for pages, tables and scripts."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np

from mixer.ground.drawn_vane.file_checks import ideal_thrust_n, roll_arm_warning, thrust_warning
from mixer.ground.drawn_vane.geometry import VaneGeometry, WornEdge, vane_volume_m3
from mixer.ground.drawn_vane.hinge import HingeTable, hinge_from_curves
from mixer.ground.drawn_vane.outline import LARGEST_FACE
from mixer.ground.drawn_vane.vane_forces import VaneCurve, computed_curve
from mixer.ground.inputs.csv_files import InputError
from mixer.ground.vane_life.heat_load import heat_load
from mixer.ground.vane_life.life import FILM_SPREAD, START_K, Life, vane_life
from mixer.ground.vane_life.materials import MATERIALS
from mixer.ground.vane_life.melting import MeltBand, melt_by_the_end
from mixer.ground.vane_life.strength import Bending, bending, shock_merit
from mixer.ground.vane_report.pressure_check import ScaledForce, pressure_check
from mixer.ground.vehicle.vehicle import Vehicle
from mixer.ground.wear.prediction import effectiveness_of

BURN_TIMES = 5  # at which the worn vane is computed, ends included
WORN_STEP_DEG = 3.0
TAIL_MAY_LOSE = 0.08  # of the chord over the burn
LET_GO = {
    "comes back": "If the servo lets go, the gas brings the vane back to neutral.",
    "goes hard over": "If the servo lets go, the vane goes hard over: the gas drives it outwards"
    " wherever it stands. A hinge line nearer the leading edge changes that.",
    "not sure": "If the servo lets go, it is not sure whether the vane comes back or goes hard"
    " over: the centre of pressure is known to 7.5 % of the chord, and the hinge line lies within"
    " that of it. A hinge line nearer the leading edge settles it.",
}


class DrawingError(InputError):
    """A vehicle whose forces are measured has nothing to compute."""


def widest_travel(vehicle: Vehicle) -> tuple[float, float]:
    """The travel that holds those of all four vanes."""
    travel = np.asarray(vehicle.vanes.travel_deg)
    return float(travel[:, 0].min()), float(travel[:, 1].max())


def worn_by(life: Life, geometry: VaneGeometry, time_s: float) -> WornEdge:
    """The vane after a time at reference pressure: edge receded, faces thinned, alike all along."""
    heating = life.heating
    depth_mm = 1e3 * float(np.interp(time_s, heating.time_s, heating.recession_m))
    tip_thickness_mm = geometry.thickness_mm * geometry.tip_chord_mm / geometry.root_chord_mm
    ends = np.array([geometry.root_station_mm, geometry.span_mm])
    return WornEdge(
        ends,
        np.full(2, min(depth_mm, geometry.largest_recession_mm)),
        min(life.face_mm_at(time_s), LARGEST_FACE * tip_thickness_mm),
    )


@dataclass(frozen=True)
class DrawnVane:
    """A drawing examined.

    `time_s` (m,) of the burn at reference pressure; `edges`, `worn` (m,) the vane then, `hinge`
    and `strength` over the same times.
    """

    vehicle: Vehicle
    geometry: VaneGeometry
    curve: VaneCurve
    life: Life
    time_s: np.ndarray
    edges: Sequence[WornEdge]
    worn: Sequence[VaneCurve]
    hinge: HingeTable
    strength: Sequence[Bending]
    shock: float
    scaled: Sequence[ScaledForce]
    melt: MeltBand | None

    @property
    def solids(self) -> bool:
        """Whether the exhaust carries what sands the vanes off."""
        return self.vehicle.engine.solids_in_exhaust

    @cached_property
    def effectiveness(self) -> float | None:
        """Force of the vane worn or melted as estimated at the burn's end, over the new one's.

        None where the melt has left no vane that can be described.
        """
        if self.melt is None or self.melt.depth_mm == 0.0:
            return effectiveness_of(self.worn[-1], self.worn[0])
        if self.melt.middle.through:
            return None
        edge = WornEdge(self.edges[-1].station_mm, np.full(2, self.melt.depth_mm))
        melted = computed_curve(
            self.geometry, self.vehicle.engine, widest_travel(self.vehicle), edge, WORN_STEP_DEG
        )
        return effectiveness_of(melted, self.worn[0])

    @cached_property
    def mass_g(self) -> float:
        """Mass of a whole new vane, its shaft hole left out."""
        return 1e3 * MATERIALS[self.geometry.material].density_kg_m3 * vane_volume_m3(self.geometry)

    @cached_property
    def ideal_thrust_n(self) -> float:
        return ideal_thrust_n(self.vehicle.engine, self.curve.jet)

    @property
    def tail_lost_mm(self) -> float:
        """How far the tail of the middle section has come forward by the burn's end."""
        station = 0.5 * (self.geometry.root_station_mm + self.geometry.span_mm)
        outline = self.geometry.outline_at(station, 0.0, self.edges[-1].face_mm)
        return 1e3 * float(outline.chord_m - outline.x_m[-1])

    @cached_property
    def warnings(self) -> list[str]:
        """What must not be overlooked, the same on the terminal, on the page and in --json."""
        geometry, thrust_n = self.geometry, self.vehicle.engine.thrust_n
        found = [
            roll_arm_warning(self.vehicle.layout.roll_arm_m, self.curve.roll_arm_m),
            thrust_warning(thrust_n, self.ideal_thrust_n),
        ]
        if self.solids:
            found.append(
                "the exhaust carries solids (engine.solids_in_exhaust): they sand a graphite vane"
                " off in seconds; neither wear nor life is computed for that, only a burn tells"
            )
        if self.hinge.let_go != "comes back":
            found.append(LET_GO[self.hinge.let_go])
        if self.tail_lost_mm > TAIL_MAY_LOSE * geometry.mean_chord_mm:
            found.append(
                f"the tail is drawn too sharp to last: {self.tail_lost_mm:.2g} mm of it are gone"
                f" by the end of the burn, as the faces lose {self.edges[-1].face_mm:.2g} mm each;"
                " draw it a millimetre or two thick (trailing_edge_thickness_mm)"
            )
        if oxidises := self.life.material.oxidises:
            found.append(f"{oxidises}: no model here holds that, the life is without it")
        return [sentence for sentence in found if sentence]

    @cached_property
    def assumed(self) -> list[str]:
        """Values that decided something and that the file does not give."""
        geometry, given = self.geometry, self.geometry.model_fields_set
        words = {
            "chamber_temperature_k": f"flame temperature {geometry.chamber_temperature_k:g} K",
            "molar_mass_g_mol": f"molar mass of the exhaust {geometry.molar_mass_g_mol:g} g/mol",
            "ambient_pressure_bar": f"ambient pressure {geometry.ambient_pressure_bar:g} bar",
            "material": f"material {geometry.material}",
        }
        found = [
            f"{text} (vanes.geometry.{key})" for key, text in words.items() if key not in given
        ]
        if "mixture_ratio" not in self.vehicle.engine.model_fields_set and geometry.material == (
            "graphite"
        ):
            burning = self.life.burning
            found.append(
                f"B' {burning.limit:.2g}, {burning.source} (engine.propellants, mixture_ratio)"
            )
        return found


def drawing_of(vehicle: Vehicle, vehicle_file: Path) -> VaneGeometry:
    """The vehicle's drawing. DrawingError where it has a measured curve instead."""
    if vehicle.vanes.geometry is None:
        raise DrawingError(
            f"{vehicle_file}: vanes.geometry: missing; forces are computed from a drawing, and"
            " this file has a measured curve"
        )
    return vehicle.vanes.geometry


def examine(
    vehicle: Vehicle,
    geometry: VaneGeometry,
    done: Callable[[float], None] = lambda _share: None,
) -> DrawnVane:
    """Everything about a drawing; `done` is told the share of the work that is over."""
    engine, travel = vehicle.engine, widest_travel(vehicle)
    curve = computed_curve(geometry, engine, travel)
    life = vane_life(
        geometry, engine, max(120.0, 2.0 * engine.burn_time_s), done=lambda s: done(0.8 * s)
    )
    time_s = np.linspace(0.0, min(engine.burn_time_s, life.heating.time_s[-1]), BURN_TIMES)
    edges = [worn_by(life, geometry, float(s)) for s in time_s]
    worn = [computed_curve(geometry, engine, travel, edge, WORN_STEP_DEG) for edge in edges]
    done(0.9)
    load = heat_load(geometry, engine)
    half_m = 0.5e-3 * geometry.thickness_mm
    face = load.face_w_m2_k(np.array(0.5e-3 * geometry.mean_chord_mm), np.array(1.0))
    found = DrawnVane(
        vehicle,
        geometry,
        curve,
        life,
        time_s,
        edges,
        worn,
        hinge_from_curves(time_s, worn, geometry.mean_chord_mm),
        bending(geometry, worn, edges, np.array([life.mean_at_k(float(s)) for s in time_s])),
        shock_merit(geometry, float(face) * (load.face_gas_k - 293.0), half_m),
        pressure_check(geometry, engine, travel),
        melt_by_the_end(geometry, engine, life.loss, engine.burn_time_s, START_K, FILM_SPREAD),
    )
    done(1.0)
    return found
