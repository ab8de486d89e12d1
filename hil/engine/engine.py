"""The engine of each flight: how far its burn is, with what can go wrong in it.

Where it goes out, at its start or before its time, propellant and burn load are counted as if it
did so at once and without loss: what burns in the tail-off of an engine that goes out early, and
what a chuff saves, is left out.
"""

import numpy as np
from numpy.typing import NDArray

from hil.engine.burn import make_burn
from mixer.ground.inputs.arrays import Array
from mixer.ground.vehicle.vehicle import Vehicle

CHUFF_S = 0.1  # out for so long, and as long alight before


class RunningEngine:
    """The burns of N flights, (N,) each. A time is that of the flight, in s; 0 where the flight
    computer takes the engine to light.

    thrust_alike, burn_time_alike, load_alike: (N,), each over that of the vehicle file.
    """

    def __init__(
        self, vehicle: Vehicle, thrust_alike: Array, burn_time_alike: Array, load_alike: Array
    ):
        flights = len(thrust_alike)
        self.late_s = np.zeros(flights)
        self.chuffs = np.zeros(flights, np.int64)  # how often it goes out at its start
        self._out_s = np.full(flights, np.inf)  # on the nominal burn, where it goes out early
        self._burn_time_s = vehicle.engine.burn_time_s
        self._tail_off_s = vehicle.needs_rocket().tail_off_s
        self._burn = make_burn(vehicle)
        self._thrust_alike = thrust_alike
        self._burn_time_alike = burn_time_alike
        self._load_alike = load_alike

    def nominal_s(self, time_s: float) -> Array:
        """How far each is on the nominal burn."""
        return (time_s - self.late_s) / self._burn_time_alike

    def burn_out(self, flight: int, time_s: float) -> None:
        """Let one engine go out now, as far as it still burns."""
        now_s = float(self.nominal_s(time_s)[flight])
        if now_s < min(self._out_s[flight], self._burn_time_s):
            self._out_s[flight] = max(now_s, 0.0)

    def burning(self, time_s: float) -> NDArray[np.bool_]:
        """Whether it is before the tail-off."""
        return self.nominal_s(time_s) < np.minimum(self._out_s, self._burn_time_s)

    def share(self, time_s: float) -> Array:
        """True chamber pressure and thrust over their reference values."""
        past_s = self.nominal_s(time_s) - self._out_s
        fading = np.minimum(np.maximum(1.0 - past_s / self._tail_off_s, 0.0), 1.0)
        share = self._burn.share_at(self._until(time_s)) * fading
        lit_s = time_s - self.late_s
        out = (lit_s < 2.0 * CHUFF_S * self.chuffs) & (np.mod(lit_s, 2.0 * CHUFF_S) >= CHUFF_S)
        return np.where(out, 0.0, share) * self._thrust_alike

    def load_s(self, time_s: float) -> Array:
        """Burn load so far, in seconds at the reference chamber pressure."""
        return self._burn.load_at(self._until(time_s)) * self._load_alike

    def burned(self, time_s: float) -> Array:
        """Share of the propellant that has been burned."""
        return self._burn.burned_at(self._until(time_s))

    def burned_per_s(self, time_s: float) -> Array:
        """How fast the propellant burns, shares of it a second."""
        nominal_s = self.nominal_s(time_s)
        per_s = self._burn.burned_per_s_at(nominal_s) / self._burn_time_alike
        return np.where(nominal_s > self._out_s, 0.0, per_s)

    def _until(self, time_s: float) -> Array:
        """How far the nominal burn got; one that goes out early stays there."""
        return np.minimum(self.nominal_s(time_s), self._out_s)
