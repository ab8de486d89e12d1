"""The servos of a simulated flight: a first-order lag behind a slew limit, four in each flight.

Light enough for thousands of flights. The servo bench has its own, detailed model of one servo.
"""

import numpy as np
from numpy.typing import NDArray

from hil.truth import VANES, Truth
from mixer.ground.curves import Servo
from mixer.ground.vehicle import Vehicle

Array = NDArray[np.float64]


class Actuators:
    """Pulses in, vane rates out. `held_deg` (4, N) is where a jammed vane is driven; NaN: free."""

    def __init__(self, vehicle: Vehicle, truth: Truth, lag_s: float):
        slew_deg_s = np.array([[servo.slew_deg_s] for servo in vehicle.servos])
        self.slew_deg_s = slew_deg_s * truth.servo_slew_alike
        self.lag_s = lag_s * truth.servo_lag_alike
        self.held_deg = np.full((VANES, truth.flights), np.nan)
        self._offset_deg = truth.vane_angle_deg
        self._tables = [pulse_to_angle(servo, vehicle) for servo in vehicle.servos]

    def target_deg(self, pulse_us: Array) -> Array:
        """The true angle (4, N) that each servo drives its vane to for a pulse (4, N)."""
        wanted = np.array(
            [np.interp(row, *table) for row, table in zip(pulse_us, self._tables, strict=True)]
        )
        return np.where(np.isnan(self.held_deg), wanted + self._offset_deg, self.held_deg)

    def rate_deg_s(self, target_deg: Array, angle_deg: Array) -> Array:
        """How fast each vane turns: towards its target, no faster than the slew."""
        wanted = (target_deg - angle_deg) / self.lag_s
        return np.minimum(np.maximum(wanted, -self.slew_deg_s), self.slew_deg_s)


def pulse_to_angle(servo: Servo, vehicle: Vehicle) -> tuple[Array, Array]:
    """Pulses in µs, rising, and the angles they stand for; beyond the ends the end holds."""
    if servo.table is not None:
        pulse_us, angle_deg = servo.table.pulse_us, servo.table.deflection_deg
    else:
        farthest_deg = float(np.abs(vehicle.vanes.travel_deg).max()) + 5.0
        angle_deg = np.array([-farthest_deg, farthest_deg])
        pulse_us = servo.pulse_us(angle_deg)
    rising = np.argsort(pulse_us)
    return pulse_us[rising], angle_deg[rising]
