"""Wind: a mean that grows with height above the ground, turbulence, and one gust.

The mean follows a power law of height, the usual engineering profile of the surface layer
[practice]; the gust is the discrete 1 − cos shape of airworthiness codes [memory], over time or,
as the air has it, over the way flown through it.
"""

import numpy as np

from hil.air.turbulence import W20_HEIGHT_M, Turbulence
from hil.rocket.dispersion import Truth
from mixer.ground.inputs.arrays import Array
from mixer.ground.vehicle.rocket import WindSection

REFERENCE_HEIGHT_M = 10.0
_PHASE = np.linspace(0.0, 1.0, 1001)
_RISE_AND_FALL = 0.5 * (1.0 - np.cos(2.0 * np.pi * _PHASE))


class Wind:
    """The wind that each of N flights meets."""

    def __init__(self, section: WindSection, truth: Truth):
        self._truth = truth
        self._length_s = section.gust_length_s
        half_m = section.gust_half_length_m
        self._length_m = None if half_m is None else 2.0 * half_m
        self._in_gust_m = np.zeros(truth.flights)
        # Linear below 1 m, where the power law has no use and an endless slope.
        self._height_m = np.concatenate([[0.0], np.geomspace(1.0, section.shear_top_m, 200)])
        powers = (self._height_m / REFERENCE_HEIGHT_M) ** section.shear_exponent
        self._growth = np.where(self._height_m == 0.0, 0.0, powers)
        if section.shear_exponent == 0.0:
            self._growth = np.ones_like(self._height_m)
        y, z = truth.wind_m_s
        w20_m_s = np.interp(W20_HEIGHT_M, self._height_m, self._growth) * np.sqrt(y * y + z * z)
        strength_m_s = 0.01 * section.turbulence_percent * w20_m_s
        self.turbulence = Turbulence(truth.turbulence, strength_m_s)

    def fly(self, time_s: float, way_m: Array, height_m: Array) -> None:
        """Take so much more way (N,) through the air, from this time on."""
        begun = time_s >= self._truth.gust_time_s[0]
        self._in_gust_m = self._in_gust_m + np.where(begun, way_m, 0.0)
        self.turbulence.fly(way_m, height_m)

    def at(self, time_s: float, height_m: Array) -> Array:
        """Mean wind and gust (3, N) in earth axes, `height_m` (N,) above the ground."""
        growth = np.interp(height_m, self._height_m, self._growth)
        if self._length_m is None:
            phase = (time_s - self._truth.gust_time_s[0]) / self._length_s
        else:
            phase = self._in_gust_m / self._length_m
        gust = np.interp(phase, _PHASE, _RISE_AND_FALL, left=0.0, right=0.0)
        level = growth * self._truth.wind_m_s + gust * self._truth.gust_m_s
        return np.concatenate([np.zeros((1, level.shape[1])), level])

    def with_turbulence(self, time_s: float, height_m: Array) -> Array:
        """All of the wind (3, N)."""
        wind = self.at(time_s, height_m)
        wind[1:] += self.turbulence.at(height_m)
        return wind
