"""How near a healthy vane comes to its command, and how long it may stand still before it does.

For the jam watch (`mixer/flight/jam_watch.py`). The servo is a first-order lag of time constant τ
behind a slew limit s, behind a pulse frame F and the latency L; the vane has play p either way. It
is seen with noise N, and rests within the trim error E of its command. A command on one side of
where the vane was seen, by more than the band B, has by F + L become the servo's target, and draws
it at least from M + N + p behind that place to M + N + p beyond, when the vane is seen to have
moved by M. Of its way to the target R is then left:

    B = E + M + N + p + R,   wait = F + L + τ·ln((2(M + N + p) + R)/R) + 2(M + N + p)/s

(the two ways of turning, one after the other, take longer than the slower of them). What the
vehicle file does not tell is taken for a hobby servo: common practice, not a standard.
"""

from typing import TYPE_CHECKING

import numpy as np

from mixer.flight.jam_watch import WATCH_MOVED
from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.vehicle.acceptance import Acceptance
from mixer.ground.vehicle.rocket import DispersionSection

if TYPE_CHECKING:
    from mixer.ground.vehicle.vehicle import Vehicle

MOVED_DEG = 1e-3 * WATCH_MOVED
NOISE_DEG = 0.1  # of the sensor
TRIM_DEG = (
    1.0  # table, sensor's zero, give under load, dead band; what [acceptance] grants, if more
)
LEFT_DEG = 0.5
PLAY_DEG = 0.25
LATENCY_MS = 20.0
LAG_MS = 20.0
SLOWEST = 0.7  # of the slew that the file tells
DEVIATIONS = 3.0


def watch_limits(vehicle: "Vehicle") -> tuple[Array, Array]:
    """The band in deg and the wait in s, (4,) each."""
    asked = vehicle.acceptance or Acceptance()
    servos = vehicle.servo_table
    play_deg = worst(servos.backlash_deg, asked.backlash_deg, 2 * PLAY_DEG) / 2
    latency_s = 1e-3 * worst(servos.latency_ms, asked.latency_ms, LATENCY_MS)
    us_per_deg = np.array([steepness(vehicle, vane) for vane in range(VANES)])
    granted_deg = sum(
        limit or 0.0 for limit in (asked.accuracy_deg, asked.hold_deg, asked.drift_deg)
    )
    trim_deg = np.maximum(TRIM_DEG, granted_deg + (asked.dead_band_us or 0.0) / us_per_deg)
    slew_deg_s = SLOWEST * np.array([servo.slew_deg_s for servo in vehicle.servos])
    if asked.slew_deg_s is not None:
        slew_deg_s = np.minimum(slew_deg_s, asked.slew_deg_s)
    seen_deg = MOVED_DEG + NOISE_DEG + play_deg
    turning_s = slowest_lag_s(vehicle) * np.log((2 * seen_deg + LEFT_DEG) / LEFT_DEG)
    turning_s += 2 * seen_deg / slew_deg_s
    return trim_deg + seen_deg + LEFT_DEG, 1 / servos.pulse_hz + latency_s + turning_s


def worst(measured: Array | None, asked: float | None, usual: float) -> Array:
    """The larger of what was measured and what was asked for, (4,); without either the usual."""
    told = [value for value in (measured, asked) if value is not None] or [usual]
    return np.max([np.broadcast_to(value, VANES) for value in told], axis=0)


def steepness(vehicle: "Vehicle", vane: int) -> float:
    """µs of pulse for a degree, least over the travel's two halves."""
    low, high = vehicle.vanes.travel_deg[vane]
    angles = np.array([low, (low + high) / 2, high])
    return float((np.abs(np.diff(vehicle.servos[vane].pulse_us(angles))) / np.diff(angles)).min())


def slowest_lag_s(vehicle: "Vehicle") -> float:
    """The longest time constant of a healthy servo: by its bandwidth, or of a simulated flight."""
    asked, rocket = vehicle.acceptance, vehicle.rocket
    told_ms = []
    if asked is not None and asked.bandwidth_hz is not None:
        told_ms.append(1e3 / (2 * np.pi * asked.bandwidth_hz))
    if rocket is not None or not told_ms:
        spread = DispersionSection() if rocket is None else rocket.dispersion
        share = 1 + DEVIATIONS * 0.01 * spread.servo_lag_percent
        told_ms.append((LAG_MS if rocket is None else rocket.servo_lag_ms) * share)
    return 1e-3 * max(told_ms)
