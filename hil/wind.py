"""Wind: a mean that grows with height above the ground, and one gust.

The mean follows a power law of height, the usual engineering profile of the surface layer
[practice]; the gust is the discrete 1 − cos shape of airworthiness codes [memory].
"""

import numpy as np
from numpy.typing import NDArray

from hil.truth import Truth
from mixer.ground.rocket_section import WindSection

Array = NDArray[np.float64]
REFERENCE_HEIGHT_M = 10.0
_PHASE = np.linspace(0.0, 1.0, 1001)
_RISE_AND_FALL = 0.5 * (1.0 - np.cos(2.0 * np.pi * _PHASE))


class Wind:
    """The wind that each of N flights meets."""

    def __init__(self, section: WindSection, truth: Truth):
        self._truth = truth
        self._length_s = section.gust_length_s
        # Linear below 1 m, where the power law has no use and an endless slope.
        self._height_m = np.concatenate([[0.0], np.geomspace(1.0, section.shear_top_m, 200)])
        powers = (self._height_m / REFERENCE_HEIGHT_M) ** section.shear_exponent
        self._growth = np.where(self._height_m == 0.0, 0.0, powers)
        if section.shear_exponent == 0.0:
            self._growth = np.ones_like(self._height_m)

    def at(self, time_s: float, height_m: Array) -> Array:
        """Wind velocity (3, N) in earth axes, `height_m` (N,) above the ground."""
        growth = np.interp(height_m, self._height_m, self._growth)
        phase = (time_s - self._truth.gust_time_s[0]) / self._length_s
        gust = np.interp(phase, _PHASE, _RISE_AND_FALL, left=0.0, right=0.0)
        level = growth * self._truth.wind_m_s + gust * self._truth.gust_m_s
        return np.concatenate([np.zeros((1, level.shape[1])), level])
