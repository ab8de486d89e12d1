"""[vanes.geometry]: the drawing of one vane, and what makes a drawing impossible.

The leading edge is straight and square to the engine axis; the trailing edge takes the taper.
The part in the jet is the tip side, from the jet's edge towards the engine axis. Stations count
from the root along the span.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from numpy.typing import ArrayLike
from pydantic import Field, ValidationInfo, field_validator

from mixer.ground.drawn_vane.hot_gas import HotGas
from mixer.ground.drawn_vane.jet import Jet, jet_from_nozzle
from mixer.ground.drawn_vane.outline import (
    LARGEST_NOSE,
    Outline,
    largest_recession_m,
    section_outline,
)
from mixer.ground.inputs.arrays import Array
from mixer.ground.inputs.csv_files import InputError
from mixer.ground.inputs.quantities import refuse
from mixer.ground.inputs.section import Section

# Key, and what it must be: under or at most another key, and why.
HELD_AGAINST = {
    "tip_chord_mm": ("at most", "root_chord_mm", "a vane does not widen towards the tip"),
    "thickness_mm": ("under", "root_chord_mm", "a vane is thinner than it is long"),
    "hinge_line_mm": ("under", "root_chord_mm", "the shaft crosses the vane"),
    "immersed_span_mm": ("at most", "span_mm", "no more than the whole vane is in the jet"),
}
STRIPS = 16  # across the part in the jet; doubling them moves no force by 0.1 %


class GeometryError(InputError):
    """A vane, jet or travel that cannot exist; one sentence for each problem."""

    def __init__(self, problems: Sequence[str]) -> None:
        self.problems = list(problems)
        super().__init__("; ".join(self.problems))


class NozzleFields(Protocol):
    """What is needed of [engine]."""

    @property
    def chamber_pressure_bar(self) -> float: ...
    @property
    def throat_diameter_mm(self) -> float | None: ...
    @property
    def expansion_ratio(self) -> float | None: ...
    @property
    def specific_heat_ratio(self) -> float | None: ...


class EngineFields(NozzleFields, Protocol):
    """What is needed of [engine] where the exhaust also heats and burns."""

    @property
    def propellants(self) -> str | None: ...
    @property
    def mixture_ratio(self) -> float | None: ...


@dataclass(frozen=True)
class WornEdge:
    """How far a vane has worn: its leading edge at stations along the span, its faces.

    `station_mm`, `recession_mm` (n,); straight between stations, the end values beyond.
    `face_mm` is what each face has lost, alike all over, and how far the tail has rounded.
    """

    station_mm: Array
    recession_mm: Array
    face_mm: float = 0.0

    def at(self, station_mm: ArrayLike) -> Array:
        return np.interp(np.asarray(station_mm, float), self.station_mm, self.recession_mm)


class HeatSink(Section):
    """What the vane sits on, which takes heat from it: a round shaft, and what that ends in."""

    shaft_diameter_mm: float = Field(ge=1, le=200)
    shaft_length_mm: float = Field(ge=1, le=1000)  # from the vane to the hub
    hub_mass_g: float = Field(0.0, ge=0, le=100_000)
    material: Literal["steel", "stainless steel", "aluminium", "copper", "titanium"] = "steel"


class VaneGeometry(Section):
    """One vane as drawn. All four are alike; lengths in mm."""

    span_mm: float = Field(gt=0, le=1000)
    root_chord_mm: float = Field(gt=0, le=1000)
    tip_chord_mm: float = Field(gt=0, le=1000)
    thickness_mm: float = Field(gt=0, le=200)  # at the root; its share of the chord is constant
    section: Literal["double-wedge", "biconvex"]
    leading_edge_radius_mm: float = Field(ge=0, le=100)
    hinge_line_mm: float = Field(gt=0, le=1000)  # behind the leading edge
    immersed_span_mm: float = Field(gt=0, le=1000)  # of the span, tip to the exit's radius
    distance_behind_exit_mm: float = Field(ge=0, le=1000)  # of the leading edge
    ambient_pressure_bar: float = Field(1.01325, ge=0, le=2)
    chamber_temperature_k: float = Field(3000.0, gt=500, le=5000)
    molar_mass_g_mol: float = Field(23.0, gt=1, le=60)
    material: Literal["graphite", "copper", "tungsten", "molybdenum"] = "graphite"
    graphite_grade: Literal["isomoulded", "moulded"] = "isomoulded"
    trailing_edge_thickness_mm: float = Field(0.0, ge=0, le=100)
    shaft_hole_mm: float = Field(0.0, ge=0, le=100)  # across, along the span at the hinge line
    heat_sink: HeatSink | None = None
    allowed_recession_mm: float | None = Field(None, gt=0, le=500)  # of the leading edge
    servo_torque_nm: float | None = Field(None, gt=0, le=1000)  # rated, at the vane's shaft

    @field_validator(*HELD_AGAINST)
    @classmethod
    def fits_the_rest(cls, value: float, info: ValidationInfo) -> float:
        bound, other, why = HELD_AGAINST[str(info.field_name)]
        limit = info.data.get(other)
        if limit is not None and (value > limit or (bound == "under" and value == limit)):
            refuse(value, f"must be {bound} {other}, {limit:g}: {why}")
        return value

    @field_validator("trailing_edge_thickness_mm", "shaft_hole_mm")
    @classmethod
    def leaves_something(cls, value: float, info: ValidationInfo) -> float:
        root_mm, tip_mm, thickness_mm, hinge_mm = (
            info.data.get(key)
            for key in ("root_chord_mm", "tip_chord_mm", "thickness_mm", "hinge_line_mm")
        )
        if root_mm is None or tip_mm is None or thickness_mm is None or hinge_mm is None:
            return value
        if info.field_name == "shaft_hole_mm":
            # As a double wedge is at the hinge line; a biconvex section is thicker there.
            share = 1.0 - abs(2.0 * hinge_mm / root_mm - 1.0)
            limit, where = 0.8 * share * thickness_mm, "at the hinge line of the root"
        else:
            limit, where = 0.8 * thickness_mm * tip_mm / root_mm, "at the tip"
        if value > limit:
            refuse(value, f"must be at most {limit:.3g}, 0.8 of the thickness {where}")
        return value

    @field_validator("heat_sink")
    @classmethod
    def shaft_fits_the_root(cls, sink: HeatSink | None, info: ValidationInfo) -> HeatSink | None:
        root_mm = info.data.get("root_chord_mm")
        across_mm = 0.0 if sink is None else sink.shaft_diameter_mm
        if root_mm is not None and across_mm > root_mm:
            refuse(across_mm, f"shaft_diameter_mm must be at most root_chord_mm, {root_mm:g}")
        return sink

    @field_validator("leading_edge_radius_mm")
    @classmethod
    def nose_fits_the_tip(cls, leading_edge_radius_mm: float, info: ValidationInfo) -> float:
        root_mm, tip_mm, thickness_mm = (
            info.data.get(key) for key in ("root_chord_mm", "tip_chord_mm", "thickness_mm")
        )
        if root_mm is None or tip_mm is None or thickness_mm is None:
            return leading_edge_radius_mm
        tip_thickness_mm = thickness_mm * tip_mm / root_mm
        if leading_edge_radius_mm > LARGEST_NOSE * tip_thickness_mm:
            refuse(
                leading_edge_radius_mm,
                f"must be at most {LARGEST_NOSE:g} of the thickness at the tip,"
                f" {tip_thickness_mm:.3g} mm: no flank is left to carry it",
            )
        return leading_edge_radius_mm

    def chord_mm_at(self, station_mm: ArrayLike) -> Array:
        """Chord of the new vane at stations from the root."""
        share = np.asarray(station_mm) / self.span_mm
        return self.root_chord_mm + (self.tip_chord_mm - self.root_chord_mm) * share

    def outline_at(
        self, station_mm: float, recession_mm: float = 0.0, face_mm: float = 0.0
    ) -> Outline:
        """Section at a station, its nose receded and its faces thinned."""
        chord_m = 1e-3 * float(self.chord_mm_at(station_mm))
        share = self.thickness_mm / self.root_chord_mm
        return section_outline(
            self.section,
            round(chord_m, 9),
            round(chord_m * share, 9),
            1e-3 * self.leading_edge_radius_mm,
            round(1e-3 * recession_mm, 9),
            round(1e-3 * face_mm, 9),
            round(1e-3 * self.trailing_edge_thickness_mm, 9),
        )

    @property
    def largest_recession_mm(self) -> float:
        """Deepest recession the section model describes, at the shortest chord."""
        thickness_mm = self.thickness_mm * self.tip_chord_mm / self.root_chord_mm
        return 0.999 * largest_recession_m(self.tip_chord_mm, thickness_mm)

    @property
    def mean_chord_mm(self) -> float:
        """Chord in the middle of the part in the jet."""
        return float(self.chord_mm_at(0.5 * (self.root_station_mm + self.span_mm)))

    @property
    def root_station_mm(self) -> float:
        """Station at the exit's radius, where the part drawn into the jet begins."""
        return self.span_mm - self.immersed_span_mm

    def hot_gas(self, specific_heat_ratio: float) -> HotGas:
        return HotGas(self.chamber_temperature_k, 1e-3 * self.molar_mass_g_mol, specific_heat_ratio)


