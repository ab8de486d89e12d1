"""The burn clock and the pressure that counts: steering outlives its one sensor."""

import pytest

from mixer.flight import Steering
from mixer.flight import layout as at
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

BAR = 100_000
PERIOD_US = 5_000
BURN_S = 26.0
Q14 = 1 << 14
FALLING = {"time_s": [0.0, 0.1, 26.0], "bar": [2.0, 20.0, 14.0]}


def steering(**engine) -> Steering:
    """A steering that believes readings within 0.5 and 1.5 of what is expected."""
    return Steering(flight_tables(vehicle(engine={"believed_pressure": None, **engine})))


def fly(steering: Steering, bar: float, seconds: float) -> list[list[int]]:
    """Every word that lasts or comes out, cycle by cycle, with a demand that is held."""
    seen = []
    for _ in range(round(seconds * 1e6 / PERIOD_US)):
        steering.demand(300_000, -100_000, 5_000)
        steering.step(round(bar * BAR), PERIOD_US)
        seen.append([*steering._w[: at.LASTING_WORDS]])
    return seen


def wait(steering: Steering, seconds: int) -> None:
    """Power on, no jet, no demand: in the longest cycles that a steering counts."""
    for _ in range(seconds):
        steering.step(0, 1_000_000)


@pytest.mark.parametrize("seconds", [30, 600, 3600])
def test_from_ignition_on_nothing_tells_how_long_a_module_has_waited(seconds):
    waited, fresh = steering(), steering()
    wait(waited, seconds)
    assert fly(waited, 20, 2.0) == fly(fresh, 20, 2.0)


