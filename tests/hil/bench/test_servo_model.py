"""The emulated servo against closed forms and scipy.signal, and each of its vices one by one."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import signal

from hil.emulated_servos.faults import FAULTS, healthy_kind, some_fault
from hil.emulated_servos.linkage import Linkage
from hil.emulated_servos.servo import TICK_S, EmulatedServo, EncoderKind, ServoFault, ServoKind
from tests.support.benches import CALM


def servo_of(omega, zeta, **changes):
    kind = replace(CALM, natural_hz=omega / (2 * math.pi), damping=zeta, **changes)
    return EmulatedServo(kind)


def trace(servo, pulse_us, duration_s, step_s=0.001):
    """Vane angles after each step under a constant pulse."""
    servo.pulse(pulse_us)
    angles = []
    for _ in range(round(duration_s / step_s)):
        servo.advance(step_s)
        angles.append(servo.vane_deg)
    return np.array(angles)


@pytest.mark.parametrize(
    ("omega", "zeta", "overshoot_percent", "peak_s"),
    [(5.0, 0.6, 9.47802, 0.785398), (10.0, 0.75, 2.83754, 0.474964)],
)
def test_a_step_overshoots_as_the_closed_form_says(omega, zeta, overshoot_percent, peak_s):
    """[computed; Ogata, Nise, memory]. The motor's steps are exact, so only sampling is left."""
    angles = trace(servo_of(omega, zeta), 1600, 1.5)
    assert 100 * (angles.max() / 10 - 1) == pytest.approx(overshoot_percent, abs=1e-3)
    assert (np.argmax(angles) + 1) * 0.001 == pytest.approx(peak_s, abs=1e-3)


@settings(max_examples=25, deadline=None)
@given(omega=st.floats(5, 90), zeta=st.floats(0.3, 2.0))
def test_free_motion_is_what_scipy_computes(omega, zeta):
    angles = trace(servo_of(omega, zeta), 1580, 0.5)
    system = signal.TransferFunction([omega**2], [1, 2 * zeta * omega, omega**2])
    time_s = np.arange(0, 0.5 + TICK_S / 2, 0.001)
    _, exact = signal.step(system, T=time_s)
    assert angles == pytest.approx(8 * exact[1:], abs=2e-4)


def test_a_large_step_runs_at_the_rate_limit():
    servo = servo_of(70.0, 0.7, slew_deg_s=400.0)
    angles = trace(servo, 1900, 0.3)
    rate = np.diff(angles) / 0.001
    assert rate.max() == pytest.approx(400, rel=1e-9)
    assert np.sum(rate > 399.9) > 40


def test_the_start_is_no_steeper_than_the_acceleration_limit():
    servo = servo_of(70.0, 0.7, acceleration_deg_s2=20_000.0)
    angles = trace(servo, 1900, 0.05, TICK_S)
    rate = np.diff(np.concatenate(([0.0], angles))) / TICK_S
    # In the tick in which the limit lets go, the mean rate of two ticks is a little off.
    assert np.max(np.diff(rate)) <= 20_000 * TICK_S * 1.005
    assert angles[19] == pytest.approx(0.5 * 20_000 * 0.01**2, rel=0.06)


@pytest.mark.parametrize("latency_s", [0.004, 0.0205])
def test_nothing_moves_before_the_latency_is_over(latency_s):
    servo = servo_of(70.0, 0.7, latency_s=latency_s)
    angles = trace(servo, 1600, 0.05, TICK_S)
    still = round(latency_s / TICK_S)
    assert angles[:still] == pytest.approx(0, abs=1e-9)
    assert angles[still] > 1e-6


def test_a_pulse_waits_for_the_next_frame():
    servo = servo_of(70.0, 0.7, frame_hz=50.0)
    servo.advance(0.005)
    angles = trace(servo, 1600, 0.05, TICK_S)
    first = np.flatnonzero(angles > 1e-6)[0]
    assert first == pytest.approx(0.015 / TICK_S, abs=1)


def test_backlash_shows_as_its_width_between_both_directions():
    servo = servo_of(70.0, 1.0, backlash_deg=0.6)
    below = trace(servo, 1400, 0.5)[-1], trace(servo, 1500, 0.5)[-1]
    above = trace(servo, 1600, 0.5)[-1], trace(servo, 1500, 0.5)[-1]
    assert above[1] - below[1] == pytest.approx(0.6, abs=1e-3)


def test_a_dead_band_leaves_small_commands_unanswered():
    servo = servo_of(70.0, 1.0, dead_band_deg=0.4)
    assert trace(servo, 1501.9, 0.5)[-1] == pytest.approx(0, abs=1e-9)
    assert trace(servo, 1504, 0.5)[-1] == pytest.approx(0.2, abs=1e-3)


