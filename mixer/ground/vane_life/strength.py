"""Will the vane break? Bending stress where it leaves the jet and at its root, against strength.

The vane is a cantilever: the normal force of its part in the jet bends the sections outside. Beam
theory; the shaft hole runs along the middle of the section. Graphite breaks by chance (Weibull):
what counts is how likely, not a limit. Cold graphite is the weakest, about half of what it is at
2500 °C (maker data), so the cold strength holds; metals are taken at the vane's mean temperature.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import gamma as gamma_function

import numpy as np

from mixer.ground.drawn_vane.geometry import VaneGeometry, WornEdge
from mixer.ground.drawn_vane.outline import Outline
from mixer.ground.drawn_vane.vane_forces import VaneCurve
from mixer.ground.inputs.arrays import Array

RARE = 1e-3  # chance of breaking, per vane, that may pass


@dataclass(frozen=True)
class Strength:
    """Mean strength in bending over temperature, its scatter, and what heat shock it stands.

    `weibull` is the modulus; `shock_w_m` R' = k s (1-nu)/(E a) from tensile strength, cold.
    """

    at_k: tuple[float, ...]
    mean_mpa: tuple[float, ...]
    weibull: float
    shock_w_m: float
    source: str

    def mean_at(self, temperature_k: float) -> float:
        return float(np.interp(temperature_k, self.at_k, self.mean_mpa))

    def chance(self, stress_mpa: float, temperature_k: float) -> float:
        """Chance that a part breaks under a stress: Weibull about the mean strength."""
        scale = self.mean_at(temperature_k) / gamma_function(1.0 + 1.0 / self.weibull)
        return float(-np.expm1(-((max(stress_mpa, 0.0) / scale) ** self.weibull)))


def shock_resistance_w_m(
    conductivity: float, strength_mpa: float, poisson: float, modulus_gpa: float, expansion: float
) -> float:
    """R' = k s (1 - nu) / (E alpha) (Kingery 1955 [from memory])."""
    return conductivity * strength_mpa * (1.0 - poisson) / (1e3 * modulus_gpa * expansion)


STRENGTHS = {
    "isomoulded graphite": Strength(
        (300.0,), (39.0,), 10.0, shock_resistance_w_m(120.0, 25.0, 0.14, 9.8, 4.5e-6),
        "fine isomoulded grade: 39 MPa in bending, 25 in tension, Weibull modulus 8 to 20, taken"
        " as 10 (from memory)",
    ),
    "moulded graphite": Strength(
        (300.0,), (28.0,), 8.0, shock_resistance_w_m(120.0, 20.0, 0.14, 11.2, 4.5e-6),
        "vibromoulded grade: 28 MPa in bending, 20 in tension, Weibull modulus taken as 8 (from"
        " memory)",
    ),
    "copper": Strength(
        (300.0, 373.0, 800.0, 1300.0), (48.0, 45.6, 25.0, 5.0), 20.0,
        shock_resistance_w_m(401.0, 48.0, 0.34, 117.0, 17e-6),
        "annealed: yield 48 MPa cold, 0.95 of it at 100 °C (handbook); 25 at 800 K and 5 at 1300 K"
        " a guess",
    ),
    "tungsten": Strength(
        (300.0, 773.0, 1923.0, 3000.0), (980.0, 517.0, 172.0, 40.0), 10.0,
        shock_resistance_w_m(174.0, 980.0, 0.28, 400.0, 4.3e-6),
        "980 MPa cold, 517 at 500 °C, 172 at 1650 °C (material data sheets); 40 at 3000 K a guess."
        " Cold tungsten is brittle",
    ),
    "molybdenum": Strength(
        (300.0, 773.0, 1273.0, 2600.0), (827.0, 241.0, 138.0, 20.0), 10.0,
        shock_resistance_w_m(138.0, 827.0, 0.321, 317.0, 4.9e-6),
        "lower ends of 827–1379 MPa cold, 241–448 at 500 °C, 138–207 at 1000 °C (maker data); 20"
        " at 2600 K a guess",
    ),
}  # fmt: skip


def strength_of(geometry: VaneGeometry) -> Strength:
    name = geometry.material
    return STRENGTHS[f"{geometry.graphite_grade} graphite" if name == "graphite" else name]


def bending_modulus_m3(outline: Outline, hole_m: float = 0.0) -> float:
    """Section modulus against bending across the faces: I over the half thickness.

    I = 2/3 of the integral of y^3 along the chord, less that of a round hole on the chord line.
    A panel is straight, and so is the nose taken to be, from its tip to the point of touch.
    """
    x = np.concatenate([[outline.nose_x_m], outline.x_m])
    y = np.concatenate([[0.0], outline.y_m])
    low, high = y[:-1], y[1:]
    cubes = 0.25 * (low**3 + low**2 * high + low * high**2 + high**3)
    second_m4 = 2.0 / 3.0 * float(np.sum(np.diff(x) * cubes)) - np.pi * hole_m**4 / 64.0
    return second_m4 / float(y.max())


@dataclass(frozen=True)
class Bending:
    """Stress at one place of the vane at burn times (m,), and what it can stand.

    `chance` (m,) of breaking there; `margin` mean strength over stress at its worst.
    """

    place: str
    station_mm: float
    stress_mpa: Array
    mean_strength_mpa: Array
    chance: Array

    @property
    def margin(self) -> float:
        return float(np.min(self.mean_strength_mpa / self.stress_mpa))

    @property
    def worst_chance(self) -> float:
        return float(self.chance.max())


def bending(
    geometry: VaneGeometry,
    curves: Sequence[VaneCurve],
    edges: Sequence[WornEdge],
    mean_k: Array,
) -> list[Bending]:
    """Bending at the jet's edge and at the root, at the times the curves and edges are of.

    `mean_k` (m,): the vane's mean temperature then. The root is outside the jet and keeps its
    section; at the jet's edge the section is as worn as the vane.
    """
    strength = strength_of(geometry)
    hole_m = 1e-3 * geometry.shaft_hole_mm
    exit_mm = 1e3 * curves[0].jet.exit_radius_m
    cold = geometry.material == "graphite"
    found = []
    for place in ("jet edge", "root"):
        stresses, stations = [], []
        for curve, edge in zip(curves, edges, strict=True):
            acts_mm = geometry.root_station_mm + exit_mm - 1e3 * curve.roll_arm_m
            station = 0.0
            outline = geometry.outline_at(0.0)
            if place == "jet edge":
                station = max(geometry.root_station_mm + exit_mm - 1e3 * curve.edge_radius_m, 0.0)
                outline = geometry.outline_at(station, float(edge.at(station)), edge.face_mm)
            moment_nm = float(np.max(np.abs(curve.normal_force_n))) * 1e-3 * (acts_mm - station)
            stresses.append(1e-6 * moment_nm / bending_modulus_m3(outline, hole_m))
            stations.append(station)
        at_k = [300.0 if cold else float(t) for t in mean_k]
        found.append(
            Bending(
                place,
                stations[0],
                np.array(stresses),
                np.array([strength.mean_at(t) for t in at_k]),
                np.array([strength.chance(s, t) for s, t in zip(stresses, at_k, strict=True)]),
            )
        )
    return found


def shock_merit(geometry: VaneGeometry, flux_w_m2: float, half_m: float) -> float:
    """Heat the material stands over what ignition brings: 3 R' over flux times half thickness.

    A plate heated on both faces is at most flux half/(3k) hotter on its faces than in the mean;
    a figure of merit to compare drawings by, not a stress.
    """
    return 3.0 * strength_of(geometry).shock_w_m / (flux_w_m2 * half_m)
