"""Wind, gust and turbulence that a simulated flight meets, against their specifications."""

import numpy as np
import pytest
from scipy.integrate import quad

from hil.air.turbulence import (
    FOOT_M,
    HEIGHT_M,
    LENGTH_M,
    OVER_VERTICAL,
    POINTS,
    STEP,
    Turbulence,
    series,
)
from hil.flights.fly import Flight, fly
from hil.rocket.dispersion import drawn, nominal, side_by_side
from hil.rocket.rocket import POSITION, Rocket
from hil.rocket.wind import Wind
from tests.support.flying import BRIEF, flying_vehicle

NEUTRAL_US = np.full((4, 1), 1500.0)


def test_the_mean_wind_grows_as_the_power_law_of_the_handbooks():
    """10 m/s at 10 m is 13.459 m/s at 80 m with the exponent 1/7."""
    vehicle = flying_vehicle({"rocket.wind.speed_m_s": 10.0, "rocket.wind.shear_exponent": 1 / 7})
    wind = Wind(vehicle.needs_rocket().wind, nominal(vehicle))
    assert -wind.at(0.0, np.array([80.0]))[1, 0] == pytest.approx(13.45900, rel=1e-3)


@pytest.mark.parametrize(("feet", "length_ft", "ratio"), [
    (100.0, 505.169, 1.715849), (500.0, 944.657, 1.236236), (1000.0, 1000.0, 1.0),
    (5000.0, 1750.0, 1.0),
])  # fmt: skip
def test_scale_and_strength_of_turbulence_are_the_specification_s(feet, length_ft, ratio):
    """MIL-F-8785C, low altitudes: L = h/f^1.2, σ_u/σ_w = f^-0.4, f = 0.177 + 0.000823 h in feet;
    1750 ft above.
    """
    height_m = FOOT_M * feet
    assert np.interp(height_m, HEIGHT_M, LENGTH_M) / FOOT_M == pytest.approx(length_ft, rel=2e-4)
    assert np.interp(height_m, HEIGHT_M, OVER_VERTICAL) == pytest.approx(ratio, rel=2e-4)


def test_the_series_has_the_dryden_spectrum():
    """Periodograms of seeds 0 to 799 against (1/π)(1 + 3q²)/(1 + q²)², one-sided in q, whose
    integral is 1: within 3 % in bands from q = 0.5 to 20.
    """
    many = np.concatenate([series(seed).reshape(2, POINTS) for seed in range(800)])
    window = np.hanning(POINTS)
    power = np.abs(np.fft.rfft(many * window, axis=1)) ** 2 / (window @ window)
    density = power.mean(axis=0) * STEP * 2 / (2 * np.pi)  # one-sided, by q and not by cycles
    q = 2 * np.pi * np.fft.rfftfreq(POINTS, STEP)
    form = lambda q: (1 + 3 * q**2) / (1 + q**2) ** 2 / np.pi  # noqa: E731
    assert quad(form, 0, np.inf)[0] == pytest.approx(1.0, rel=1e-6)
    for low, high in ((0.5, 1.0), (1.0, 2.0), (2.0, 5.0), (5.0, 10.0), (10.0, 20.0)):
        band = (q > low) & (q < high)
        assert np.mean(density[band] / form(q[band])) == pytest.approx(1.0, abs=0.03)
    assert many.var() == pytest.approx(1.0, abs=0.02)
    assert abs(np.mean(many[0::2] * many[1::2])) < 0.02  # neither component tells of the other


def test_turbulence_is_read_by_the_way_flown_and_the_height():
    """Half the way in half the height's scale is the same point of the series."""
    table = series(5)
    points = table.reshape(2, POINTS)
    air = Turbulence(table, np.array([1.5]))
    high = np.array([3000.0])
    air.fly(np.array([100 * STEP * 533.4]), high)
    assert air.at(high)[:, 0] == pytest.approx(1.5 * points[:, 100], rel=1e-9)
    low = np.array([500 * FOOT_M])
    air.fly(np.array([50 * STEP * 944.657 * FOOT_M]), low)
    assert air.at(low)[:, 0] == pytest.approx(1.5 * 1.236236 * points[:, 150], rel=0.02)


def test_turbulence_goes_with_the_mean_wind_and_can_be_left_out():
    strong, calm, none = (
        Wind(v.needs_rocket().wind, nominal(v)).turbulence.at(np.array([300.0]))
        for v in (
            flying_vehicle({"rocket.wind.speed_m_s": 12.0}),
            flying_vehicle({"rocket.wind.speed_m_s": 0.0}),
            flying_vehicle({"rocket.wind.turbulence_percent": 0.0}),
        )
    )
    assert np.abs(strong).max() > 0.1
    assert not calm.any() and not none.any()


