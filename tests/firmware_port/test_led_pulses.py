"""Pulses that are led, one call at a time: which of them, how far in a step, and to where."""

import pytest

from mixer.flight import Steering
from mixer.flight import layout as at
from mixer.flight.servo_pulses import ServoPulses
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

TABLES = flight_tables(vehicle())
NEUTRAL_NS = 1_500_000
NS_PER_DEG = 10_000
DT_US = 5000
STEP_MDEG = 1250  # in that time, at 250 degrees a second


def ns(deflection_mdeg: int) -> int:
    return NEUTRAL_NS + deflection_mdeg * NS_PER_DEG // 1000


@pytest.fixture
def steering() -> Steering:
    return Steering(TABLES)


@pytest.fixture
def pulses(steering: Steering) -> ServoPulses:
    pulses = ServoPulses()
    pulses.begin(steering)
    return pulses


def believe(steering: Steering, vane: int, deflection_mdeg: int) -> None:
    """The steering has it there at once, as of a vane that is declared or freed."""
    steering.deflection_mdeg[vane] = deflection_mdeg
    steering.pulse_ns[vane] = ns(deflection_mdeg)


@pytest.mark.parametrize("vanes", range(16))
def test_the_vanes_that_part_are_led_from_where_they_stood_and_the_others_are_not(
    steering: Steering, pulses: ServoPulses, vanes: int
) -> None:
    stood_mdeg = [1000, -2000, 3000, -4000]
    for i in range(4):
        believe(steering, i, stood_mdeg[i])
    pulses.follow(steering, DT_US, True)
    pulses.part_all(steering, vanes)
    for i in range(4):
        believe(steering, i, 10_000)
    pulses.follow(steering, DT_US, True)
    assert list(pulses.pulse_ns) == [
        ns(stood_mdeg[i] + STEP_MDEG) if vanes >> i & 1 else ns(10_000) for i in range(4)
    ]


@pytest.mark.parametrize("vanes", range(1, 16))
def test_vanes_that_the_watch_declares_are_led_from_the_command_that_they_had(
    steering: Steering, pulses: ServoPulses, vanes: int
) -> None:
    words = steering.core[1]
    for i in range(4):
        words[at.WATCH_FROM + i] = 1000 * (i + 1)
        believe(steering, i, 9000)
    words[at.JAMMED] = vanes
    pulses.follow(steering, DT_US, True)
    assert list(pulses.pulse_ns) == [
        ns(1000 * (i + 1) + STEP_MDEG) if vanes >> i & 1 else ns(9000) for i in range(4)
    ]


def test_a_fresh_steering_s_pulses_go_out_whatever_was_led_before(
    steering: Steering, pulses: ServoPulses
) -> None:
    for vane in range(1, 5):
        pulses.part(steering, vane)
        steering.jam(vane, 8000)
    steering.step(0, DT_US)
    pulses.follow(steering, DT_US, True)
    assert list(pulses.stands_mdeg) == [STEP_MDEG] * 4
    fresh = Steering(TABLES)
    pulses.begin(fresh)
    pulses.follow(fresh, DT_US, True)
    assert list(pulses.pulse_ns) == [NEUTRAL_NS] * 4


def test_however_long_a_cycle_was_a_pulse_goes_no_further_than_a_vane_in_half_a_second(
    steering: Steering, pulses: ServoPulses
) -> None:
    words = steering.core[1]
    pulses.part(steering, 2)
    believe(steering, 1, 9000)
    words[at.SLEW_HIGH + 1] = 10  # degrees a second
    pulses.follow(steering, 16_000_000, True)
    assert pulses.pulse_ns[1] == ns(5000)


@pytest.mark.parametrize("sense", [-1, 1])
@pytest.mark.parametrize("i", range(4))
def test_a_check_turns_one_vane_at_its_own_slow_rate_and_neutral_is_at_the_slew_again(
    steering: Steering, pulses: ServoPulses, i: int, sense: int
) -> None:
    pulses.turn(steering, i, sense * 3000, 10)
    for n in range(1, 4):
        pulses.follow(steering, DT_US, False)
        expected = [NEUTRAL_NS] * 4
        expected[i] = ns(sense * n * 10 * DT_US // 1000)
        assert list(pulses.pulse_ns) == expected
    pulses.turn(steering, i, sense * 3000, 1000)  # faster than the slew
    pulses.follow(steering, DT_US, False)
    assert pulses.pulse_ns[i] == ns(sense * (150 + STEP_MDEG))
    pulses.turn(steering, i, sense * 3000, 200)
    pulses.follow(steering, DT_US, False)
    assert pulses.pulse_ns[i] == ns(sense * (1150 + STEP_MDEG))
    pulses.turn_no_more()
    pulses.follow(steering, DT_US, False)
    assert pulses.pulse_ns[i] == ns(sense * 1150)
    pulses.follow(steering, DT_US, False)
    assert list(pulses.pulse_ns) == [NEUTRAL_NS] * 4
    assert pulses.leading
    pulses.follow(steering, DT_US, False)
    assert not pulses.leading


def test_a_vane_that_begins_to_turn_is_on_its_way(steering: Steering, pulses: ServoPulses) -> None:
    assert not pulses.leading
    pulses.turn(steering, 1, 3000, 10)
    assert pulses.leading


@pytest.mark.parametrize("vane", range(4))
def test_a_vane_that_moved_in_the_last_cycle_does_not_rest_and_the_first_cycle_tells_of_none(
    steering: Steering, pulses: ServoPulses, vane: int
) -> None:
    seen = []
    pulses.doubt_rest()
    for deflection_mdeg in (0, 0, 1, 1, 0, 0):
        believe(steering, vane, deflection_mdeg)
        pulses.follow(steering, DT_US, False)
        pulses.watch_rest(steering)
        seen.append(pulses.resting)
    assert seen == [False, True, False, True, False, True]
