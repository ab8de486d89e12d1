"""The simulated rocket against closed forms: spin, moments, flight path, air, vanes, servos."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.spatial.transform import Rotation

from hil.air.atmosphere import GRAVITY_M_S2, density_kg_m3
from hil.engine.burn import make_burn
from hil.rocket.airframe import Airframe, air_density_kg_m3
from hil.rocket.dispersion import Truth, drawn, nominal, side_by_side
from hil.rocket.rigid_body import (
    angular_acceleration,
    axes_in_earth,
    cross,
    normalised,
    quaternion_rate,
    runge_kutta,
    to_body,
    to_earth,
)
from hil.rocket.rocket import POSITION, QUATERNION, RATE, VANE, VELOCITY, Rocket
from hil.rocket.servos import Actuators
from hil.rocket.vanes import TrueVanes
from hil.rocket.wind import Wind
from mixer.ground.vehicle.assumed import assumed_of
from mixer.ground.vehicle.vehicle import VehicleError
from tests.support.flying import STILL_AIR, flying_vehicle

NEUTRAL_US = np.full((4, 1), 1500.0)


def spin(inertia, rate, seconds, step_s, moment=None):
    """A body turning freely from rest attitude, or under a constant body moment."""
    quaternion = np.zeros((4, inertia.shape[1]))
    quaternion[0] = 1.0
    torque = np.zeros_like(rate) if moment is None else moment

    def derivative(_time_s, state):
        turning = angular_acceleration(inertia, state[4:], torque)
        return np.concatenate([quaternion_rate(state[:4], state[4:]), turning])

    state = np.concatenate([quaternion, rate])
    for k in range(round(seconds / step_s)):
        state = runge_kutta(derivative, k * step_s, state, step_s)
        state[:4] = normalised(state[:4])
    return state


def with_truth(truth: Truth, **changes) -> Truth:
    """A truth with some fields changed."""
    return Truth(**{**truth.__dict__, **changes})


# ---- turning -------------------------------------------------------------------------------


def test_a_quaternion_turns_vectors_as_a_rotation_matrix_does():
    """Second route: SciPy's rotations."""
    random = np.random.default_rng(1)
    quaternion = normalised(random.standard_normal((4, 50)))
    vectors = random.standard_normal((3, 50))
    reference = Rotation.from_quat(quaternion.T, scalar_first=True)
    axes = axes_in_earth(quaternion)
    turned, turned_back = to_earth(axes, vectors), to_body(axes, vectors)
    assert turned == pytest.approx(reference.apply(vectors.T).T, abs=1e-14)
    assert turned_back == pytest.approx(reference.inv().apply(vectors.T).T, abs=1e-14)


def test_a_free_spin_keeps_energy_and_angular_momentum():
    """To 3e-10 over 30 s, three unequal moments of inertia, spins of up to 2 rad/s."""
    random = np.random.default_rng(2)
    inertia = random.uniform(1.0, 3.0, (3, 6))
    rate = random.uniform(-2.0, 2.0, (3, 6)) / np.sqrt(3.0)
    end = spin(inertia, rate, 30.0, 0.005)
    energy = lambda w: (inertia * w * w).sum(axis=0)  # noqa: E731
    assert energy(end[4:]) == pytest.approx(energy(rate), rel=3e-10)
    momentum = to_earth(axes_in_earth(end[:4]), inertia * end[4:])
    size = np.linalg.norm(inertia * rate, axis=0)
    assert np.abs(momentum - inertia * rate).max() < 3e-10 * size.min()


def test_a_spinning_top_without_torque_precesses_at_the_closed_form_rate():
    """With Iy = Iz the cross rates turn backwards at λ = (Iz − Ix) ωx / Iz (Euler)."""
    inertia = np.array([[2.0], [30.0], [30.0]])
    end = spin(inertia, np.array([[3.0], [0.2], [0.0]]), 10.0, 0.0025)
    angle = (30.0 - 2.0) / 30.0 * 3.0 * 10.0
    expected = [3.0, 0.2 * np.cos(angle), -0.2 * np.sin(angle)]
    assert end[4:, 0] == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("axis", [0, 1, 2])
def test_a_constant_moment_gives_half_the_acceleration_times_time_squared(axis):
    inertia = np.array([[2.0], [30.0], [35.0]])
    moment = np.zeros((3, 1))
    moment[axis] = 4.0
    end = spin(inertia, np.zeros((3, 1)), 3.0, 0.0025, moment)
    acceleration = 4.0 / inertia[axis, 0]
    turned = Rotation.from_quat(end[:4, 0], scalar_first=True).as_rotvec()
    expected = 0.5 * acceleration * 9.0
    expected = (expected + np.pi) % (2.0 * np.pi) - np.pi
    assert turned[axis] == pytest.approx(expected, abs=1e-9)
    assert end[4 + axis, 0] == pytest.approx(acceleration * 3.0, rel=1e-12)


