"""Continuous turbulence of the Dryden form, as MIL-F-8785C gives it, for a rocket that climbs.

Across the path the velocity has the spectrum σ² L/(π V) (1 + 3q²)/(1 + q²)², q = ω L/V. Flown over
in units of its own scale length, η = ∫ V dt / L, it is one stationary series of unit variance, so
each flight gets that series as a table beforehand and reads it with the scale and the strength of
the height where it is. Below 1000 ft, h in ft, of the horizontal components:

    L = h / f^1.2    σ = 0.1 W20 / f^0.4    f = 0.177 + 0.000823 h

W20 is the mean wind at 20 ft. From 1000 to 2000 ft L runs straight to 1750 ft and stays; there σ is
held, where the specification has charts by how rare the turbulence is.
"""

import numpy as np
import scipy

from mixer.ground.inputs.arrays import Array

FOOT_M = 0.3048
W20_HEIGHT_M = 20 * FOOT_M
STEP = 0.02  # of η from point to point: straight lines between take 1 % off the variance
POINTS = 4096  # 82 scale lengths, 43 km high up; then it begins anew
DRAWS = 0xD24D  # keeps a flight's air apart from its dispersion draws

_FEET = np.concatenate([[10.0], np.geomspace(10.0, 1000.0, 200)[1:], [2000.0]])
_LOW = np.minimum(_FEET, 1000.0)
_F = 0.177 + 0.000823 * _LOW
HEIGHT_M = FOOT_M * _FEET
LENGTH_M = FOOT_M * np.where(_FEET > 1000.0, 1750.0, _LOW / _F**1.2)
OVER_VERTICAL = _F**-0.4  # σ of a horizontal component over the vertical one's


def series(seed: int) -> Array:
    """Two independent series of unit variance over η, one below the other: (2 * POINTS, 1).

    The filter (1 + √3 p)/(1 + p)² of white noise is √3 a + (1 − √3) b with a' = w − a, b' = a − b;
    both are carried over a step exactly, and begin as they go on.
    """
    random = np.random.default_rng([DRAWS, seed])
    settled = np.array([[0.5, 0.25], [0.25, 0.25]])  # covariance of a and b for white noise of 1
    over = np.exp(-STEP) * np.array([[1.0, 0.0], [STEP, 1.0]])
    begin = np.linalg.cholesky(settled) @ random.standard_normal((2, 2))
    added = np.linalg.cholesky(settled - over @ settled @ over.T)
    kicks = np.einsum("ij,jkn->ikn", added, random.standard_normal((2, 2, POINTS)))
    kicks[:, :, 0] = begin
    fade = [1.0, -over[0, 0]]
    a = np.asarray(scipy.signal.lfilter([1.0], fade, kicks[0], axis=1))
    led = kicks[1]
    led[:, 1:] += over[1, 0] * a[:, :-1]
    b = np.asarray(scipy.signal.lfilter([1.0], fade, led, axis=1))
    return (np.sqrt(3.0) * a + (1.0 - np.sqrt(3.0)) * b).reshape(2 * POINTS, 1)


class Turbulence:
    """The turbulence that each of N flights meets. `vertical_m_s` (N,): σ of the vertical part."""

    def __init__(self, table: Array, vertical_m_s: Array):
        self._table = table.reshape(2, POINTS, -1) if len(table) else None
        self._vertical_m_s = vertical_m_s
        self._lengths = np.zeros_like(vertical_m_s)  # η, flown so far
        self._flights = np.arange(len(vertical_m_s))

    def fly(self, way_m: Array, height_m: Array) -> None:
        """Take so much more way (N,) through the air at heights (N,)."""
        self._lengths = self._lengths + way_m / np.interp(height_m, HEIGHT_M, LENGTH_M)

    def at(self, height_m: Array) -> Array:
        """Velocity (2, N) along earth y and z at heights (N,) above the ground."""
        if self._table is None:
            return np.zeros((2, len(self._flights)))
        place = self._lengths / STEP
        before = np.floor(place).astype(np.int64)
        share = place - before
        low = self._table[:, before % POINTS, self._flights]
        high = self._table[:, (before + 1) % POINTS, self._flights]
        sigma_m_s = self._vertical_m_s * np.interp(height_m, HEIGHT_M, OVER_VERTICAL)
        return sigma_m_s * (low + share * (high - low))
