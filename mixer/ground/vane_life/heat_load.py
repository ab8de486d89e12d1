"""Heat from the jet into a vane: coefficients on its edge and faces, and its section as a bar.

All heat transfer scales with chamber pressure to the power 0.8 (Bartz, Jet Propulsion 27, 1957,
49-51 [from memory]).
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from mixer.ground.drawn_vane import gas
from mixer.ground.drawn_vane.geometry import NozzleFields, VaneGeometry, jet_for
from mixer.ground.drawn_vane.hot_gas import HotGas
from mixer.ground.drawn_vane.jet import FlowState
from mixer.ground.drawn_vane.outline import section_outline
from mixer.ground.drawn_vane.profile_forces import flank_pressures
from mixer.ground.inputs.arrays import Array
from mixer.ground.vane_life.conduction import Bar
from mixer.ground.vane_life.materials import Factor

PRESSURE_EXPONENT = 0.8
CELLS = 36
WORN_OUTLINES, ROWS_BETWEEN = 40, 16  # depths of recession drawn, and rows of shapes to each step
LEAST_NOSE_RADIUS_M = 2e-4  # a sharper edge burns or melts to this at once
WALL_OVER_TOTAL = 0.5  # wall temperature at which Bartz's property factor is taken


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


def stagnation_coefficient_w_m2_k(stream: FlowState, hot: HotGas, radius_m: float) -> float:
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

    `nose_times_root_radius` times radius^-0.5 is the coefficient on the edge's stagnation line;
    `face_at_metre` times (metres behind the edge)^-0.2 that on a face at the stream's pressure.
    """

    nose_times_root_radius: float
    face_at_metre: float
    nose_gas_k: float
    face_gas_k: float
    gas_heat_j_kg_k: float
    stream: FlowState

    def nose_w_m2_k(self, radius_m: float | Array) -> Array:
        return self.nose_times_root_radius / np.sqrt(radius_m)

    def face_w_m2_k(self, behind_m: Array, pressure_ratio: Array) -> Array:
        """Coefficient at a distance behind the edge, under pressure over the stream's."""
        return self.face_at_metre * behind_m**-0.2 * pressure_ratio**PRESSURE_EXPONENT