def test_halving_the_step_divides_the_error_by_sixteen():
    """Fourth order, on a tumbling body against a run with a far finer step."""
    inertia = np.array([[1.0], [2.0], [3.0]])
    rate = np.array([[0.5], [2.0], [0.3]])
    reference = spin(inertia, rate, 2.0, 0.0005)
    coarse, fine = (
        np.abs(spin(inertia, rate, 2.0, step) - reference).max() for step in (0.02, 0.01)
    )
    assert np.log2(coarse / fine) == pytest.approx(4.0, abs=0.1)


# ---- burn and flight path -------------------------------------------------------------------


def test_the_burn_load_is_the_integral_of_pressure_to_the_power_eight_tenths():
    """Straight ramps of length s add s / 1.8 each."""
    vehicle = flying_vehicle({"rocket.start_up_s": 0.5, "rocket.tail_off_s": 1.0})
    burn = make_burn(vehicle)
    assert burn.load_s[-1] == pytest.approx((26.0 - 0.5) + (0.5 + 1.0) / 1.8, abs=2e-5)
    assert burn.burned_at(np.array([0.0, 27.0])).tolist() == [0.0, 1.0]
    assert burn.share_at(np.array([-1.0, 0.25, 10.0, 26.5, 28.0])) == pytest.approx(
        [0.0, 0.5, 1.0, 0.5, 0.0], abs=1e-9
    )


def test_a_listed_thrust_curve_shapes_thrust_and_propellant_flow_alike():
    listed = {"time_s": [0.0, 26.0], "share": [1.1, 0.7]}
    burn = make_burn(flying_vehicle({"rocket.thrust": listed}))
    assert burn.share_at(np.array([13.0])) == pytest.approx([0.9], abs=1e-9)
    impulse, _ = quad(lambda t: float(burn.share_at(np.array(t))), 0.0, 13.0, limit=200)
    whole, _ = quad(lambda t: float(burn.share_at(np.array(t))), 0.0, 26.6, limit=200)
    assert burn.burned_at(np.array([13.0])) == pytest.approx([impulse / whole], rel=1e-5)


def test_a_start_up_longer_than_the_burn_is_refused_by_name():
    vehicle = flying_vehicle({"engine.burn_time_s": 0.2, "rocket.start_up_s": 0.3})
    with pytest.raises(VehicleError, match=r"rocket\.start_up_s = 0\.3: must be less than"):
        make_burn(vehicle)


def test_a_vehicle_without_a_rocket_table_is_refused_by_name():
    with pytest.raises(VehicleError, match="rocket: missing"):
        flying_vehicle({"rocket": None}).needs_rocket()


def test_a_straight_climb_without_air_gains_what_the_rocket_equation_says():
    """Tsiolkovsky: v = (T I / Δm) ln(m0 / m) − g t from lift-off, I the burn's share integral."""
    vehicle = flying_vehicle(
        STILL_AIR,
        {"vanes.drag_n": [0.0] * 3, "rocket.thrust_misalignment_deg": [0.0, 0.0]},
        {"engine.burn_time_s": 6.0},
    )
    rocket = Rocket(vehicle, nominal(vehicle))
    for _ in range(1000):
        rocket.advance(NEUTRAL_US, 5000)
    burn = make_burn(vehicle)
    whole_s = 6.0 - 0.3 + 0.5 * (0.3 + 0.6)
    mass = lambda t: 165.0 - 60.0 * float(burn.burned_at(np.array(t)))  # noqa: E731
    lift_off_s = 0.3 * 165.0 * GRAVITY_M_S2 / 5000.0
    exhaust_m_s = 5000.0 * whole_s / 60.0
    expected = exhaust_m_s * np.log(mass(lift_off_s) / mass(5.0)) - GRAVITY_M_S2 * (
        5.0 - lift_off_s
    )
    assert rocket.state[VELOCITY.start, 0] == pytest.approx(expected, rel=2e-5)
    assert rocket.state[POSITION.start + 1 : POSITION.stop, 0] == pytest.approx([0, 0], abs=1e-9)


