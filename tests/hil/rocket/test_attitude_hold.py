"""The attitude hold that makes the demands of simulated flights."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from hil.flights.attitude_hold import AttitudeHold, in_mnm, roll_angle, tilt
from hil.flights.fly import Flight, fly
from hil.rocket.dispersion import nominal
from hil.rocket.rigid_body import angular_acceleration, axes_in_earth, quaternion_rate, runge_kutta
from hil.rocket.rocket import QUATERNION, RATE, Rocket
from tests.support.flying import BRIEF, STILL_AIR, flying_vehicle


def turned(about: str, degrees: float):
    """A quaternion (4, 1) turned about one body axis."""
    return Rotation.from_euler(about, degrees, degrees=True).as_quat(scalar_first=True)[:, None]


@pytest.mark.parametrize("degrees", [-20.0, -1.0, 3.0, 45.0])
def test_tilt_is_the_sine_of_the_turn_about_pitch_or_yaw(degrees):
    sine = np.sin(np.radians(degrees))
    about_pitch, about_yaw = tilt(axes_in_earth(turned("y", degrees)))
    assert (about_pitch[0], about_yaw[0]) == pytest.approx((sine, 0.0), abs=1e-12)
    about_pitch, about_yaw = tilt(axes_in_earth(turned("z", degrees)))
    assert (about_pitch[0], about_yaw[0]) == pytest.approx((0.0, sine), abs=1e-12)


@given(st.floats(-179.0, 179.0), st.floats(-80.0, 80.0), st.floats(0.0, 360.0))
def test_roll_angle_does_not_see_tilt(roll_deg, tilt_deg, towards_deg):
    """A tilt in any level direction laid on top of a roll leaves the roll as it was."""
    axis = np.array([0.0, np.cos(np.radians(towards_deg)), np.sin(np.radians(towards_deg))])
    leaning = Rotation.from_rotvec(np.radians(tilt_deg) * axis)
    rolled = Rotation.from_euler("x", roll_deg, degrees=True)
    quaternion = (leaning * rolled).as_quat(scalar_first=True)[:, None]
    expected = 2.0 * np.sin(np.radians(roll_deg) / 2.0)
    assert roll_angle(quaternion)[0] == pytest.approx(expected, abs=1e-9)
    assert roll_angle(-quaternion)[0] == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(("ratio", "axis"), [(0.3, 1), (0.8, 2), (1.5, 1), (0.7, 0)])
def test_the_closed_loop_has_the_frequency_and_damping_of_its_gains(ratio, axis):
    """A small turn decays as e'' + 2ζω e' + ω² e = 0 does, with vanes that give what is asked."""
    omega = 3.0
    gains = {"frequency_rad_s": omega, "damping_ratio": ratio}
    roll_gains = {"roll_frequency_rad_s": omega, "roll_damping_ratio": ratio}
    vehicle = flying_vehicle(STILL_AIR, {"rocket.hold": gains | roll_gains})
    rocket = Rocket(vehicle, nominal(vehicle))
    rocket.off_rail[:] = True
    hold = AttitudeHold(vehicle)
    inertia = np.array([[2.6], [260.0], [260.0]])
    start = 1e-3
    state = np.concatenate([turned("xyz"[axis], np.degrees(start)), np.zeros((3, 1))])

    def derivative(_time_s, now):
        rocket.state[QUATERNION], rocket.state[RATE] = now[:4], now[4:]
        pitch, yaw, roll = hold.demand_nm(rocket)
        turning = angular_acceleration(inertia, now[4:], np.stack([roll, pitch, yaw]))
        return np.concatenate([quaternion_rate(now[:4], now[4:]), turning])

    step_s, angles, times = 0.004, [], []
    for k in range(750):
        state = runge_kutta(derivative, k * step_s, state, step_s)
        angles.append(2.0 * state[1 + axis, 0])
        times.append((k + 1) * step_s)
    root = np.emath.sqrt(ratio**2 - 1.0)
    fast, slow = -omega * (ratio + root), -omega * (ratio - root)
    t = np.array(times)
    expected = start * np.real((slow * np.exp(fast * t) - fast * np.exp(slow * t)) / (slow - fast))
    assert np.array(angles) == pytest.approx(expected, abs=2e-6 * start)


def test_nothing_is_demanded_on_the_rail():
    vehicle = flying_vehicle()
    rocket = Rocket(vehicle, nominal(vehicle))
    rocket.state[QUATERNION] = turned("y", 10.0)
    assert not AttitudeHold(vehicle).demand_nm(rocket).any()


def test_a_steady_disturbance_leaves_the_tilt_that_its_moment_needs():
    """A proportional hold without integral stands off by M / (I ω²)."""
    vehicle = flying_vehicle(
        STILL_AIR,
        {"rocket.thrust_misalignment_deg": [0.2, 0.0]},
        BRIEF | {"engine.burn_time_s": 8.0},
    )
    seen = []

    def listen(cycle):
        if cycle.rocket.time_s > 7.5 and not seen:
            seen.append(np.degrees(np.arcsin(tilt(cycle.rocket.axes)[0][0])))

    fly(vehicle, [Flight(nominal(vehicle))], listener=listen)
    moment_nm = -5000.0 * np.radians(0.2) * (2.3 + 0.4 * 7.5 / 26.0)
    burned = (7.5 - 0.15) / (8.0 - 0.15 + 0.3)
    inertia = 260.0 - 60.0 * burned
    assert seen[0] == pytest.approx(np.degrees(moment_nm / (inertia * 16.0)), rel=0.02)


@given(st.lists(st.floats(-1e9, 1e9), min_size=3, max_size=3))
def test_demands_are_whole_and_within_what_the_steering_takes(demand_nm):
    pitch, yaw, roll = in_mnm(np.array(demand_nm)[:, None], 2_000_000, 50_000)[:, 0]
    assert max(abs(pitch), abs(yaw)) <= 2_000_000
    assert abs(roll) <= 50_000


def test_a_far_demand_keeps_its_direction():
    pitch, yaw, _ = in_mnm(np.array([[3e5], [-1e5], [0.0]]), 1_500_000, 1)[:, 0]
    assert (pitch, yaw) == (1_500_000, -500_000)