def test_noise_of_the_sensor_on_the_pad_wears_no_vane():
    s = steering()
    for _ in range(3600):
        s.step(9 * BAR // 10, 1_000_000)  # 0.045 of the reference
    assert (s.time_us, s.load_us) == (0, 0)


def test_fifty_milliseconds_of_jet_start_the_clock_and_count():
    s = steering()
    fly(s, 20, 0.050)
    assert s.time_us == 0
    fly(s, 20, 0.005)
    assert s.time_us == 50_000
    fly(s, 20, 0.1)
    assert s.time_us == 150_000
    assert s.load_us == pytest.approx(150_000, abs=1)


def test_spikes_of_the_sensor_start_nothing():
    s = steering()
    for _ in range(100):
        fly(s, 20, 0.050)
        fly(s, 0, 0.005)
    assert s.time_us == 0


def test_one_reading_after_a_gap_is_a_spike_too():
    s = steering()
    s.step(20 * BAR, 900_000)
    assert s.time_us == 0


def test_a_start_that_dies_before_a_believed_reading_sets_the_clock_back():
    s = steering()
    fly(s, 5, 0.3)  # a quarter of what is expected: a jet, and not believed
    assert s.time_us > 0 and not s.flags & at.DOUBTED_PRESSURE
    fly(s, 0, 0.005)
    assert s.time_us == 0
    fly(s, 20, 0.2)
    assert s.time_us == pytest.approx(0.2e6, abs=PERIOD_US)


def test_once_a_reading_was_believed_the_clock_runs_come_what_may():
    s = steering()
    fly(s, 20, 1.0)
    fly(s, 0, 1.0)
    assert s.time_us == pytest.approx(2e6, abs=PERIOD_US)


BAD = {"dead": 0.0, "0.3 of it": 0.3, "three times": 3.0, "full scale": 8.0}


@pytest.mark.parametrize("when_s", [0.2 + 1.29 * n for n in range(20)])
@pytest.mark.parametrize("times", BAD.values(), ids=BAD)
def test_what_is_not_believed_is_replaced_and_steering_goes_on(times, when_s):
    s, true = steering(), steering()
    for one in (s, true):
        one.start(round(when_s * 1e6) - 50_000, 0)
        fly(one, 19, 0.05)
    for (*words,), (*right,) in zip(fly(s, 19 * times, 0.2), fly(true, 19, 0.2), strict=True):
        assert words[at.FLAGS] == right[at.FLAGS] | at.DOUBTED_PRESSURE
        assert words[at.DEFLECTION : at.FLAGS] == right[at.DEFLECTION : at.FLAGS]
        assert words[at.RATIO] == right[at.RATIO]
    fly(s, 19, 0.005)
    assert not s.flags & at.DOUBTED_PRESSURE


@pytest.mark.parametrize("times", [0.6, 1.4])
def test_a_reading_within_the_band_counts_as_it_stands(times):
    s = steering()
    fly(s, 20, 1.0)
    fly(s, 20 * times, 0.1)
    assert not s.flags & at.DOUBTED_PRESSURE
    assert s.ratio_q14 == pytest.approx(times * Q14, abs=2)


def test_the_last_believed_reading_is_carried_along_what_is_expected():
    s = steering(pressure_profile=FALLING)
    fly(s, 0.9 * 20, 0.5)
    fly(s, 0, 20.0)
    expected_bar = 20 - 6 * (s.time_us / 1e6 - 0.1) / 25.9
    believed_at_s = 0.5
    believed_bar = 20 - 6 * (believed_at_s - 0.1) / 25.9
    assert s.flags & at.DOUBTED_PRESSURE
    right = 0.9 * 20 * expected_bar / believed_bar / 20
    assert s.ratio_q14 / Q14 == pytest.approx(right, abs=3 / Q14)


def test_after_a_tenth_more_than_the_burn_readings_count_as_they_stand():
    s = steering()
    s.start(round((1.1 * BURN_S - 0.2) * 1e6), 0)
    fly(s, 20, 0.1)
    fly(s, 0, 0.05)
    assert s.flags & at.DOUBTED_PRESSURE and not s.flags & at.NO_THRUST
    fly(s, 0, 0.1)
    assert s.flags & at.NO_THRUST and not s.flags & at.DOUBTED_PRESSURE


def test_a_burn_that_was_said_to_have_begun_goes_by_what_is_expected_after_half_a_second():
    s = steering(pressure_profile=FALLING)
    s.start(0, 0)
    fly(s, 0, 0.495)
    assert s.flags & at.NO_THRUST and not s.flags & at.DOUBTED_PRESSURE
    fly(s, 0, 0.01)
    assert s.flags & at.DOUBTED_PRESSURE and not s.flags & at.NO_THRUST
    assert s.ratio_q14 / Q14 == pytest.approx((20 - 6 * 0.405 / 25.9) / 20, abs=2 / Q14)
    fly(s, 19, 0.005)
    assert not s.flags & at.DOUBTED_PRESSURE


def test_the_half_second_begins_when_it_is_said_however_long_there_was_a_jet():
    s = steering()
    fly(s, 5, 0.045)  # too short to start the clock
    s.begin()
    fly(s, 0, 0.495)
    assert not s.flags & at.DOUBTED_PRESSURE
    fly(s, 0, 0.005)
    assert s.flags & at.DOUBTED_PRESSURE


def test_a_clock_that_the_jet_has_started_is_not_set_back_by_who_says_so():
    s = steering()
    fly(s, 5, 0.3)  # a jet, and not believed
    burning_us = s.time_us
    s.begin()
    assert (s.time_us, s.burn) == (burning_us, at.SAID)
    fly(s, 0, 0.1)
    assert s.time_us == burning_us + 100_000
    s.begin()
    assert s.time_us == burning_us + 100_000


def test_vanes_that_are_not_new_may_wait_for_their_burn():
    s = steering()
    s.wait(3_000_000)
    wait(s, 60)
    assert (s.time_us, s.load_us, s.burn) == (0, 3_000_000, at.WAITING)
    fly(s, 20, 1.0)
    assert s.load_us == pytest.approx(4_000_000, abs=2 * PERIOD_US)


def test_it_is_told_for_how_long_another_pressure_has_counted():
    s = steering()
    fly(s, 20, 1.0)
    assert s.doubted_us == 0
    fly(s, 0, 0.3)
    assert s.doubted_us == 300_000
    fly(s, 20, 0.005)
    assert s.doubted_us == 0
    fly(s, 0, 0.1)
    assert s.doubted_us == 100_000


def test_a_vehicle_may_believe_more_or_less():
    s = steering(believed_pressure=[0.9, 1.1])
    fly(s, 20, 1.0)
    assert not fly(s, 18.1, 0.005)[0][at.FLAGS] & at.DOUBTED_PRESSURE
    assert fly(s, 17.9, 0.005)[0][at.FLAGS] & at.DOUBTED_PRESSURE


# ---- to the unit ---------------------------------------------------------------------------------


def test_the_jet_starts_the_clock_with_its_last_microsecond():
    s = steering()
    s.step(5 * BAR, 1_000)  # from this reading on
    s.step(5 * BAR, 49_999)
    assert s.time_us == 0
    s.step(5 * BAR, 1)
    assert s.time_us == 50_000


def test_what_is_expected_counts_with_the_last_microsecond_of_the_half_second():
    s = steering()
    s.begin()
    s.step(0, 499_999)
    assert not s.flags & at.DOUBTED_PRESSURE
    s.step(0, 1)
    assert s.flags & at.DOUBTED_PRESSURE


@pytest.mark.parametrize("ratio", [819, 820])
def test_a_ratio_that_is_carried_along_steers_from_a_twentieth_on(ratio):
    s = steering()
    fly(s, 20, 1.0)
    s.core[1][at.BELIEVED_RATIO] = ratio
    s.demand(300_000, 0, 0)
    s.step(0, PERIOD_US)
    assert s.ratio_q14 == ratio
    assert bool(s.flags & at.NO_THRUST) == (ratio / Q14 < 0.05)


def test_a_ratio_that_is_carried_along_stays_below_two():
    s = steering()
    fly(s, 20, 1.0)
    s.core[1][at.BELIEVED_RATIO] = 2 * Q14 - 1
    s.core[1][at.BELIEVED_EXPECTED] //= 2
    fly(s, 0, 0.005)
    assert s.ratio_q14 == 2 * Q14 - 1


def test_readings_are_doubted_up_to_the_last_microsecond_of_trust():
    s = steering()
    s.start(s.core[1][at.TRUST_US] - 2 * PERIOD_US, 0)
    fly(s, 20, 0.005)
    fly(s, 0, 0.005)
    assert s.flags & at.DOUBTED_PRESSURE
    s.step(0, 1)
    assert not s.flags & at.DOUBTED_PRESSURE


def test_a_start_that_died_begins_anew_with_its_first_reading():
    s = steering()
    fly(s, 5, 0.3)
    fly(s, 0, 0.005)
    s.step(5 * BAR, 50_000)  # a reading after a gap: how long there was a jet it does not tell
    assert s.time_us == 0


@pytest.mark.parametrize(("bar", "reading_pa", "ratio"), [(0.0013, 130, 1), (0.0005, 0, 0)])
def test_the_least_ratios_that_can_be_expected_are_carried_along_as_they_are(
    bar: float, reading_pa: int, ratio: int
) -> None:
    """A jet that has all but gone: 130 Pa of 20 bar are 1 of 16384, less is nothing."""
    s = steering(pressure_profile={"time_s": [0.0, 3.0, 20.0], "bar": [20.0, bar, bar]})
    s.start(6_000_000, 0)
    s.step(reading_pa, PERIOD_US)
    s.step(20 * BAR, PERIOD_US)
    assert s.flags & at.DOUBTED_PRESSURE
    assert s.ratio_q14 == ratio