def test_the_rail_holds_the_attitude_until_it_is_left():
    vehicle = flying_vehicle({"rocket.thrust_misalignment_deg": [2.0, 2.0]})
    rocket = Rocket(vehicle, nominal(vehicle))
    while rocket.state[POSITION.start, 0] < 5.5:
        rocket.advance(NEUTRAL_US, 5000)
        assert rocket.state[QUATERNION, 0].tolist() == [1.0, 0.0, 0.0, 0.0]
    for _ in range(200):
        rocket.advance(NEUTRAL_US, 5000)
    assert rocket.off_rail[0]
    assert abs(rocket.state[RATE, 0]).max() > 0.1


# ---- air ------------------------------------------------------------------------------------


def test_the_density_table_of_the_flight_follows_the_standard_atmosphere():
    """To 5e-5 everywhere, which it needs only near the corners between layers."""
    altitudes = np.random.default_rng(3).uniform(-900.0, 60_000.0, 5000)
    assert air_density_kg_m3(altitudes) == pytest.approx(density_kg_m3(altitudes), rel=5e-5)


def test_fins_turn_the_nose_into_the_air_by_the_slope_and_the_arm():
    """Moment = −q S C_Nα α (cg − cp), for a small angle and no turning."""
    vehicle = flying_vehicle()
    airframe = Airframe(vehicle.needs_rocket(), nominal(vehicle))
    cg_m, density, speed, angle = np.array([2.5]), np.array([1.1]), 200.0, 1e-3
    air = np.array([[speed], [0.0], [speed * angle]])
    loads = airframe.loads(density, air, np.zeros((3, 1)), cg_m)
    area = np.pi * 0.32**2 / 4
    force = 0.5 * 1.1 * speed**2 * area * 8.0 * angle
    # Air from below (w > 0) pushes up, behind the centre of gravity: the nose goes down.
    assert loads.force_n[2, 0] == pytest.approx(-force, rel=1e-6)
    assert loads.moment_nm[1, 0] == pytest.approx(-force * (2.5 - 1.5), rel=1e-6)
    assert loads.force_n[0, 0] == pytest.approx(-0.5 * 1.1 * speed**2 * area * 0.5, rel=1e-6)


def test_canted_fins_spin_the_rocket_up_to_speed_times_cant_over_arm():
    vehicle = flying_vehicle({"rocket.fin_cant_deg": 0.5})
    airframe = Airframe(vehicle.needs_rocket(), nominal(vehicle))
    spin_rad_s = 200.0 * np.radians(0.5) / 0.2
    air, cg_m, density = np.array([[200.0], [0.0], [0.0]]), np.array([2.5]), np.array([1.1])
    steady = airframe.loads(density, air, np.array([[spin_rad_s], [0.0], [0.0]]), cg_m)
    at_rest = airframe.loads(density, air, np.zeros((3, 1)), cg_m)
    lift = 0.5 * 1.1 * 200.0**2 * 0.03 * 2.5 * np.radians(0.5)
    assert steady.moment_nm[0, 0] == pytest.approx(0.0, abs=1e-9)
    assert at_rest.moment_nm[0, 0] == pytest.approx(4 * 0.2 * lift, rel=1e-12)


def test_fins_that_the_file_does_not_state_go_with_the_diameter_and_are_told():
    """A rocket of half the diameter has fins of a quarter of the area, half as far out."""
    vehicle = flying_vehicle({"rocket.diameter_m": 0.16, "rocket.fin_count": 3})
    small, assumed = vehicle.needs_rocket(), assumed_of(vehicle)
    assert (small.one_fin_m2, small.one_fin_arm_m) == pytest.approx((0.0075, 0.1))
    assert "rocket.fin_area_m2 0.0075" in assumed and "rocket.fin_arm_m 0.1" in assumed
    assert not any("fin_count" in text for text in assumed)
    stated = flying_vehicle({"rocket.fin_area_m2": 0.02, "rocket.fin_arm_m": 0.3}).needs_rocket()
    assert (stated.one_fin_m2, stated.one_fin_arm_m) == (0.02, 0.3)


def test_scatter_in_lengths_that_the_file_does_not_state_goes_with_the_diameter():
    stated = {"rocket.diameter_m": 0.16, "rocket.dispersion.cg_mm": 4.0}
    vehicle = flying_vehicle(stated)
    small = vehicle.needs_rocket()
    assert small.scatter_mm("cg_mm") == 4.0
    assert small.scatter_mm("cg_offset_mm") == 0.5
    assert small.scatter_mm("centre_of_pressure_mm") == 25.0
    assert "rocket.dispersion.cg_offset_mm 0.5" in assumed_of(vehicle)
    usual = flying_vehicle({"rocket.diameter_m": 0.32}).needs_rocket()
    assert [usual.scatter_mm(n) for n in ("cg_mm", "cg_offset_mm")] == [15.0, 1.0]