def test_each_seed_has_air_of_its_own_and_the_same_again():
    vehicle = flying_vehicle()
    first, second, again = (drawn(vehicle, seed).turbulence for seed in (1, 2, 1))
    assert np.array_equal(first, again)
    assert abs(np.corrcoef(first[:, 0], second[:, 0])[0, 1]) < 0.1


def test_a_gust_by_distance_is_half_a_cosine_of_the_way_flown():
    """½ Vm (1 − cos πx/dm): 3.5 m/s, dm 120 m, 0.512563 at 30 m, whole at 120 m, gone at 240 m."""
    vehicle = flying_vehicle({
        "rocket.wind.gust_m_s": 3.5, "rocket.wind.gust_half_length_m": 120.0,
        "rocket.wind.gust_time_s": 2.0, "rocket.wind.speed_m_s": 0.0,
    })  # fmt: skip
    wind = Wind(vehicle.needs_rocket().wind, nominal(vehicle))
    height_m = np.array([100.0])
    wind.fly(1.9, np.array([500.0]), height_m)
    assert not wind.at(2.0, height_m).any()
    for way_m, expected in ((30.0, 0.512563), (90.0, 3.5), (120.0, 0.0), (10.0, 0.0)):
        wind.fly(2.0, np.array([way_m]), height_m)
        found = np.linalg.norm(wind.at(2.0, height_m))
        assert found == pytest.approx(expected, abs=2e-5)


def test_a_fast_rocket_is_through_a_gust_sooner_than_a_slow_one():
    """The gust of 100 m at about 2 g and 2.5 s: counted in a flight, against its speed."""
    vehicle = flying_vehicle({
        "rocket.wind.speed_m_s": 0.0, "rocket.wind.gust_half_length_m": 50.0,
        "rocket.wind.gust_time_s": 2.5, "engine.burn_time_s": 12.0, "rocket.servo_lag_ms": 29.0,
    })  # fmt: skip
    rocket = Rocket(vehicle, nominal(vehicle))
    met = []
    for _ in range(550):
        rocket.advance(NEUTRAL_US, 10_000)
        height_m = rocket.state[POSITION.start]
        met.append((rocket.time_s, height_m[0], np.abs(rocket._wind.at(rocket.time_s, height_m))))
    inside = [(time_s, height_m) for time_s, height_m, wind in met if wind.max() > 1e-3]
    assert inside[0][0] == pytest.approx(2.5, abs=0.1)
    assert inside[-1][0] < 5.0  # it was flown through
    assert inside[-1][1] - inside[0][1] == pytest.approx(100.0, rel=0.1)


@pytest.mark.usefixtures("campaign")
def test_a_flight_through_turbulence_is_the_same_alone_and_in_a_block():
    """Bit for bit at the end of a burn, quicker servos beside it or not."""
    vehicle = flying_vehicle(
        BRIEF,
        {
            "rocket.wind.gust_half_length_m": 60.0,
            "servos.latency_ms": 25.0,
            "servos.backlash_deg": 0.3,
        },
    )
    block = [Flight(drawn(vehicle, seed), seed) for seed in range(8)]
    ends = []
    for flights in (block, [block[3]]):
        states = []

        def keep(cycle, states=states):
            states.append(cycle.rocket.state.copy())

        fly(vehicle, flights, listener=keep)
        ends.append(states[480])
    assert np.array_equal(ends[0][:, 3], ends[1][:, 0])


def test_steps_do_not_hang_on_who_flies_beside():
    """A flight whose four servos are slower than the file says, beside one whose are quicker."""
    vehicle = flying_vehicle(BRIEF)
    slow, quick = nominal(vehicle), nominal(vehicle)
    slow.servo_lag_alike[:] = 1.2
    quick.servo_lag_alike[:] = 0.8
    pulses = np.array([[1520.0], [1480.0], [1510.0], [1500.0]])
    alone, beside = (Rocket(vehicle, truth) for truth in (slow, side_by_side([slow, quick])))
    for _ in range(200):
        alone.advance(pulses, 10_000)
        beside.advance(np.repeat(pulses, 2, axis=1), 10_000)
    assert np.array_equal(alone.state[:, 0], beside.state[:, 0])
