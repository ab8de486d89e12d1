"""The servos of a simulated flight: a first-order lag behind a slew limit, four in each flight.

Before it lie the frames in which pulses leave the board and the latency that the bench measured,
behind it the play that the bench measured: the vehicle file's [servos]. The latency that the bench
tells holds the wait for a frame too, so half a frame is taken off it. Light enough for thousands of
flights. The servo bench has its own, detailed model of one servo.
"""

import numpy as np

from hil.rocket.dispersion import MOST_DEVIATIONS, Truth
from hil.rocket.pulse_line import PulseLine
from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.vehicle.curves import Servo
from mixer.ground.vehicle.vehicle import Vehicle


class Actuators:
    """Pulses in, servo rates and vane angles out. `held_deg` (4, N) is where a jammed vane is
    driven; NaN: free. `shortest_lag_s`: of any flight that can be drawn.
    """

    def __init__(self, vehicle: Vehicle, truth: Truth, lag_s: float):
        slew_deg_s = np.array([[servo.slew_deg_s] for servo in vehicle.servos])
        self.slew_deg_s = slew_deg_s * truth.servo_slew_alike
        self.lag_s = lag_s * truth.servo_lag_alike
        self.held_deg = np.full((VANES, truth.flights), np.nan)
        spread = 0.01 * vehicle.needs_rocket().dispersion.servo_lag_percent
        self.shortest_lag_s = lag_s * (1.0 - MOST_DEVIATIONS * spread)
        described = vehicle.servo_table
        self.frame_us = round(1e6 / described.pulse_hz)
        latency_ms = np.zeros(VANES) if described.latency_ms is None else described.latency_ms
        delay_us = np.maximum(1e3 * latency_ms - 0.5 * self.frame_us, 0.0)[:, None]
        backlash_deg = np.zeros(VANES) if described.backlash_deg is None else described.backlash_deg
        self.play_deg = 0.5 * backlash_deg[:, None]  # either way
        self._line = PulseLine(
            self.frame_us, truth.frame_phase_us, delay_us, truth.vane_angle_deg.copy()
        )
        self._offset_deg = truth.vane_angle_deg
        self._tables = [pulse_to_angle(servo, vehicle) for servo in vehicle.servos]

    def target_deg(self, pulse_us: Array) -> Array:
        """The true angle (4, N) that a pulse (4, N) stands for, or a jammed vane is driven to."""
        wanted = np.array(
            [np.interp(row, *table) for row, table in zip(pulse_us, self._tables, strict=True)]
        )
        return np.where(np.isnan(self.held_deg), wanted + self._offset_deg, self.held_deg)

    def driven_to_deg(self, target_deg: Array, from_us: int, lasting_us: int) -> Array:
        """What the servos drive to (4, N), on the mean of a step with these angles wanted, by the
        frames and after the latency. A jam waits for neither.
        """
        self._line.send(target_deg, from_us, lasting_us)
        mean_deg = self._line.mean_deg(from_us, lasting_us)
        return np.where(np.isnan(self.held_deg), mean_deg, self.held_deg)

    def vane_deg(self, servo_deg: Array, last_deg: Array) -> Array:
        """The vanes (4, N), within the play of their servos: as they stood, or taken along."""
        play_deg = np.where(np.isnan(self.held_deg), self.play_deg, 0.0)
        return np.minimum(np.maximum(last_deg, servo_deg - play_deg), servo_deg + play_deg)

    def rate_deg_s(self, target_deg: Array, angle_deg: Array) -> Array:
        """How fast each servo turns: towards its target, no faster than the slew."""
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
