"""[vanes.geometry]: the drawing of one vane, and what makes a drawing impossible.

The leading edge is straight and square to the engine axis; the trailing edge takes the taper.
The part in the jet is the tip side, from the jet's edge towards the engine axis. Stations count
from the root along the span.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import Field, model_validator

from mixer.ground.files import InputError
from mixer.ground.gas import Jet, jet_from_nozzle
from mixer.ground.hot_gas import HotGas
from mixer.ground.outline import Outline, largest_recession_m, section_outline
from mixer.ground.section import Section

FloatArray = NDArray[np.float64]

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


@dataclass(frozen=True)
class WornEdge:
    """How far the leading edge has receded, at stations along the span.

    `station_mm`, `recession_mm` (n,); straight between stations, the end values beyond.
    """

    station_mm: FloatArray
    recession_mm: FloatArray

    def at(self, station_mm: ArrayLike) -> FloatArray:
        return np.interp(np.asarray(station_mm, float), self.station_mm, self.recession_mm)


class VaneGeometry(Section):
    """One vane as drawn. All four are alike; lengths in mm."""

    span_mm: float = Field(gt=0, le=1000)
    root_chord_mm: float = Field(gt=0, le=1000)
    tip_chord_mm: float = Field(gt=0, le=1000)
    thickness_mm: float = Field(gt=0, le=200)  # at the root; its share of the chord is constant
    section: Literal["double-wedge", "biconvex"]
    leading_edge_radius_mm: float = Field(ge=0, le=100)
    hinge_line_mm: float = Field(gt=0, le=1000)  # behind the leading edge
    immersed_span_mm: float = Field(gt=0, le=1000)  # of the span, from the tip
    distance_behind_exit_mm: float = Field(ge=0, le=1000)  # of the leading edge
    ambient_pressure_bar: float = Field(1.01325, ge=0, le=2)
    chamber_temperature_k: float = Field(3000.0, gt=500, le=5000)
    molar_mass_g_mol: float = Field(23.0, gt=1, le=60)
    material: Literal["graphite", "copper", "tungsten", "molybdenum"] = "graphite"
    allowed_recession_mm: float | None = Field(None, gt=0, le=500)  # of the leading edge
    servo_torque_nm: float | None = Field(None, gt=0, le=1000)  # rated, at the vane's shaft

    @model_validator(mode="after")
    def _possible(self) -> "VaneGeometry":
        problems = self._problems()
        if problems:
            raise ValueError("; ".join(problems))
        return self

    def _problems(self) -> list[str]:
        problems = []
        if self.thickness_mm >= self.root_chord_mm:
            problems.append(
                f"thickness_mm = {self.thickness_mm:g} is over the chord,"
                f" root_chord_mm = {self.root_chord_mm:g}: a vane is thinner than it is long"
            )
        if self.tip_chord_mm > self.root_chord_mm:
            problems.append(
                f"tip_chord_mm = {self.tip_chord_mm:g} is over root_chord_mm ="
                f" {self.root_chord_mm:g}: a vane does not widen towards the tip"
            )
        tip_thickness_mm = self.thickness_mm * self.tip_chord_mm / self.root_chord_mm
        if self.leading_edge_radius_mm > 0.48 * min(tip_thickness_mm, self.thickness_mm):
            problems.append(
                f"leading_edge_radius_mm = {self.leading_edge_radius_mm:g} must be at most 0.48 of"
                f" the thickness at the tip, {tip_thickness_mm:.3g} mm"
            )
        if self.hinge_line_mm >= self.root_chord_mm:
            problems.append(
                f"hinge_line_mm = {self.hinge_line_mm:g} lies behind the root chord,"
                f" {self.root_chord_mm:g} mm"
            )
        if self.immersed_span_mm > self.span_mm:
            problems.append(
                f"immersed_span_mm = {self.immersed_span_mm:g} is over span_mm = {self.span_mm:g}"
            )
        return problems

    def chord_mm_at(self, station_mm: ArrayLike) -> FloatArray:
        """Chord of the new vane at stations from the root."""
        share = np.asarray(station_mm) / self.span_mm
        return self.root_chord_mm + (self.tip_chord_mm - self.root_chord_mm) * share

    def outline_at(self, station_mm: float, recession_mm: float = 0.0) -> Outline:
        """Section at a station, its nose receded."""
        chord_m = 1e-3 * float(self.chord_mm_at(station_mm))
        share = self.thickness_mm / self.root_chord_mm
        return section_outline(
            self.section,
            round(chord_m, 9),
            round(chord_m * share, 9),
            1e-3 * self.leading_edge_radius_mm,
            round(1e-3 * recession_mm, 9),
        )

    @property
    def largest_recession_mm(self) -> float:
        """Deepest recession the section model describes, at the shortest chord."""
        thickness_mm = self.thickness_mm * self.tip_chord_mm / self.root_chord_mm
        return 0.999 * largest_recession_m(self.tip_chord_mm, thickness_mm)

    @property
    def root_station_mm(self) -> float:
        """Station at the jet's edge, where the immersed part begins."""
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
    jet_radius_m: float,
    worn: WornEdge | None = None,
    count: int = STRIPS,
    core_radius_m: float = 0.0,
) -> list[Strip]:
    """Slices of the immersed part, cut also at worn stations and where the jet's core ends."""
    start, end = geometry.root_station_mm, geometry.span_mm
    breaks = [start + 1e3 * (jet_radius_m - core_radius_m)]
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
            jet_radius_m - 1e-3 * float(middle - start),
            geometry.outline_at(float(middle), float(depth)),
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


def refuse_impossible(geometry: VaneGeometry, jet: Jet, travel_deg: Sequence[float]) -> None:
    """GeometryError for vanes that do not fit into the jet or strike each other.

    The worst case for neighbours a quarter turn apart is one turned each way: the corners of
    their tips then meet where the tip radius equals the corner's throw to the side.
    """
    radius_mm, immersed = 1e3 * jet.exit_radius_m, geometry.immersed_span_mm
    if immersed >= 2.0 * radius_mm or geometry.thickness_mm >= 2.0 * radius_mm:
        raise GeometryError(
            [
                f"the vane is wider than the jet: {immersed:g} mm of span and"
                f" {geometry.thickness_mm:g} mm of thickness against a jet of"
                f" {2.0 * radius_mm:.3g} mm across"
            ]
        )
    largest = np.radians(max(abs(angle) for angle in travel_deg))
    ahead = geometry.hinge_line_mm
    behind = max(geometry.tip_chord_mm - geometry.hinge_line_mm, 0.0)
    tip_thickness = geometry.thickness_mm * geometry.tip_chord_mm / geometry.root_chord_mm
    throw = max(max(ahead, behind) * np.sin(largest), 0.5 * tip_thickness)
    gap = radius_mm - immersed
    if gap <= throw:
        raise GeometryError(
            [
                "the vanes collide at the centre line:"
                f" immersed_span_mm = {immersed:g} leaves {gap:.3g} mm from tip to axis,"
                f" and within the travel a tip's corner swings {throw:.3g} mm to the side;"
                f" immerse under {radius_mm - throw:.3g} mm, or cut the travel"
            ]
        )
