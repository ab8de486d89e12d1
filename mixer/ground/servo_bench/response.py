"""What a servo does in time: figures of a step response and of a stepped-sine response.

All times run from the command, so that latency is part of them. Definitions as in control
textbooks (Ogata; Nise; as remembered): rise 10-90 % or 0-100 %, peak, overshoot in per cent of
the step, settling into ±2 % and ±5 % of it; bandwidth where the gain has fallen by 3 dB.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mixer.ground.inputs.arrays import Array

HALF_POWER = 1 / np.sqrt(2)  # −3 dB
FINAL_SHARE = 0.2  # of the record: its end, where the vane stands again
ONSET_SHARES = (0.01, 0.10)  # of the step: the part that says when the vane began to move
SLEW_SHARES = (0.25, 0.75)  # of the step: past the start, before the stop
LATENCY_SHARE = 0.02  # of the step: readings at rest must stay within it, or no start is seen
NOISES = 5.0  # standard deviations that a reading at rest stays within


@dataclass(frozen=True)
class StepFigures:
    """A step response in figures; None where there is no such thing (no overshoot, no peak).

    `noise_deg` is the standard deviation of a reading at rest; a settling band narrower than
    five of them is widened to that, and `settling_band_percent` says what it was. `latency_s` is
    None for a step so small that noise, or the steps of the reader, would make it up.
    """

    start_deg: float
    final_deg: float
    latency_s: float | None
    rise_s: float
    full_rise_s: float | None
    peak_s: float | None
    overshoot_percent: float
    settling_s: float
    settling_band_percent: float
    wide_settling_s: float
    slew_deg_s: float
    noise_deg: float

    @property
    def size_deg(self) -> float:
        return self.final_deg - self.start_deg


class NoStepError(ValueError):
    """A record in which the vane did not make a step that could be judged."""


def step_figures(time_s: Array, angle_deg: Array) -> StepFigures:
    """Figures of a step commanded at time 0; both (n,), some readings before 0 and all the motion.

    NoStepError where nothing moved, or the record ends before the vane stands.
    """
    before = time_s < 0
    if before.sum() < 3:
        raise NoStepError("fewer than 3 readings before the step")
    start_deg = float(np.mean(angle_deg[before]))
    rest = time_s >= time_s[-1] - FINAL_SHARE * time_s[-1]
    final_deg = float(np.mean(angle_deg[rest]))
    noise_deg = scatter(time_s[rest], angle_deg[rest])
    size_deg = final_deg - start_deg
    if abs(size_deg) <= 2 * NOISES * noise_deg or size_deg == 0:
        raise NoStepError(f"the vane moved {size_deg:.3f} deg, no more than the readings scatter")
    t = time_s[~before]
    y = (angle_deg[~before] - start_deg) / size_deg
    band = max(0.02, NOISES * noise_deg / abs(size_deg))
    peak_s, overshoot = peak(t, y, NOISES * noise_deg / abs(size_deg))
    low_s, high_s = (crossing(t, y, share) for share in SLEW_SHARES)
    return StepFigures(
        start_deg=start_deg,
        final_deg=final_deg,
        latency_s=latency(t, y, noise_deg / abs(size_deg)),
        rise_s=crossing(t, y, 0.9) - crossing(t, y, 0.1),
        full_rise_s=crossing(t, y, 1.0) if peak_s is not None else None,
        peak_s=peak_s,
        overshoot_percent=100 * overshoot,
        settling_s=settling(t, y, band),
        settling_band_percent=100 * band,
        wide_settling_s=settling(t, y, max(0.05, band)),
        slew_deg_s=abs(size_deg) * (SLEW_SHARES[1] - SLEW_SHARES[0]) / (high_s - low_s),
        noise_deg=noise_deg,
    )


def scatter(t: Array, y: Array) -> float:
    """Standard deviation of readings (n,) about a straight line through them."""
    return float(np.std(y - np.polyval(np.polyfit(t, y, 1), t)))


def crossing(t: Array, y: Array, level: float) -> float:
    """When y first reaches a level, straight between the readings on either side of it."""
    above = np.flatnonzero(y >= level)
    if len(above) == 0:
        raise NoStepError(f"the vane never reached {level:.0%} of its step")
    i = int(above[0])
    if i == 0:
        return float(t[0])
    return float(t[i - 1] + (level - y[i - 1]) / (y[i] - y[i - 1]) * (t[i] - t[i - 1]))


def latency(t: Array, y: Array, noise: float) -> float | None:
    """When the motion began; None where what readings are uncertain by hides it.

    `noise` is the scatter of y. A reader of coarse steps can be quiet at rest and yet be
    uncertain by its step, whose standard deviation is a step over √12.
    """
    changes = np.abs(np.diff(y))
    step = float(np.min(changes[changes > 0], initial=np.inf))
    coarse = 0.0 if np.isinf(step) else step / np.sqrt(12)
    uncertain = max(noise, coarse)
    return onset(t, y, noise) if NOISES * uncertain <= LATENCY_SHARE else None


def onset(t: Array, y: Array, noise: float) -> float:
    """When the motion began: y ≈ k (t − t0)² there, so √y leaves 0 at t0 as a straight line.

    So begins whatever starts from rest with a finite acceleration: a second-order system and a
    motor at its torque limit alike. A threshold would add the time it takes to reach it. The
    line bends as speed builds up; time as a parabola in √y follows it down to √y = 0. `noise`
    is the scatter of y: below five of it nothing can be told.
    """
    low = max(ONSET_SHARES[0], NOISES * noise)
    first, last = crossing(t, y, low), crossing(t, y, max(ONSET_SHARES[1], 4 * low))
    begin = int(np.searchsorted(t, first))
    end = int(np.searchsorted(t, last)) + 1
    if end - begin < 4:
        return first  # it is there within a few readings: no start to be seen
    root = np.sqrt(np.maximum(y[begin:end], 0.0))
    return float(np.clip(np.polyfit(root, t[begin:end], 2)[-1], 0.0, first))


def peak(t: Array, y: Array, noise: float) -> tuple[float | None, float]:
    """Time and height above 1 of the first peak; (None, 0) where none stands out of the noise.

    The top is that of a cubic through the readings within the upper part of the first swing
    above 1: it averages their noise and allows for a swing that falls slower than it rose.
    """
    over = np.flatnonzero(y > 1 + noise)
    if len(over) == 0:
        return None, 0.0
    begin = int(over[0])
    below = np.flatnonzero(y[begin:] < 1)
    end = begin + int(below[0]) if len(below) else len(y)
    top = begin + int(np.argmax(y[begin:end]))
    half = y[top] - 1
    left = top
    while left > 0 and y[left - 1] > 1 + 0.8 * half:
        left -= 1
    right = top
    while right < len(y) - 1 and y[right + 1] > 1 + 0.8 * half:
        right += 1
    if right - left < 5:
        return float(t[top]), float(half)
    around = slice(left, right + 1)
    shape = np.polynomial.Polynomial.fit(t[around], y[around], 3)
    turns = shape.deriv().roots()
    tops = [x.real for x in turns if abs(x.imag) < 1e-12 and shape.deriv(2)(x.real) < 0]
    at = float(np.clip(tops[0], t[left], t[right])) if tops else float(t[top])
    return at, float(shape(at)) - 1


def settling(t: Array, y: Array, band: float) -> float:
    """When y entered the band around 1 for the last time; a lone reading outside is noise."""
    out = np.abs(y - 1) > band
    outside = np.flatnonzero(out[1:] & out[:-1]) + 1
    if len(outside) == 0:
        return float(t[0])
    i = int(outside[-1])
    if i == len(y) - 1:
        raise NoStepError("the record ends before the vane stands still")
    edge = 1 + band * np.sign(y[i] - 1)
    return float(t[i] + (edge - y[i]) / (y[i + 1] - y[i]) * (t[i + 1] - t[i]))


@dataclass(frozen=True)
class SineFit:
    """amplitude·sin(2π f t + phase) + offset, and what is left beside it."""

    amplitude: float
    phase_rad: float
    offset: float
    residual: float


def sine_fit(time_s: Array, values: Array, frequency_hz: float) -> SineFit:
    """The sine of a known frequency nearest to values (n,): least squares in three parameters."""
    angle = 2 * np.pi * frequency_hz * time_s
    basis = np.column_stack((np.sin(angle), np.cos(angle), np.ones_like(angle)))
    found, *_ = np.linalg.lstsq(basis, values, rcond=None)
    residual = float(np.std(values - basis @ found))
    return SineFit(
        float(np.hypot(*found[:2])),
        float(np.arctan2(found[1], found[0])),
        float(found[2]),
        residual,
    )


@dataclass(frozen=True)
class FrequencyPoint:
    """One stepped sine: what was commanded, and what came back as gain and phase."""

    frequency_hz: float
    amplitude_deg: float
    gain: float
    phase_deg: float
    residual_deg: float


def frequency_point(
    time_s: Array, commanded_deg: Array, angle_deg: Array, frequency_hz: float
) -> FrequencyPoint:
    """Gain and phase of one record of whole periods in the settled state; arrays (n,)."""
    command = sine_fit(time_s, commanded_deg, frequency_hz)
    answer = sine_fit(time_s, angle_deg, frequency_hz)
    phase = np.degrees(answer.phase_rad - command.phase_rad)
    return FrequencyPoint(
        frequency_hz,
        command.amplitude,
        answer.amplitude / command.amplitude,
        float((phase + 180) % 360 - 180),
        answer.residual,
    )


@dataclass(frozen=True)
class FrequencyFigures:
    """A frequency response in figures; None where the band measured does not reach so far.

    Arrays (n,) by rising frequency; `gain` is relative to the lowest frequency, `phase_deg`
    runs on without jumps.
    """

    frequency_hz: Array
    gain: Array
    phase_deg: Array
    static_gain: float
    bandwidth_hz: float | None
    quarter_turn_hz: float | None
    peak_gain: float
    peak_hz: float


def frequency_figures(points: Sequence[FrequencyPoint]) -> FrequencyFigures:
    """Bandwidth (−3 dB), the frequency of −90° and the resonance peak, from stepped sines."""
    ordered = sorted(points, key=lambda point: point.frequency_hz)
    hz = np.array([point.frequency_hz for point in ordered])
    gain = np.array([point.gain for point in ordered])
    phase_deg = np.unwrap([point.phase_deg for point in ordered], period=360)
    relative = gain / gain[0]
    top = int(np.argmax(relative))
    return FrequencyFigures(
        frequency_hz=hz,
        gain=relative,
        phase_deg=phase_deg,
        static_gain=float(gain[0]),
        bandwidth_hz=falls_through(hz, 20 * np.log10(relative), 20 * np.log10(HALF_POWER)),
        quarter_turn_hz=falls_through(hz, phase_deg, -90.0),
        peak_gain=float(relative[top]),
        peak_hz=float(hz[top]),
    )


def falls_through(hz: Array, values: Array, level: float) -> float | None:
    """Where values first fall through a level, straight over the logarithm of frequency."""
    below = np.flatnonzero(values < level)
    if len(below) == 0 or below[0] == 0:
        return None
    i = int(below[0])
    share = (values[i - 1] - level) / (values[i - 1] - values[i])
    return float(hz[i - 1] * (hz[i] / hz[i - 1]) ** share)
