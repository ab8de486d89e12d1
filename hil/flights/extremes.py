"""What is kept of every flight: the worst of each thing, and when it came.

Only the time between leaving the rail and the tail-off counts: before it the rail holds the
rocket, after it there is soon no jet to steer with.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hil.flights.primary_reach import PrimaryReach
from hil.rocket.rocket import POSITION, RATE, Rocket
from hil.steering.steering_block import Commands, Integers
from mixer.flight.layout import FLAG_NAMES
from mixer.ground.inputs.arrays import Array

ROLL = RATE.start


class Extreme:
    """The greatest of something in each flight, and when it was reached."""

    def __init__(self, flights: int):
        self.value = np.full(flights, -np.inf)
        self.time_s = np.full(flights, np.nan)

    def see(self, value: Array, time_s: float, counts: NDArray[np.bool_]) -> None:
        greater = counts & (value > self.value)
        self.value = np.where(greater, value, self.value)
        self.time_s = np.where(greater, time_s, self.time_s)


@dataclass(frozen=True)
class Glance:
    """One cycle as it is judged, (N,) each."""

    counts: NDArray[np.bool_]  # off the rail and before the tail-off
    cos_tilt: Array
    roll_rate_rad_s: Array
    used: Array  # share of the primary reach that the demand takes


class Tally:
    """Running extremes of N flights."""

    def __init__(self, rocket: Rocket):
        flights = rocket.truth.flights
        self._rocket = rocket
        self._reach = PrimaryReach(rocket.truth.cos_clocking, rocket.truth.sin_clocking)
        self.tilt = Extreme(flights)  # of −cos, which grows with the angle
        self.roll_rate = Extreme(flights)
        self.used = Extreme(flights)
        self.flagged = np.zeros((len(FLAG_NAMES), flights), np.int64)  # cycles
        self.cycles = np.zeros(flights, np.int64)
        self.frames_lost = np.zeros(flights, np.int64)
        self.height_m = np.zeros(flights)  # above the ground when the tail-off began

    def see(self, demand_mnm: Integers, heard: NDArray[np.bool_], commands: Commands) -> Glance:
        """Look at this cycle's demand and commands, before the rocket flies on."""
        rocket = self._rocket
        held = rocket.held_over_step()
        low_n, high_n = rocket.vanes.reach_n(held.strength)
        stuck_deg = rocket.servos.held_deg
        stuck_n = rocket.vanes.force_n(held.strength, np.nan_to_num(stuck_deg))
        stuck = ~np.isnan(stuck_deg)
        used = self._reach.used(
            1e-3 * demand_mnm[:2] / held.cg_m,
            np.where(stuck, stuck_n, low_n),
            np.where(stuck, stuck_n, high_n),
        )
        counts = rocket.off_rail & rocket.burning
        glance = Glance(counts, rocket.axes[0, 0], rocket.state[ROLL], used)
        time_s = rocket.time_s
        self.tilt.see(-glance.cos_tilt, time_s, counts)
        self.roll_rate.see(np.abs(glance.roll_rate_rad_s), time_s, counts)
        self.used.see(used, time_s, counts)
        bits = np.arange(len(FLAG_NAMES))[:, None]
        self.flagged += ((commands.flags >> bits) & 1) * counts
        self.cycles += counts
        self.frames_lost += ~heard & rocket.burning
        self.height_m = np.where(rocket.burning, rocket.state[POSITION.start], self.height_m)
        return glance

    @property
    def attitude_error_deg(self) -> Array:
        """(N,): the largest angle between axis and vertical."""
        return np.degrees(np.arccos(np.clip(-self.tilt.value, -1.0, 1.0)))

    @property
    def roll_rate_deg_s(self) -> Array:
        """(N,): the largest roll rate either way."""
        return np.degrees(np.maximum(self.roll_rate.value, 0.0))

    @property
    def margin_percent(self) -> Array:
        """(N,): the least share of primary authority left, below 0 where more was asked for."""
        return 100.0 * (1.0 - self.used.value)
