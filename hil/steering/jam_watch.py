"""Finds jammed vanes by comparing commanded with measured deflections.

A vane that stands still although its command has been elsewhere for a while is declared jammed
where it stands, and the steering works round it; it is declared free once it moves again. This
needs an angle sensor on every vane. A vane that jams just where it is wanted is found only when
it is next wanted elsewhere.
"""

import numpy as np

from hil.steering.steering_block import SteeringBlock
from mixer.ground.inputs.arrays import Array


class JamWatch:
    """Watches the four vanes of N flights."""

    APART_DEG = 1.0  # command against measured; more than trim errors of a fitted servo table
    STILL_DEG_S = 4.0  # slower than any servo that still moves towards a command 1° away
    PATIENCE_S = 0.04  # about two time constants of a servo
    FREE_DEG = 0.5  # movement away from where it was declared

    def __init__(self, flights: int, wait_s: float = 0.0, play_deg: float = 0.0):
        """`wait_s`: from a command to a healthy servo's first motion; `play_deg`: either way."""
        self._patience_s = self.PATIENCE_S + wait_s
        self._apart_deg = self.APART_DEG + play_deg
        self.declared_deg = np.full((4, flights), np.nan)
        self._last_deg = np.zeros((4, flights))
        self._still_s = np.zeros((4, flights))

    def look(self, steering: SteeringBlock, measured_deg: Array, dt_s: float) -> None:
        """Compare once, and tell the steering of every vane that jammed or came free."""
        commanded_deg = 1e-3 * steering.commands.deflection_mdeg
        still = np.abs(measured_deg - self._last_deg) < self.STILL_DEG_S * dt_s
        apart = np.abs(measured_deg - commanded_deg) > self._apart_deg
        self._still_s = np.where(still & apart, self._still_s + dt_s, 0.0)
        self._last_deg = measured_deg.copy()
        declared = ~np.isnan(self.declared_deg)
        for vane, flight in np.argwhere(~declared & (self._still_s > self._patience_s)):
            angle_deg = float(measured_deg[vane, flight])
            self.declared_deg[vane, flight] = angle_deg
            steering.jam(int(flight), int(vane) + 1, round(1e3 * angle_deg))
        moved = declared & (np.abs(measured_deg - self.declared_deg) > self.FREE_DEG)
        for vane, flight in np.argwhere(moved):
            self.declared_deg[vane, flight] = np.nan
            self._still_s[vane, flight] = 0.0
            steering.free(int(flight), int(vane) + 1)

    def forget(self, flight: int) -> None:
        """Start anew with one flight, whose steering has lost what it was told."""
        self.declared_deg[:, flight] = np.nan
        self._still_s[:, flight] = 0.0
