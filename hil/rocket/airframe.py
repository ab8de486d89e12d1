"""What the air does to the rocket: drag, the normal force that fins restore with, roll damping.

Slopes are constants of the vehicle file: no Mach number, no stall, no body vortices. All of it is
proportional to air density, so it fades as the rocket climbs.
"""

from dataclasses import dataclass

import numpy as np

from hil.air.atmosphere import density_kg_m3
from hil.rocket.dispersion import Truth
from mixer.ground.inputs.arrays import Array
from mixer.ground.vehicle.rocket import RocketSection

_ALTITUDE_M = np.arange(-1000.0, 86001.0, 5.0)  # straight lines between: 5e-5 of density at most
_DENSITY_KG_M3 = density_kg_m3(_ALTITUDE_M)


def air_density_kg_m3(altitude_m: Array) -> Array:
    """Density from a fine table of the standard atmosphere."""
    return np.interp(altitude_m, _ALTITUDE_M, _DENSITY_KG_M3)


@dataclass(frozen=True)
class AirLoads:
    """Force and moment about the centre of gravity in body axes, both (3, N)."""

    force_n: Array
    moment_nm: Array


class Airframe:
    """The outside of the rocket, for N flights."""

    def __init__(self, rocket: RocketSection, truth: Truth):
        area_m2 = 0.25 * np.pi * rocket.diameter_m**2
        alike = truth.aerodynamics_alike[0]
        self._normal_m2 = area_m2 * rocket.normal_force_per_rad * alike
        self._drag_m2 = area_m2 * rocket.drag_coefficient * alike
        self._fins_m3 = (
            rocket.fin_count
            * rocket.one_fin_m2
            * rocket.fin_lift_per_rad
            * rocket.one_fin_arm_m
            * alike
        )
        self._fin_arm_m = rocket.one_fin_arm_m
        self._fin_cant_rad = truth.fin_cant_rad[0]
        self._centre_of_pressure_m = rocket.centre_of_pressure_m + truth.cp_shift_m[0]

    def loads(self, density: Array, air_speed: Array, rate_rad_s: Array, cg_m: Array) -> AirLoads:
        """Loads at density (N,), velocity through the air (3, N) in body axes, rates, cg (N,).

        The cross-flow is taken at the centre of pressure, turning included, so that the normal
        force also damps pitch and yaw.
        """
        u, v, w = air_speed
        p, q, r = rate_rad_s
        ahead_m = self._centre_of_pressure_m - cg_m
        half_flow = 0.5 * density * np.sqrt(u * u + v * v + w * w)
        across = -half_flow * self._normal_m2
        along = -half_flow * self._drag_m2 * u
        side_y, side_z = across * (v + r * ahead_m), across * (w - q * ahead_m)
        roll = half_flow * self._fins_m3 * (u * self._fin_cant_rad - self._fin_arm_m * p)
        force = np.array([along, side_y, side_z])
        moment = np.array([roll, -ahead_m * side_z, ahead_m * side_y])
        return AirLoads(force, moment)