@dataclass(frozen=True)
class Strip:
    """A slice of the immersed span: its middle station, width, radius in the jet, section."""

    station_mm: float
    width_m: float
    radius_m: float
    outline: Outline


def strips(
    geometry: VaneGeometry,
    exit_radius_m: float,
    worn: WornEdge | None = None,
    count: int = STRIPS,
    core_radius_m: float = 0.0,
    edge_radius_m: float | None = None,
) -> list[Strip]:
    """Slices of the immersed part, cut also at worn stations and where the jet's core ends.

    `edge_radius_m` is where the jet's edge has moved to, the exit's radius unless given: less of
    the vane is in a narrower jet, and in a wider one as much more as the span has.
    """
    end = geometry.span_mm
    root_radius_m = exit_radius_m + 1e-3 * geometry.root_station_mm  # of the vane's root
    edge_m = exit_radius_m if edge_radius_m is None else edge_radius_m
    start = max(1e3 * (root_radius_m - edge_m), 0.0)
    breaks = [1e3 * (root_radius_m - core_radius_m)]
    if worn is not None:
        breaks.extend(worn.station_mm)
    inside = [mark for mark in breaks if start < mark < end]
    edges = np.unique(np.concatenate([np.linspace(start, end, count + 1), inside]))
    middles = 0.5 * (edges[1:] + edges[:-1])
    recession = np.zeros_like(middles) if worn is None else worn.at(middles)
    return [
        Strip(
            float(middle),
            1e-3 * float(width),
            root_radius_m - 1e-3 * float(middle),
            geometry.outline_at(float(middle), float(depth), 0.0 if worn is None else worn.face_mm),
        )
        for middle, width, depth in zip(middles, np.diff(edges), recession, strict=True)
    ]