def test_what_the_file_does_not_state_of_servos_air_and_wear_is_told_with_its_key():
    assumed = assumed_of(flying_vehicle({"servos.backlash_deg": 0.3}))
    assert {"servos.latency_ms 0", "servos.pulse_hz 50", "rocket.rail_m 6"} <= set(assumed)
    assert "rocket.wind.shear_exponent 0.14" in assumed
    assert not any(text.startswith("servos.backlash_deg") for text in assumed)


def test_roll_damping_fades_as_the_air_does():
    vehicle = flying_vehicle()
    airframe = Airframe(vehicle.needs_rocket(), nominal(vehicle))
    air, rate, cg_m = np.array([[300.0], [0.0], [0.0]]), np.array([[2.0], [0.0], [0.0]]), [2.5]
    low, high = (
        airframe.loads(air_density_kg_m3(np.array([h])), air, rate, np.array(cg_m)).moment_nm[0, 0]
        for h in (0.0, 30_000.0)
    )
    assert low < 0.0
    assert high / low == pytest.approx(0.018410 / 1.2250, rel=1e-3)


def test_the_wind_grows_by_its_power_law_and_the_gust_peaks_halfway():
    vehicle = flying_vehicle({"rocket.wind.speed_m_s": 6.0, "rocket.wind.from_deg": 0.0})
    wind = Wind(vehicle.needs_rocket().wind, nominal(vehicle))
    at_300 = wind.at(0.0, np.array([300.0]))
    assert at_300[:, 0] == pytest.approx([0.0, -6.0 * 30.0**0.14, 0.0], rel=2e-4, abs=1e-9)
    peak = wind.at(8.75, np.array([0.0]))
    assert peak[:, 0] == pytest.approx([0.0, 0.0, -8.0], abs=1e-6)
    above_top = wind.at(0.0, np.array([5000.0]))
    assert above_top[1, 0] == pytest.approx(-6.0 * 100.0**0.14)


# ---- vanes and servos ------------------------------------------------------------------------


@pytest.mark.parametrize("vane", [0, 1, 2, 3])
def test_a_vane_turns_the_rocket_as_the_sign_convention_says(vane):
    """pitch = L cos φ f, yaw = L sin φ f, roll = R f; side force −sin φ f and cos φ f."""
    vehicle = flying_vehicle()
    vanes = TrueVanes(vehicle, nominal(vehicle))
    strength = vanes.strength(np.ones((1, 1)), np.zeros((1, 1)))
    angle_deg = np.zeros((4, 1))
    angle_deg[vane] = 9.0
    force = vanes.force_n(strength, angle_deg)
    clocking = np.radians([45.0, 135.0, 225.0, 315.0][vane])
    moment, side_y, side_z = vanes.loads(force, np.array([2.3]))
    expected = [0.045 * 120.0, 2.3 * np.cos(clocking) * 120.0, 2.3 * np.sin(clocking) * 120.0]
    assert moment[:, 0] == pytest.approx(expected, abs=1e-9)
    arm = np.array([[-2.3], [0.0], [0.0]])
    by_arm = cross(arm, np.stack([np.zeros(1), side_y, side_z]))
    assert by_arm[1:, 0] == pytest.approx(moment[1:, 0], abs=1e-9)


def test_each_vane_follows_its_own_curve_straight_on_beyond_its_end():
    forces = [[-200.0, 0.0, 200.0], [-100.0, 0.0, 300.0], [-50.0, 0.0, 50.0], [-15.0, 0.0, 15.0]]
    vehicle = flying_vehicle({"vanes.force_n": forces})
    vanes = TrueVanes(vehicle, nominal(vehicle))
    found = vanes.force_n(np.ones((4, 1)), np.array([[-7.5], [18.0], [3.0], [-16.0]]))
    assert found[:, 0] == pytest.approx([-100.0, 360.0, 10.0, -16.0])


def test_a_lost_vane_gives_nothing_and_a_worn_one_what_is_left():
    vehicle = flying_vehicle()
    truth = nominal(vehicle)
    vanes = TrueVanes(vehicle, with_truth(truth, vane_wear_alike=np.full((4, 1), 2.0)))
    vanes.alive[2] = 0.0
    strength = vanes.strength(np.full((1, 1), 0.8), np.full((1, 1), 26.0))
    assert strength[:, 0] == pytest.approx([0.8 * 0.86, 0.8 * 0.86, 0.0, 0.8 * 0.86])


