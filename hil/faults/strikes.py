"""What each kind of failure does to a flight when it begins; each returns how it ends.

All take what can be struck, the flight's number, the vane's index (-1 for none) and the value.
"""

from collections.abc import Callable

import numpy as np

from hil.faults.struck import Act, Struck, one_more, put


def nothing() -> None:
    """What is over when it has happened, or is for ever."""


def harmless(struck: Struck, flight: int, vane: int, value: float) -> Act:
    """What sits in the tables does nothing to rocket, sensors or line."""
    return nothing


def jam(struck: Struck, flight: int, vane: int, value: float) -> Act:
    return put(struck.rocket.servos.held_deg, (vane, flight), value, np.nan)


def jam_in_place(struck: Struck, flight: int, vane: int, value: float) -> Act:
    return jam(struck, flight, vane, struck.rocket.vane_deg[vane, flight])


def lose_vane(struck: Struck, flight: int, vane: int, value: float) -> Act:
    return put(struck.rocket.vanes.alive, (vane, flight), 0.0, 1.0)


def slow_servo(struck: Struck, flight: int, vane: int, value: float) -> Act:
    def slow(share: float) -> None:
        struck.rocket.servos.slew_deg_s[vane, flight] *= share
        struck.rocket.servos.lag_s[vane, flight] /= share

    slow(value)
    return lambda: slow(1.0 / value)


def reverse_servo(struck: Struck, flight: int, vane: int, value: float) -> Act:
    return put(struck.reversed, (vane, flight), True, False)


def swap_servos(struck: Struck, flight: int, vane: int, value: float) -> Act:
    def swap() -> None:
        column, other = struck.servo_of_vane[:, flight], round(value) - 1
        column[[vane, other]] = column[[other, vane]]

    swap()
    return swap


def sensor(array: str, sound: float) -> Callable[[Struck, int, int, float], Act]:
    """The value goes into one of the pressure sensors' arrays."""
    return lambda struck, flight, vane, value: put(
        getattr(struck.sensors, array), flight, value, sound
    )


def freeze_sensor(struck: Struck, flight: int, vane: int, value: float) -> Act:
    struck.sensors.freeze(flight)
    return lambda: struck.sensors.frozen_pa.__setitem__(flight, np.nan)


def sensor_at_full_scale(struck: Struck, flight: int, vane: int, value: float) -> Act:
    return put(struck.sensors.full, flight, True, False)


def sensor_off_and_on(struck: Struck, flight: int, vane: int, value: float) -> Act:
    struck.sensors.off_since_s[flight] = struck.now_s
    return put(struck.sensors.off_hz, flight, value, 0.0)


def silence(struck: Struck, flight: int, vane: int, value: float) -> Act:
    return one_more(struck.silent, flight)


def damage_frames(struck: Struck, flight: int, vane: int, value: float) -> Act:
    return put(struck.damage, flight, value, 0.0)


def reset_board(struck: Struck, flight: int, vane: int, value: float) -> Act:
    back = one_more(struck.out, flight)

    def restart() -> None:
        back()
        struck.since[flight] = 0
        struck.steering.reset(flight)

    struck.later(struck.now_s + value, restart)
    return nothing


def late_cycles(struck: Struck, flight: int, vane: int, value: float) -> Act:
    return put(struck.periods, flight, round(value), 1)


def ignite_late(struck: Struck, flight: int, vane: int, value: float) -> Act:
    return put(struck.rocket.engine.late_s, flight, value, 0.0)


def chuff(struck: Struck, flight: int, vane: int, value: float) -> Act:
    return put(struck.rocket.engine.chuffs, flight, round(value), 0)


def burn_out(struck: Struck, flight: int, vane: int, value: float) -> Act:
    struck.rocket.engine.burn_out(flight, struck.now_s)
    return nothing