def heat_load(geometry: VaneGeometry, engine: NozzleFields) -> HeatLoad:
    """Heat load at the reference chamber pressure; scales with pressure to the power 0.8.

    Faces: Bartz's coefficient at the exit, carried from the nozzle's diameter to the distance
    along a plate with the fifth-root law both correlations share (0.0296 against 0.026).
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
    return HeatLoad(
        stagnation_coefficient_w_m2_k(stream, hot, 1.0),
        at_exit * 0.0296 / 0.026 * (2.0 * jet.exit_radius_m) ** 0.2,
        hot.temperature_k,
        hot.recovery_temperature_k(stream.mach),
        hot.specific_heat_j_kg_k,
        stream,
    )


class ChordSection:
    """The vane's middle section, edge-on to the jet, as a bar along its chord.

    For any depth of recession; the pressure on its flanks is that of the new section. Its shape
    hangs on the depth alone: it is drawn once, as rows of a table, and taken straight between two,
    0.05 mm apart on a vane of 70 mm. Drawn anew each time, it took half of the time of heating.
    """

    def __init__(self, geometry: VaneGeometry, load: HeatLoad) -> None:
        self.load = load
        station_mm = 0.5 * (geometry.root_station_mm + geometry.span_mm)
        drawn = geometry.outline_at(station_mm)
        self.chord_m, self.thickness_m = drawn.chord_m, drawn.thickness_m
        least = min(LEAST_NOSE_RADIUS_M, 0.4 * self.thickness_m)
        radius_m = max(drawn.nose_radius_m, least)
        self.edge_share = np.linspace(0.0, 1.0, CELLS + 1) ** 2.0
        self.no_flux_w = np.zeros(CELLS)
        self.depths_m = np.linspace(0.0, 1e-3 * geometry.largest_recession_mm, WORN_OUTLINES)
        worn = [
            section_outline(
                geometry.section,
                self.chord_m,
                self.thickness_m,
                radius_m,
                round(float(d), 9),
                0.0,
                1e-3 * geometry.trailing_edge_thickness_mm,
            )
            for d in self.depths_m
        ]
        self.radii_m = np.array([o.nose_radius_m for o in worn])
        self.touches_m = np.array([o.x_m[0] - o.nose_x_m for o in worn])
        self.flank_x_m, self.flank_y_m = worn[0].x_m, worn[0].y_m
        stream = load.stream
        pressure_ratio, _ = flank_pressures(worn[0].slope_rad, stream.mach, stream.gamma)
        self.pressed = pressure_ratio**PRESSURE_EXPONENT
        rows = np.linspace(0.0, self.depths_m[-1], ROWS_BETWEEN * (WORN_OUTLINES - 1) + 1)
        shapes = self._shapes(rows[:, None])
        ends = np.cumsum([0] + [part.shape[1] for part in shapes])
        self.columns = [slice(*pair) for pair in pairwise(ends)]
        self.row_m, self.rows = float(rows[1]), np.concatenate(shapes, axis=1)
        self.rises = np.diff(self.rows, axis=0)

    def radius_m(self, recession_m: float | Array) -> Array:
        return np.interp(np.asarray(recession_m), self.depths_m, self.radii_m)

    def bar(self, recession_m: float | Array, film: Factor = 1.0, temperature: Factor = 1.0) -> Bar:
        """Cells from the nose to the trailing edge, fine at the nose; one bar each for (m, 1).

        `film` and `temperature` are factors on the films and on the temperatures of the gas.
        """
        place = np.atleast_1d(recession_m) / self.row_m
        row = np.minimum(place[..., 0].astype(int), len(self.rises) - 1)
        shape = self.rows[row] + (place - row[..., None]) * self.rises[row]
        edge, section, volume, surface, behind, stagnation, arc, flank = (
            shape[..., columns] for columns in self.columns
        )
        # The pressure is looked up each time: from panel to panel it leaps.
        panel = np.searchsorted(self.flank_x_m, behind, side="right") - 1
        pressed = self.pressed.take(panel, mode="clip")
        film_nose, film_faces = np.maximum(stagnation, arc * pressed), flank * pressed
        bare_w_k = film_nose + film_faces
        gas_w = film_nose * self.load.nose_gas_k + film_faces * self.load.face_gas_k
        return Bar(
            edge_m=edge,
            section_m2=section,
            volume_m3=volume,
            film_w_k=film * bare_w_k,
            gas_k=temperature * gas_w / bare_w_k,
            flux_w=self.no_flux_w,
            surface_m2=surface,
        )

    def _shapes(self, recession_m: Array) -> tuple[Array, ...]:
        """What `bar` puts bars together from, at (m, 1) depths.

        Edges, sections, volumes and surfaces; where along the drawn chord a cell feels the
        pressure; film times surface on the nose's stagnation line, and on its arc and on the
        flanks were they faces at the stream's pressure.
        """
        radius = self.radius_m(recession_m)
        touch = np.interp(recession_m, self.depths_m, self.touches_m)
        edge = (self.chord_m - recession_m) * self.edge_share
        on_nose = np.minimum(edge, touch)
        # Nose: area of a cap of the circle; flanks: trapezia.
        back = np.maximum(radius - on_nose, -radius)
        angle = np.arccos(back / radius)
        rise = np.sqrt(np.maximum(radius**2 - back**2, 0.0))
        cap = radius**2 * angle - back * rise
        height = np.interp(edge + recession_m, self.flank_x_m, self.flank_y_m)
        at_touch = np.interp(touch + recession_m, self.flank_x_m, self.flank_y_m)
        flank_height = np.where(edge > touch, height, at_touch)
        on_arc, on_flank = radius * np.diff(angle), np.diff(np.maximum(edge, touch))
        behind = np.maximum(0.5 * (edge[:, 1:] + edge[:, :-1]), touch)
        # The arc is most heated on its stagnation line.
        nose, face = self.load.nose_w_m2_k(radius), self.load.face_w_m2_k(behind, np.array(1.0))
        return (
            edge + recession_m,
            2.0 * np.where(edge < touch, rise, height),
            np.diff(cap) + on_flank * (flank_height[:, 1:] + flank_height[:, :-1]),
            2.0 * (on_arc + on_flank),
            behind + recession_m,
            2.0 * nose * radius * np.diff(np.sin(angle)),
            2.0 * face * on_arc,
            2.0 * face * on_flank,
        )
