"""The chamber pressure sensors of a block of flights: what each reads of the truth.

A reading is the true pressure behind a first-order lag, scaled, with bias and noise; or what a
fault makes of it: the last reading for ever, full scale, or nothing for half of every period.
"""

from collections.abc import Sequence

import numpy as np

from hil.steering.steering_block import Integers
from mixer.flight.layout import PRESSURE_MOST_PA
from mixer.ground.inputs.arrays import Array

NOISE_DRAWS = 0x5E45  # keeps a flight's noise apart from its other draws


class PressureSensors:
    """Sensors of N flights, sound until something is written into the arrays, (N,) each."""

    def __init__(self, seeds: Sequence[int], reference_pa: float):
        flights = len(seeds)
        self.scale = np.ones(flights)
        self.bias = np.zeros(flights)  # of the reference, as is the noise
        self.noise = np.zeros(flights)  # standard deviation of a reading
        self.lag_s = np.zeros(flights)
        self.off_hz = np.zeros(flights)  # off for half of every period of this
        self.off_since_s = np.zeros(flights)
        self.full = np.zeros(flights, bool)
        self.frozen_pa = np.full(flights, np.nan)
        self.last_pa = np.zeros(flights)
        self._behind_pa = np.zeros(flights)
        self._reference_pa = reference_pa
        self._draws = [np.random.default_rng([NOISE_DRAWS, seed]) for seed in seeds]

    def freeze(self, flight: int) -> None:
        """From here on it reads what it read last."""
        self.frozen_pa[flight] = self.last_pa[flight]

    def read(self, true_pa: Array, time_s: float, dt_s: float) -> Integers:
        """What they say, whole pascals, `dt_s` after the last time."""
        with np.errstate(divide="ignore"):
            share = -np.expm1(-dt_s / self.lag_s)  # 1 without a lag
        self._behind_pa += share * (true_pa - self._behind_pa)
        read_pa = np.where(share == 1.0, true_pa, self._behind_pa) * self.scale
        read_pa = read_pa + self.bias * self._reference_pa
        for flight in np.flatnonzero(self.noise):
            drawn = self._draws[flight].standard_normal()
            read_pa[flight] += self.noise[flight] * self._reference_pa * drawn
        off = (self.off_hz > 0) & (np.modf((time_s - self.off_since_s) * self.off_hz)[0] < 0.5)
        read_pa = np.where(off, 0.0, read_pa)
        read_pa = np.where(self.full, PRESSURE_MOST_PA, read_pa)
        read_pa = np.where(np.isnan(self.frozen_pa), read_pa, self.frozen_pa)
        self.last_pa = np.clip(read_pa, 0.0, PRESSURE_MOST_PA)
        return np.rint(self.last_pa).astype(np.int64)
