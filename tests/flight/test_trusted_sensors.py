"""Sensors that a check on the ground has seen to follow are believed from the first cycle on."""

from mixer.flight import Steering
from mixer.flight import layout as at
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

TABLES = flight_tables(vehicle())
STUCK = 0  # 0.001°, where vane 2 stands
PA = 2_000_000


def flown(steering: Steering, cycles: int) -> None:
    """A pitch that all vanes turn for; vane 2 does not."""
    for _ in range(cycles):
        steering.demand(600_000, 0, 0)
        own = list(steering.deflection_mdeg)
        steering.sensed(own[0], STUCK, own[2], own[3])
        steering.step(PA, 5000)


def test_a_vane_that_is_jammed_from_the_start_is_found() -> None:
    steering = Steering(TABLES)
    steering.trust(0b1111)
    flown(steering, 100)
    assert (steering.declared, steering.sensors_out) == (0b0010, 0)
    assert steering.deflection_mdeg[1] == STUCK


def test_without_a_check_its_sensor_is_told_to_be_out() -> None:
    steering = Steering(TABLES)
    flown(steering, 100)
    assert (steering.declared, steering.sensors_out) == (0, 0b0010)


def test_a_trusted_sensor_that_cannot_be_right_is_out() -> None:
    steering = Steering(TABLES)
    steering.trust(0b1111)
    flown(steering, 3)
    steering.sensed(0, 90_000, 0, 0)
    steering.step(PA, 5000)
    assert steering.sensors_out & 0b0010
    assert not steering.core[1][at.WATCH_BELIEVED] & 0b0010


def test_a_watch_that_is_switched_off_trusts_nothing() -> None:
    steering = Steering(TABLES)
    steering.watch(0)
    steering.trust(0b1111)
    assert steering.core[1][at.WATCH_BELIEVED] == 0


def test_only_those_that_are_named_are_trusted() -> None:
    for vanes in (0b0000, 0b0100, 0b1010, 0b11_0001):
        steering = Steering(TABLES)
        steering.trust(vanes)
        assert steering.core[1][at.WATCH_BELIEVED] == vanes & 0b1111


def test_a_watch_that_is_switched_off_tells_no_sensor_to_be_out() -> None:
    steering = Steering(TABLES)
    flown(steering, 100)
    assert steering.sensors_out == 0b0010
    steering.watch(0)
    assert steering.sensors_out == 0
