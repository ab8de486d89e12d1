"""The nozzle in the air around it: thrust that grows with height, and where the flow separates.

thrust_n stands for the ambient pressure of the drawing, or sea level. As the rocket climbs the
ambient no longer pushes back on the exit: A_e (p_ref − p_a) more thrust (Sutton & Biblarz, Rocket
Propulsion Elements, the thrust equation [memory]). Where the exit pressure falls under about 0.4 of
the ambient the flow leaves the wall (Summerfield's rule [memory]): the jet wanders, and what vanes
give in it is nobody's to promise.
"""

from dataclasses import dataclass

import numpy as np

from hil.air.atmosphere import SEA_LEVEL_PA, pressure_pa
from mixer.ground.drawn_vane.gas import exit_mach, pressure_ratio
from mixer.ground.inputs.arrays import Array
from mixer.ground.vehicle.vehicle import Vehicle

SEPARATION = 0.4  # of the ambient pressure; from 0.25 to 0.4 by nozzle and author [memory]
PA_PER_BAR = 1e5
_ALTITUDE_M = np.arange(-1000.0, 86001.0, 5.0)
_PRESSURE_PA = pressure_pa(_ALTITUDE_M)


@dataclass(frozen=True)
class Nozzle:
    """`exit_area_m2` and `exit_share`, exit pressure over chamber pressure; None where the vehicle
    file does not tell throat, expansion ratio or ratio of specific heats.
    """

    exit_area_m2: float | None
    exit_share: float | None
    reference_pa: float

    def more_thrust_n(self, share: Array, altitude_m: Array) -> Array:
        """Thrust (N,) beyond that at the reference ambient, at chamber pressures over the reference
        and altitudes; with less than the whole flow, less of it.
        """
        if self.exit_area_m2 is None:
            return np.zeros_like(share)
        ambient_pa = np.interp(altitude_m, _ALTITUDE_M, _PRESSURE_PA)
        return self.exit_area_m2 * (self.reference_pa - ambient_pa) * np.minimum(share, 1.0)

    def separation_bar(self, altitude_m: float) -> float | None:
        """The chamber pressure under which the flow separates at an altitude; None: not known."""
        if self.exit_share is None:
            return None
        ambient_pa = float(np.interp(altitude_m, _ALTITUDE_M, _PRESSURE_PA))
        return SEPARATION * ambient_pa / self.exit_share / PA_PER_BAR


def nozzle_of(vehicle: Vehicle) -> Nozzle:
    """The nozzle as far as the vehicle file tells of it."""
    engine, drawing = vehicle.engine, vehicle.vanes.geometry
    reference_pa = SEA_LEVEL_PA
    if drawing is not None:
        reference_pa = PA_PER_BAR * drawing.ambient_pressure_bar
    area_m2 = share = None
    if engine.expansion_ratio is not None and engine.throat_diameter_mm is not None:
        throat_m = 1e-3 * engine.throat_diameter_mm
        area_m2 = 0.25 * np.pi * throat_m**2 * engine.expansion_ratio
    if engine.expansion_ratio is not None and engine.specific_heat_ratio is not None:
        gamma = engine.specific_heat_ratio
        share = float(pressure_ratio(exit_mach(engine.expansion_ratio, gamma), gamma))
    return Nozzle(area_m2, share, reference_pa)
