"""Frames, latency and play of the flown servos; jet damping, and thrust that grows with height."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from hil.air.atmosphere import pressure_pa
from hil.ascent.history import fly_ascent
from hil.ascent.report import separation_words
from hil.engine.nozzle import nozzle_of
from hil.flights.fly import Flight, fly
from hil.rocket.dispersion import drawn, nominal
from hil.rocket.pulse_line import PulseLine
from hil.rocket.rocket import RATE, VANE, VELOCITY, Rocket
from mixer.flight.layout import JAMMED_VANE
from tests.support.flying import BRIEF, STILL_AIR, flying_vehicle

NEUTRAL_US = np.full((4, 1), 1500.0)
NOZZLE = {
    "engine.throat_diameter_mm": 47.7,
    "engine.expansion_ratio": 4.0,
    "engine.specific_heat_ratio": 1.2,
}


def line_of(phase_us=0, delay_us=0, frame_us=20_000):
    phase = np.full((1, 1), float(phase_us))
    return PulseLine(frame_us, phase, np.full((4, 1), float(delay_us)), np.zeros((4, 1)))


@given(
    phase_us=st.integers(0, 19_999),
    delay_us=st.integers(0, 300_000),
    step_us=st.sampled_from([1000, 2500, 5000, 10_000]),
)
def test_a_step_leaves_with_the_next_frame_and_is_answered_after_the_latency(
    phase_us, delay_us, step_us
):
    """Against the definition on a grid of microseconds: a demand changes at 100 ms."""
    line = line_of(phase_us, delay_us)
    change_us, got = 100_000, []
    for begin_us in range(0, 500_000, step_us):
        line.send(np.full((4, 1), 1.0 if begin_us >= change_us else 0.0), begin_us, step_us)
        got.append(line.mean_deg(begin_us, step_us)[0, 0])
    # The first frame that begins at the change or later; a step's demand holds all through it.
    frame = -((phase_us - change_us) // 20_000)
    answer_us = phase_us + 20_000 * frame + delay_us
    for number, mean in enumerate(got):
        begin_us = number * step_us
        share = np.clip((begin_us + step_us - answer_us) / step_us, 0.0, 1.0)
        assert mean == pytest.approx(share, abs=1e-9)


def test_what_is_wanted_between_two_frames_is_never_sent():
    line = line_of()
    wanted = [0.0, 5.0, -5.0, 0.0, 2.0, 0.0]
    for number, angle in enumerate(wanted):
        line.send(np.full((4, 1), angle), 5000 * number, 5000)
    assert line.mean_deg(15_000, 5000)[0, 0] == 0.0
    assert line.mean_deg(20_000, 5000)[0, 0] == 2.0


def deflections(changes, pulses_us, cycles=60):
    """Vane 1 of a rocket in still air, cycle by cycle of 5 ms, under pulses by cycle."""
    vehicle = flying_vehicle(STILL_AIR, changes)
    rocket, seen = Rocket(vehicle, nominal(vehicle)), []
    for number in range(cycles):
        rocket.advance(np.full((4, 1), pulses_us(number)), 5000)
        seen.append(rocket.vane_deg[0, 0])
    return np.array(seen)


def test_the_latency_that_the_bench_measured_delays_the_vane_less_half_a_frame():
    """The bench's figure holds the wait for a frame: of 30 ms, 20 ms are added to the frames."""
    step = lambda number: 1600.0 if number >= 4 else 1500.0  # noqa: E731
    prompt, late = deflections({}, step), deflections({"servos.latency_ms": 30.0}, step)
    assert late[4:] == pytest.approx(np.concatenate([np.zeros(4), prompt[4:-4]]), abs=1e-9)


def test_pulses_every_20_ms_hold_what_was_wanted_when_they_began():
    """A demand that comes and goes within a frame moves nothing."""
    blink = lambda number: 1600.0 if number in (5, 6) else 1500.0  # noqa: E731
    assert not deflections({}, blink).any()
    assert deflections({"servos.pulse_hz": 200.0}, blink).max() > 1.0


def test_play_holds_the_vane_until_it_is_taken_up():
    """Up to 10°, then back to 9.7 and 9.0: with 0.6° of play the vane stands 0.3° behind."""

    def pulse(number):
        return 1600.0 if number < 60 else 1597.0 if number < 120 else 1590.0

    seen = deflections({"servos.backlash_deg": 0.6}, pulse, 180)
    assert seen[[59, 119, 179]] == pytest.approx([9.7, 9.7, 9.3], abs=1e-3)


def test_a_jam_waits_for_no_frame_and_has_no_play():
    vehicle = flying_vehicle(STILL_AIR, {"servos.backlash_deg": 1.0, "servos.latency_ms": 60.0})
    rocket = Rocket(vehicle, nominal(vehicle))
    rocket.servos.held_deg[1] = 7.0
    for _ in range(60):
        rocket.advance(NEUTRAL_US, 5000)
    assert rocket.vane_deg[1, 0] == pytest.approx(7.0, abs=1e-3)
    assert rocket.vane_deg[0, 0] == 0.0


def test_no_healthy_vane_with_latency_and_play_is_taken_for_jammed():
    vehicle = flying_vehicle(
        BRIEF,
        {"servos.backlash_deg": 0.4, "servos.latency_ms": 25.0, "engine.burn_time_s": 3.5},
    )
    flagged = []
    block = [Flight(drawn(vehicle, seed), seed) for seed in range(24)]
    fly(
        vehicle,
        block,
        listener=lambda c: flagged.append((c.steering.commands.flags & JAMMED_VANE).any()),
    )
    assert not any(flagged)


