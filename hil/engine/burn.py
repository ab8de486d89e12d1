"""The engine over its burn: thrust, propellant burned and burn load, as tables over burn time.

Chamber pressure and thrust rise straight over the start-up, follow the listed shares, and fall
straight to nothing over the tail-off. Every flight stretches the same tables in time and height.
"""

from dataclasses import dataclass

import numpy as np

from mixer.ground.inputs.arrays import Array
from mixer.ground.vehicle.vehicle import Problem, Vehicle, VehicleError

LOAD_EXPONENT = 0.8  # convective heat flux with chamber pressure, Bartz 1957
TABLE_STEP_S = 0.001


@dataclass(frozen=True)
class Burn:
    """Tables of one nominal burn; row k is k milliseconds after ignition."""

    time_s: Array
    share: Array  # thrust and chamber pressure over their reference values
    burned: Array  # propellant burned, 0..1
    load_s: Array  # burn load at the reference pressure
    impulse_s: float  # of the whole burn, over the reference thrust

    def share_at(self, time_s: Array) -> Array:
        """Thrust over its reference value; 0 before ignition and after the tail-off."""
        return np.interp(time_s, self.time_s, self.share, left=0.0, right=0.0)

    def burned_at(self, time_s: Array) -> Array:
        """Share of the propellant that has been burned."""
        return np.interp(time_s, self.time_s, self.burned)

    def burned_per_s_at(self, time_s: Array) -> Array:
        """How fast the propellant burns, shares of it a second of the nominal burn."""
        return self.share_at(time_s) / self.impulse_s

    def load_at(self, time_s: Array) -> Array:
        """Burn load so far, in seconds at the reference chamber pressure."""
        return np.interp(time_s, self.time_s, self.load_s)


def _running_integral(values: Array, step_s: float) -> Array:
    """Trapezium rule, one value per row."""
    slices = 0.5 * step_s * (values[1:] + values[:-1])
    return np.concatenate([[0.0], np.cumsum(slices)])


def make_burn(vehicle: Vehicle) -> Burn:
    """The tables of the vehicle's burn. VehicleError where the start-up outlasts it."""
    rocket = vehicle.needs_rocket()
    burn_time_s = vehicle.engine.burn_time_s
    if rocket.start_up_s >= burn_time_s:
        what = f"must be less than engine.burn_time_s, {burn_time_s:g}"
        problem = Problem("rocket.start_up_s", f"{rocket.start_up_s:g}", what)
        raise VehicleError(str(vehicle.path), [problem])
    end_s = burn_time_s + rocket.tail_off_s
    time_s = np.linspace(0.0, end_s, round(end_s / TABLE_STEP_S) + 1)
    share = np.interp(time_s, [0.0, rocket.start_up_s, burn_time_s, end_s], [0.0, 1.0, 1.0, 0.0])
    if rocket.thrust is not None:
        share = share * np.interp(time_s, rocket.thrust.time_s, rocket.thrust.share)
    step_s = float(time_s[1])
    impulse = _running_integral(share, step_s)
    load_s = _running_integral(share**LOAD_EXPONENT, step_s)
    return Burn(time_s, share, impulse / impulse[-1], load_s, float(impulse[-1]))
