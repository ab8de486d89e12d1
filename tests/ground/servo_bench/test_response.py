"""Step and frequency figures against closed forms, and against scipy.signal as the second route.

Closed forms [computed; as in Ogata and Nise, from memory]: with ζ 0.6, ω 5 rad/s overshoot
9.47802 %, peak 0.785398 s, rise 0-100 % 0.553574 s, settling 2 % 1.18860 s, 5 % 1.04581 s;
100/(s²+15s+100): peak 0.474964 s, 2.83754 %, rise 10-90 % 0.228754 s, settling 2 % 0.574261 s.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal
from scipy.interpolate import CubicSpline

from mixer.ground.servo_bench.response import (
    FrequencyPoint,
    NoStepError,
    frequency_figures,
    frequency_point,
    sine_fit,
    step_figures,
)


def step_record(omega, zeta, rate_hz=1000.0, size_deg=10.0, latency_s=0.0, noise_deg=0.0, seed=0):
    """A second-order step at time 0 after half a second of rest, by scipy.signal."""
    time_s = np.arange(-0.5, latency_s + 14 / (zeta * omega), 1 / rate_hz)
    system = signal.TransferFunction([omega**2], [1, 2 * zeta * omega, omega**2])
    grid_s = np.linspace(0, time_s[-1] + 0.1, 4001)
    _, response = signal.step(system, T=grid_s)
    angle_deg = 3.0 + size_deg * CubicSpline(grid_s, response)(np.maximum(time_s - latency_s, 0))
    return time_s, angle_deg + np.random.default_rng(seed).normal(0, noise_deg, len(time_s))


CLOSED_FORMS = [
    # ω, ζ, overshoot %, peak s, full rise s, rise 10-90 s, settling 2 % s, settling 5 % s
    (5.0, 0.6, 9.47802, 0.785398, 0.553574, None, 1.18860, 1.04581),
    (10.0, 0.75, 2.83754, 0.474964, None, 0.228754, 0.574261, None),
]


@pytest.mark.parametrize("case", CLOSED_FORMS, ids=["zeta 0.6", "100/(s2+15s+100)"])
def test_figures_of_a_clean_step_are_the_closed_forms(case):
    """At 1 kHz a crossing between two readings is straight to well under a tenth of 1 ms."""
    omega, zeta, overshoot, peak_s, full_rise_s, rise_s, settling_s, wide_settling_s = case
    found = step_figures(*step_record(omega, zeta))
    assert found.overshoot_percent == pytest.approx(overshoot, abs=0.01)
    assert found.peak_s == pytest.approx(peak_s, abs=5e-4)
    assert found.settling_s == pytest.approx(settling_s, abs=1e-4)
    for value, expected in (
        (found.full_rise_s, full_rise_s),
        (found.rise_s, rise_s),
        (found.wide_settling_s, wide_settling_s),
    ):
        if expected is not None:
            assert value == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize("seed", range(10))
def test_noise_moves_the_figures_by_no_more_than_it_must(seed):
    """0.02 deg of noise on 10 deg: 0.2 % of the step, over the slope at each crossing."""
    omega, zeta, overshoot, peak_s, full_rise_s, *_ = CLOSED_FORMS[0]
    found = step_figures(*step_record(omega, zeta, noise_deg=0.02, seed=seed))
    assert found.overshoot_percent == pytest.approx(overshoot, abs=0.2)
    # Flat top: a parabola through about 200 readings finds its place to a few milliseconds.
    assert found.peak_s == pytest.approx(peak_s, abs=0.01)
    # Slope at the crossing of 1 is 1.96 a second: four deviations are 4 ms.
    assert found.full_rise_s == pytest.approx(full_rise_s, abs=0.008 / 1.96)
    assert found.noise_deg == pytest.approx(0.02, rel=0.2)


@settings(max_examples=50, deadline=None)
@given(
    omega=st.floats(20, 90),
    zeta=st.floats(0.5, 1.2),
    latency_s=st.floats(0, 0.05),
    size_deg=st.sampled_from([-12.0, -4.0, 4.0, 12.0]),
)
def test_latency_is_found_under_any_second_order_motion(omega, zeta, latency_s, size_deg):
    """To 5 % of 1/ω: the bend of the start is followed to second order only."""
    record = step_record(omega, zeta, size_deg=size_deg, latency_s=latency_s)
    assert step_figures(*record).latency_s == pytest.approx(latency_s, abs=0.05 / omega + 5e-4)


def test_a_ramp_has_its_own_slope_as_slew():
    time_s = np.arange(-0.2, 0.6, 0.001)
    angle_deg = np.clip(300 * time_s, 0, 24)
    found = step_figures(time_s, angle_deg)
    assert found.slew_deg_s == pytest.approx(300, rel=1e-6)
    assert found.peak_s is None
    assert found.overshoot_percent == 0


@pytest.mark.parametrize(
    ("angle", "words"),
    [
        (lambda t: np.zeros_like(t), "no more than the readings scatter"),
        (lambda t: np.where(t > 0, t, 0), "before the vane stands still"),
    ],
)
def test_what_is_no_step_is_refused_in_words(angle, words):
    time_s = np.arange(-0.2, 1.0, 0.001)
    noise = np.random.default_rng(1).normal(0, 0.001, len(time_s))
    with pytest.raises(NoStepError, match=words):
        step_figures(time_s, angle(time_s) + noise)


def second_order(hz, omega, zeta, latency_s=0.0):
    """Complex response: ω² / (ω² − w² + 2ζω w i), delayed."""
    w = 2 * np.pi * np.asarray(hz)
    return omega**2 / (omega**2 - w**2 + 2j * zeta * omega * w) * np.exp(-1j * w * latency_s)


@settings(max_examples=50, deadline=None)
@given(omega=st.floats(20, 90), zeta=st.floats(0.4, 1.2), latency_s=st.floats(0, 0.02))
def test_bandwidth_and_quarter_turn_are_the_closed_forms(omega, zeta, latency_s):
    """−3 dB at ω√(1−2ζ²+√((1−2ζ²)²+1)); on a 24-points-a-decade grid to 1 %."""
    hz = np.geomspace(0.05, 100, 80)
    exact = second_order(hz, omega, zeta, latency_s)
    points = [
        FrequencyPoint(f, 1.0, abs(z), float(np.degrees(np.angle(z))), 0.0)
        for f, z in zip(hz, exact, strict=True)
    ]
    found = frequency_figures(points)
    inner = 1 - 2 * zeta**2
    bandwidth_hz = omega * np.sqrt(inner + np.sqrt(inner**2 + 1)) / (2 * np.pi)
    assert found.bandwidth_hz == pytest.approx(bandwidth_hz, rel=0.01)
    fine_hz = np.geomspace(0.5, 100, 20_001)
    phase = np.unwrap(np.angle(second_order(fine_hz, omega, zeta, latency_s)))
    assert found.quarter_turn_hz == pytest.approx(
        float(np.interp(np.pi / 2, -phase, fine_hz)), rel=0.01
    )


def test_a_measured_sine_has_the_gain_and_phase_that_scipy_computes():
    omega, zeta, hz = 45.0, 0.7, 6.0
    system = signal.TransferFunction([omega**2], [1, 2 * zeta * omega, omega**2])
    time_s = np.arange(0, 4, 0.001)
    command = 2.0 * np.sin(2 * np.pi * hz * time_s)
    _, answer, _ = signal.lsim(system, command, time_s)
    settled = time_s >= 2
    noise = np.random.default_rng(3).normal(0, 0.03, settled.sum())
    found = frequency_point(time_s[settled], command[settled], answer[settled] + noise, hz)
    _, exact = signal.freqresp(system, [2 * np.pi * hz])
    # 2000 readings of 0.03 deg noise on 2 deg: amplitude to 0.03·√(2/2000)/2 = 5e-4, 4 of them.
    assert found.gain == pytest.approx(abs(exact[0]), abs=2e-3)
    assert found.phase_deg == pytest.approx(np.degrees(np.angle(exact[0])), abs=0.15)
    assert found.residual_deg == pytest.approx(0.03, rel=0.1)


def test_a_response_that_never_falls_has_no_bandwidth():
    points = [FrequencyPoint(f, 1.0, 1.0, -5.0 * f, 0.0) for f in (1.0, 2.0, 4.0)]
    found = frequency_figures(points)
    assert found.bandwidth_hz is None
    assert found.quarter_turn_hz is None


@given(st.floats(0.1, 10), st.floats(-3, 3), st.floats(-5, 5))
def test_a_sine_is_found_again(amplitude, phase, offset):
    time_s = np.arange(0, 2, 0.002)
    found = sine_fit(time_s, amplitude * np.sin(2 * np.pi * 3 * time_s + phase) + offset, 3.0)
    assert found.amplitude == pytest.approx(amplitude, rel=1e-9)
    assert np.cos(found.phase_rad - phase) == pytest.approx(1, abs=1e-12)
    assert found.offset == pytest.approx(offset, abs=1e-9)


@pytest.mark.parametrize(
    ("size_deg", "noise_deg", "step_deg", "told"),
    [
        (20.0, 0.03, 0.0, True),
        (3.0, 0.03, 0.0, False),
        (20.0, 0.0, 360 / 4096, True),
        (3.0, 0.0, 360 / 4096, False),
        (3.0, 0.0, 0.0, True),
    ],
)
def test_latency_is_told_only_of_steps_large_against_noise_and_resolution(
    size_deg, noise_deg, step_deg, told
):
    time_s, angle_deg = step_record(
        40.0, 0.9, size_deg=size_deg, latency_s=0.008, noise_deg=noise_deg, seed=3
    )
    if step_deg:
        angle_deg = np.round(angle_deg / step_deg) * step_deg
    found = step_figures(time_s, angle_deg).latency_s
    assert (found is not None) == told
    if found is not None:
        assert found == pytest.approx(0.008, abs=0.004)