def test_stiction_holds_until_the_error_is_large_enough():
    servo = servo_of(70.0, 1.0, stiction_deg=0.5)
    assert trace(servo, 1504, 0.5)[-1] == pytest.approx(0, abs=1e-9)
    # Friction catches it again while it creeps up, at most the same error short.
    assert 0.0 < 0.6 - trace(servo, 1506, 0.5)[-1] < 0.5


def test_an_end_stop_stops_it():
    servo = servo_of(70.0, 1.0, end_stop_deg=20.0)
    assert trace(servo, 1800, 0.5)[-1] == pytest.approx(20.0, abs=1e-6)


def test_a_load_makes_it_give_and_slower():
    servo = EmulatedServo(replace(CALM, slew_deg_s=400.0))
    servo.hang(0.5)
    assert servo.vane_deg == pytest.approx(0.5 * CALM.compliance_deg_per_nm)
    rate = np.diff(trace(servo, 1900, 0.3)) / 0.001
    assert rate.max() == pytest.approx(400 * (1 - 0.5 / CALM.stall_nm), rel=1e-6)


def test_the_supply_sags_while_it_starts_and_recovers():
    servo = EmulatedServo(replace(ServoKind(), latency_s=0.0, frame_hz=0.0))
    servo.pulse(1700)
    lowest = 99.0
    for _ in range(400):
        servo.advance(0.001)
        lowest = min(lowest, servo.supply_v)
    kind = servo.kind
    most_a = kind.idle_a + kind.running_a + kind.starting_a
    assert kind.supply_v - lowest == pytest.approx(kind.supply_ohm * most_a, rel=0.2)
    assert servo.supply_v == pytest.approx(kind.supply_v - kind.supply_ohm * kind.idle_a)


@pytest.mark.parametrize("noise_counts", [0.6, 1.5])
def test_the_encoder_has_its_steps_and_its_noise(noise_counts):
    servo = EmulatedServo(CALM, EncoderKind(noise_counts=noise_counts), seed=4)
    counts = np.array([servo.sample().counts for _ in range(4000)])
    assert counts.dtype.kind == "i"
    assert counts.mean() == pytest.approx(2048, abs=4 * noise_counts / np.sqrt(4000) + 0.01)
    # Rounding adds a twelfth of a count squared, where noise spreads over some counts.
    assert counts.std() == pytest.approx(np.sqrt(noise_counts**2 + 1 / 12), rel=0.05)


def test_a_parallelogram_turns_the_vane_as_the_horn():
    linkage = Linkage(horn_mm=10, arm_mm=10)
    for horn_deg in (-40.0, -3.0, 0.0, 25.0):
        assert linkage.vane_deg(horn_deg) == pytest.approx(horn_deg, abs=1e-9)


@settings(max_examples=100)
@given(
    horn_mm=st.floats(6, 14),
    arm_mm=st.floats(10, 20),
    base_mm=st.floats(30, 60),
    horn_neutral_deg=st.floats(60, 120),
    arm_neutral_deg=st.floats(60, 120),
    horn_deg=st.floats(-25, 25),
)
def test_the_push_rod_keeps_its_length(
    horn_mm, arm_mm, base_mm, horn_neutral_deg, arm_neutral_deg, horn_deg
):
    """The defining property, and neutral is on the same branch."""
    linkage = Linkage(horn_mm, arm_mm, base_mm, horn_neutral_deg, arm_neutral_deg)
    assert linkage.vane_deg(0.0) == pytest.approx(0.0, abs=1e-9)
    horn = math.radians(horn_neutral_deg + horn_deg)
    arm = math.radians(arm_neutral_deg + linkage.vane_deg(horn_deg))
    length_mm = math.hypot(
        base_mm + arm_mm * math.cos(arm) - horn_mm * math.cos(horn),
        arm_mm * math.sin(arm) - horn_mm * math.sin(horn),
    )
    assert length_mm == pytest.approx(linkage.rod_mm, rel=1e-9)


def test_a_linkage_past_its_dead_centre_says_so():
    with pytest.raises(ValueError, match="does not reach"):
        Linkage(horn_mm=20, arm_mm=8, base_mm=40).vane_deg(80)


@settings(max_examples=200)
@given(
    horn_mm=st.floats(6, 25),
    arm_mm=st.floats(8, 20),
    base_mm=st.floats(30, 60),
    horn_neutral_deg=st.floats(60, 120),
    arm_neutral_deg=st.floats(60, 120),
)
def test_a_linkage_reaches_from_one_dead_centre_to_the_other(
    horn_mm, arm_mm, base_mm, horn_neutral_deg, arm_neutral_deg
):
    linkage = Linkage(horn_mm, arm_mm, base_mm, horn_neutral_deg, arm_neutral_deg)
    low, high = linkage.reach_deg
    for share in (0.0, 0.1, 0.5, 0.9, 1.0):
        linkage.vane_deg(low + share * (high - low))