def test_vane_drag_brakes_and_no_drag_is_none():
    vehicle = flying_vehicle()
    vanes = TrueVanes(vehicle, nominal(vehicle))
    at_rest = vanes.drag_n(np.ones((4, 1)), np.zeros((4, 1)))
    assert at_rest == pytest.approx([480.0])
    bare = flying_vehicle({"vanes.drag_n": None})
    assert TrueVanes(bare, nominal(bare)).drag_n(np.ones((4, 1)), np.zeros((4, 1))) == [0.0]


def test_a_servo_slews_then_settles_with_its_lag():
    """From −10° to +10°: straight at the slew rate, then e^(−t/lag); both known exactly."""
    vehicle = flying_vehicle(STILL_AIR)
    rocket = Rocket(vehicle, nominal(vehicle))
    rocket.state[VANE] = -10.0
    pulse = np.full((4, 1), 1600.0)
    for _ in range(10):
        rocket.advance(pulse, 5000)
    assert rocket.vane_deg[:, 0] == pytest.approx([-10.0 + 250.0 * 0.05] * 4, abs=1e-6)
    for _ in range(20):
        rocket.advance(pulse, 5000)
    slewing_s = (20.0 - 250.0 * 0.02) / 250.0
    left = 250.0 * 0.02 * np.exp(-(0.15 - slewing_s) / 0.02)
    assert rocket.vane_deg[:, 0] == pytest.approx([10.0 - left] * 4, abs=2e-4)


def test_servo_tables_turn_pulses_into_angles_either_way_round():
    vehicle = flying_vehicle({"servos.us_per_deg": [10.0, -10.0, 8.0, 10.0]})
    servos = Actuators(vehicle, nominal(vehicle), 0.02)
    pulses = np.array([[1600.0], [1600.0], [1540.0], [1500.0]])
    assert servos.target_deg(pulses)[:, 0] == pytest.approx([10.0, -10.0, 5.0, 0.0], abs=1e-9)


def test_a_thrust_line_beside_the_centre_of_gravity_turns_the_rocket():
    """Offset d and thrust T make the moment T d about the other axis; a turned line L T ε."""
    vehicle = flying_vehicle(
        STILL_AIR,
        {"rocket.cg_offset_mm": [0.0, 2.0], "rocket.thrust_misalignment_deg": [0.0, 0.5]},
    )
    rocket = Rocket(vehicle, nominal(vehicle))
    for _ in range(400):
        rocket.advance(NEUTRAL_US, 5000)
    roll, pitch, yaw = rocket.disturbance_nm[:, 0]
    lever_arm_m = 2.3 + 0.4 * rocket.time_s / 26.0
    assert pitch == pytest.approx(-5000.0 * 0.002, rel=1e-4)
    assert yaw == pytest.approx(-lever_arm_m * 5000.0 * np.radians(0.5), rel=1e-3)
    assert roll == pytest.approx(0.002 * 5000.0 * np.radians(0.5), rel=1e-4)


# ---- truth -----------------------------------------------------------------------------------


def test_the_nominal_flight_is_the_vehicle_file():
    vehicle = flying_vehicle()
    truth = nominal(vehicle)
    for name in truth.__dict__:
        if name.endswith("_alike"):
            assert np.all(getattr(truth, name) == 1.0), name


def test_draws_have_the_standard_deviations_of_the_vehicle_file():
    """Over 400 seeds; three standard errors of a standard deviation are 11 %."""
    vehicle = flying_vehicle()
    truth = side_by_side([drawn(vehicle, seed) for seed in range(400)])
    sigma = vehicle.needs_rocket().dispersion
    spread = lambda values: float(np.std(values))  # noqa: E731
    assert spread(truth.thrust_alike) == pytest.approx(0.01 * sigma.thrust_percent, rel=0.11)
    assert spread(truth.vane_angle_deg) == pytest.approx(sigma.vane_angle_deg, rel=0.11)
    assert np.degrees(spread(truth.misalignment_rad[0])) == pytest.approx(0.1, rel=0.11)
    assert abs(truth.thrust_alike.mean() - 1.0) < 3 * 0.02 / 20
    assert np.all(truth.gust_time_s >= 0.0)
    assert np.all(truth.gust_time_s <= 26.0)


def test_a_seed_is_the_same_flight_alone_or_among_others():
    vehicle = flying_vehicle()
    block = side_by_side([drawn(vehicle, seed) for seed in (4, 7, 9)])
    alone = drawn(vehicle, 7)
    for name, values in alone.__dict__.items():
        assert np.array_equal(getattr(block, name)[:, 1:2], values), name