def vane_volume_m3(geometry: VaneGeometry, worn: WornEdge | None = None) -> float:
    """Volume of one vane; only the part in the jet is worn."""
    inside = sum(s.width_m * s.outline.area_m2 for s in strips(geometry, 1.0, worn))
    outside_mm = geometry.root_station_mm
    middles = outside_mm * (np.arange(STRIPS) + 0.5) / STRIPS
    outside = sum(
        1e-3 * outside_mm / STRIPS * geometry.outline_at(m).area_m2 for m in middles if m > 0.0
    )
    return inside + outside


def jet_for(geometry: VaneGeometry, engine: NozzleFields) -> Jet:
    """The jet the vane stands in. GeometryError where [engine] lacks a key; GasError as there."""
    keys = ("throat_diameter_mm", "expansion_ratio", "specific_heat_ratio")
    missing = [f"engine.{key}" for key in keys if getattr(engine, key) is None]
    if missing:
        raise GeometryError(
            [f"{', '.join(missing)} must be given where forces come from [vanes.geometry]"]
        )
    assert engine.throat_diameter_mm and engine.expansion_ratio and engine.specific_heat_ratio
    return jet_from_nozzle(
        1e5 * engine.chamber_pressure_bar,
        1e-3 * engine.throat_diameter_mm,
        engine.expansion_ratio,
        engine.specific_heat_ratio,
        1e5 * geometry.ambient_pressure_bar,
    )