def test_a_tenth_of_a_degree_past_its_dead_centre_a_linkage_does_not_reach():
    linkage = Linkage(horn_mm=20, arm_mm=12, base_mm=40)
    for beyond in (linkage.reach_deg[0] - 0.1, linkage.reach_deg[1] + 0.1):
        with pytest.raises(ValueError, match="does not reach"):
            linkage.vane_deg(beyond)


def test_the_same_seed_gives_the_same_servo_and_time_passes_the_same_in_any_pieces():
    """Also while it rests: leaping over rest is no shortcut in what comes out."""
    runs = []
    for pieces in (1, 7):
        servo = EmulatedServo(healthy_kind(3), seed=5)
        for pulse_us in (1540, 1480, 1481, 1520):
            servo.pulse(pulse_us)
            for _ in range(pieces):
                servo.advance(0.35 / pieces)
        runs.append((servo.vane_deg, servo.time_s, servo.sample()))
    assert runs[0] == runs[1]


def test_reversed_lead_turns_the_other_way():
    servo = EmulatedServo(CALM, fault=ServoFault(reversed_lead=True))
    assert trace(servo, 1600, 1.0)[-1] == pytest.approx(-10, abs=1e-3)


def test_a_loose_horn_adds_its_play():
    calm = replace(CALM, damping=1.0)
    servo = EmulatedServo(calm, fault=ServoFault(loose_horn_deg=3.0))
    low = trace(servo, 1400, 1.0)[-1], trace(servo, 1500, 1.0)[-1]
    high = trace(servo, 1600, 1.0)[-1], trace(servo, 1500, 1.0)[-1]
    assert high[1] - low[1] == pytest.approx(3.0, abs=1e-2)


def test_a_sticking_band_holds_only_within_itself():
    fault = ServoFault(sticking_from_deg=4.0, sticking_to_deg=8.0, sticking_deg=2.0)
    servo = EmulatedServo(CALM, fault=fault)
    assert trace(servo, 1560, 1.0)[-1] == pytest.approx(6.0, abs=0.3)
    stood = servo.vane_deg
    assert trace(servo, 1575, 1.0)[-1] == pytest.approx(stood, abs=1e-9)
    assert trace(servo, 1600, 1.0)[-1] == pytest.approx(10.0, abs=0.02)
    assert trace(servo, 1605, 1.0)[-1] == pytest.approx(10.5, abs=0.02)


def test_a_lost_tooth_costs_a_pitch_where_it_is_crossed():
    fault = ServoFault(tooth_at_deg=3.0, tooth_pitch_deg=2.5, tooth_chance=1.0)
    servo = EmulatedServo(CALM, fault=fault)
    assert trace(servo, 1520, 1.0)[-1] == pytest.approx(2.0, abs=0.01)
    assert trace(servo, 1550, 1.0)[-1] == pytest.approx(2.5, abs=0.01)
    assert trace(servo, 1500, 1.0)[-1] == pytest.approx(0.0, abs=0.01)


def test_teeth_lost_without_end_leave_the_horn_at_the_linkages_dead_centre():
    kind = replace(CALM, linkage=Linkage(horn_mm=11.8, horn_neutral_deg=91.8))
    servo = EmulatedServo(kind)
    servo._slipped_deg = -500.0
    assert servo.horn_deg == kind.linkage.reach_deg[0]
    assert servo.sample().counts is not None


@pytest.mark.parametrize(
    ("encoder", "answers", "magnet"),
    [("frozen", True, True), ("silent", False, False), ("no magnet", True, False)],
)
def test_a_dead_encoder_is_dead_in_its_own_way(encoder, answers, magnet):
    servo = EmulatedServo(CALM, fault=ServoFault(encoder=encoder), seed=2)
    servo.pulse(1650)
    samples = [servo.sample()]
    servo.advance(1.0)
    samples += [servo.sample() for _ in range(20)]
    assert all((sample.counts is not None) == answers for sample in samples)
    assert all(sample.magnet == magnet for sample in samples)
    if encoder == "frozen":
        assert len({sample.counts for sample in samples}) == 1


@pytest.mark.parametrize("name", FAULTS)
def test_every_named_fault_differs_from_no_fault(name):
    assert all(some_fault(name, seed) != ServoFault() for seed in range(20))


def test_an_unknown_fault_is_refused_with_the_known_ones():
    with pytest.raises(ValueError, match=r"no fault rust; known are stripped tooth, sticking"):
        some_fault("rust", 1)