# ---- jet damping ------------------------------------------------------------------------------


def test_a_turning_rocket_is_slowed_by_the_gas_that_leaves_and_quickened_by_emptying_tanks():
    """No air, no moment: ω̇/ω = −(İ + ṁ l²)/I, put together by hand at 2.5 s of burn."""
    vehicle = flying_vehicle(
        STILL_AIR, {"rocket.thrust_misalignment_deg": [0.0, 0.0], "rocket.rail_m": 0.0}
    )
    rocket = Rocket(vehicle, nominal(vehicle))
    for _ in range(500):
        rocket.advance(NEUTRAL_US, 5000)
    rocket.state[RATE] = np.array([[0.0], [0.01], [0.0]])
    for _ in range(100):
        rocket.advance(NEUTRAL_US, 5000)
    whole_s = 26.0 - 0.3 + 0.5 * (0.3 + 0.6)
    flow_kg_s, growing = 60.0 / whole_s, -60.0 / whole_s
    middle_s = 2.75
    lever_m = 2.3 + 0.4 * middle_s / 26.0
    inertia = 260.0 - 60.0 * (middle_s - 0.15) / whole_s
    expected = 0.01 * np.exp(-0.5 * (growing + flow_kg_s * lever_m**2) / inertia)
    assert rocket.state[RATE][1, 0] == pytest.approx(expected, rel=2e-5)
    assert expected < 0.0099  # it does not cancel


def test_without_thrust_nothing_leaves_and_nothing_damps():
    vehicle = flying_vehicle(STILL_AIR, {"engine.burn_time_s": 0.8})
    rocket = Rocket(vehicle, nominal(vehicle))
    for _ in range(300):
        rocket.advance(NEUTRAL_US, 5000)
    assert rocket.held_over_step().damping_nms == pytest.approx([0.0])


# ---- nozzle -----------------------------------------------------------------------------------


def test_thrust_grows_by_the_exit_area_times_what_the_ambient_falls_by():
    """A_e from throat and expansion ratio: 0.00715 m² and 101325 Pa are 724 N in vacuum."""
    nozzle = nozzle_of(flying_vehicle(NOZZLE))
    area_m2 = 4.0 * np.pi / 4 * 0.0477**2
    high = np.array([0.0, 5000.0, 80_000.0])
    expected = area_m2 * (101_325.0 - pressure_pa(high))
    assert nozzle.more_thrust_n(np.ones(3), high) == pytest.approx(expected, rel=1e-4, abs=0.01)
    assert expected[2] == pytest.approx(724.3, abs=0.2)
    assert nozzle.more_thrust_n(np.zeros(3), high).tolist() == [0.0, 0.0, 0.0]


def test_a_vehicle_file_without_a_nozzle_has_the_thrust_that_it_states():
    nozzle = nozzle_of(flying_vehicle())
    assert nozzle.more_thrust_n(np.ones(1), np.array([9000.0])).tolist() == [0.0]
    assert nozzle.separation_bar(0.0) is None


@pytest.mark.usefixtures("campaign")
def test_a_flight_with_a_nozzle_gains_on_one_without():
    speeds = []
    for changes in ({}, NOZZLE):
        straight = {"rocket.thrust_misalignment_deg": [0.0, 0.0]}
        vehicle = flying_vehicle(STILL_AIR, straight, changes)
        rocket = Rocket(vehicle, nominal(vehicle))
        for _ in range(4000):
            rocket.advance(NEUTRAL_US, 5000)
        speeds.append(rocket.state[VELOCITY.start, 0])
    # At about 3 km on the mean of 20 s: 0.00715 m² · 20 kPa of 5 kN and 145 kg.
    assert 5.0 < speeds[1] - speeds[0] < 40.0


def test_the_flow_separates_below_four_tenths_of_the_ambient():
    """γ 1.2, ε 4: the Mach number from the area ratio, written out and solved here (brentq)."""
    nozzle = nozzle_of(flying_vehicle(NOZZLE))
    area = lambda mach: (2 / 2.2 * (1 + 0.1 * mach**2)) ** (2.2 / 0.4) / mach  # noqa: E731
    mach = brentq(lambda mach: area(mach) - 4.0, 1.5, 4.0)
    share = (1 + 0.1 * mach**2) ** -6.0
    assert nozzle.separation_bar(0.0) == pytest.approx(0.4 * 1.01325 / share, rel=1e-4)


@pytest.mark.usefixtures("campaign")
def test_the_report_notes_where_the_nozzle_separates_in_the_tail_off():
    vehicle = flying_vehicle(BRIEF, NOZZLE)
    flown = fly_ascent(vehicle, Flight(nominal(vehicle)))
    words = separation_words(vehicle, flown)
    assert "the flow leaves the nozzle's wall" in words and "from 5." in words
    unknown = flying_vehicle(BRIEF)
    flown = fly_ascent(unknown, Flight(nominal(unknown)))
    assert "cannot be told" in separation_words(unknown, flown)


def test_servo_state_and_vane_are_the_same_without_play():
    vehicle = flying_vehicle(STILL_AIR)
    rocket = Rocket(vehicle, nominal(vehicle))
    rocket.state[VANE] = 3.25
    assert rocket.vane_deg.tolist() == [[3.25]] * 4
