"""Building the flight tables: every number becomes an integer here, once.

Counts: 4096 = the largest |force| of any new vane at reference pressure within travel; forces in
the tables are in eighths of a count. Angles 0.001°, pulses ns, times 1.024 ms, cosines Q14. What is
rounded is rounded to nearest, except travel, which is rounded inwards.
"""

from typing import TYPE_CHECKING

import numpy as np

from mixer.flight import FlightTables
from mixer.flight import layout as at
from mixer.ground.inputs.section_errors import Problem, VehicleError
from mixer.ground.tables.curve_words import put_curves, put_servos
from mixer.ground.tables.geometry_words import put_allocation, put_geometry
from mixer.ground.tables.limits import assembled, refuse_unfit
from mixer.ground.tables.scales import EIGHTHS, FAR_EIGHTHS, MOST_MNM, scaled
from mixer.ground.tables.time_words import put_lever, put_pressure, put_wear
from mixer.ground.tables.watch_limits import watch_limits
from mixer.ground.tables.word_list import WordList

if TYPE_CHECKING:
    from mixer.ground.vehicle.vehicle import Vehicle


def flight_tables(vehicle: "Vehicle") -> FlightTables:
    """Flight tables of a vehicle; VehicleError, in words, where it does not fit the arithmetic."""
    from mixer.ground.kernel_code.bounds import bound_cycle  # reads the core; not needed to load
    from mixer.ground.kernel_code.spans import WordOverflowError

    refuse_unfit(vehicle)
    tables = FlightTables(assembled(lambda: words_of(vehicle), vehicle))
    try:
        bound_cycle(tuple(tables.words))
    except WordOverflowError as error:
        message = (
            "this vehicle does not fit the flight core's 32-bit arithmetic; nearest causes: very "
            f"uneven clocking, curves with very steep and very flat parts, extreme sizes ({error})"
        )
        raise VehicleError(str(vehicle.path), [Problem("", None, message)]) from error
    return tables


def words_of(vehicle: "Vehicle") -> list[int]:
    """The words of a vehicle's flight tables, in the order of `mixer/flight/layout.py`."""
    words = WordList(vehicle)
    for put in PARTS:
        put(words)
    return words.head + words.body


def put_control(words: WordList) -> None:
    control = words.vehicle.control
    words.put(at.POLICY, ("nearest", "direction").index(control.policy))
    words.put(at.PERIOD_US, round(1e6 / control.rate_hz))
    words.put(at.TIMEOUT_US, round(1e3 * control.demand_timeout_ms))


def put_roll(words: WordList) -> None:
    arm = words.vehicle.layout.roll_arm_m
    per_mnm = 1 / (words.force_unit_n * arm * 1000)
    gain = scaled(per_mnm, 28)
    if gain.exponent < 22:
        raise words.refuse(
            "layout.roll_arm_m",
            arm,
            "1 mN·m, the step of a demand, is more than eight counts on this vehicle: its roll "
            f"arm times its largest vane force is {EIGHTHS * words.force_unit_n * arm:.2g} N·m and "
            "must be 0.5 or more. Larger vanes or more "
            "travel, a wider nozzle (less chamber pressure for the same thrust), or more thrust",
        )
    moment = scaled(words.force_unit_n * 4 * arm * 1000, 14)
    words.put(at.ROLL_GAIN, gain.mantissa)
    words.put(at.ROLL_GAIN_EXP, gain.exponent)
    words.put(at.ROLL_MOMENT, moment.mantissa)
    words.put(at.ROLL_MOMENT_EXP, moment.exponent)
    words.put(at.ROLL_MNM_MAX, min(MOST_MNM, int(0.999 * FAR_EIGHTHS / per_mnm)))


def put_watch(words: WordList) -> None:
    band_deg, wait_s = watch_limits(words.vehicle)
    words.put(at.WATCH_BAND, np.ceil(band_deg * 1e3))
    words.put(at.WATCH_WAIT_US, np.ceil(wait_s * 1e6))


PARTS = (
    put_control,
    put_pressure,
    put_geometry,
    put_allocation,
    put_curves,
    put_servos,
    put_wear,
    put_lever,
    put_roll,
    put_watch,
)


def slew_mdeg_s(tables: FlightTables) -> list[int]:
    """The four slews that flight tables hold, 0.001°/s."""
    whole, left = (tables.words[place : place + 4] for place in (at.SLEW_HIGH, at.SLEW_LOW))
    return [1000 * high + low for high, low in zip(whole, left, strict=True)]
