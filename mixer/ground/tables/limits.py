"""What a vehicle's numbers must be for flight tables to be made of them, told key by key.

Flight tables are integers: angles of 0.001 deg, pulses of ns, pressures of Pa, forces of 1/32768 of
the largest. A number that is nothing on these scales is refused here, by its name, before anything
is computed from it. The sizes are far below what is built and far above what rounding needs.
"""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from mixer.flight import layout as at
from mixer.ground.inputs.arrays import Array
from mixer.ground.inputs.section_errors import Problem, VehicleError
from mixer.ground.tables.scales import LEVER_STEP

if TYPE_CHECKING:
    from mixer.ground.vehicle.vehicle import Vehicle

LEAST_PRESSURE_BAR = 0.01  # 1000 Pa: a pascal is then a thousandth
LEAST_ARM_M = 1e-3
LEAST_FORCE_N = 0.1
LEAST_TRAVEL_DEG = 0.1
LEAST_STEP_DEG = 0.001
LEAST_PULSE_US = 1.0  # over the whole travel
# In a cycle: the last 1/32 of the slew is kept for roll, so that of one step nothing would be left.
LEAST_SLEW_STEPS = 2
LEAST_EFFECTIVENESS = 0.01
# What a node takes (`MOST_BYTES` of firmware_port/table_store.py), with 12 bytes of header.
MOST_BYTES = 16384
MOST_WORDS = (MOST_BYTES - 12) // 4
LEVER = "layout.lever_arm_m"

Found = Problem | None


def refuse_unfit(vehicle: "Vehicle") -> None:
    """VehicleError with everything in a vehicle that no flight tables can be made of."""
    checks: Sequence[Callable[[Vehicle], Found]] = (
        weak_pressure, short_arms, narrow_travel, no_force, curve_points, no_pulse, slow_servo,
        servo_points, worn_out, too_many_points,
    )  # fmt: skip
    problems = [problem for check in checks if (problem := check(vehicle)) is not None]
    if problems:
        raise VehicleError(str(vehicle.path), problems)


def assembled(assemble: Callable[[], list[int]], vehicle: "Vehicle") -> list[int]:
    """The words that `assemble` makes. VehicleError where they cannot be made, or are more than a
    node takes.
    """
    try:
        with np.errstate(over="raise", invalid="raise", divide="raise"):
            words = assemble()
    except (ArithmeticError, IndexError) as error:
        raise unfit(vehicle, f"its numbers are too extreme for flight tables ({error})") from error
    if not all(-(1 << 31) <= word < 1 << 31 for word in words):
        raise unfit(vehicle, "its numbers are too extreme for words of 32 bits")
    if len(words) > MOST_WORDS:
        raise unfit(vehicle, too_long(vehicle, str(4 * len(words) + 12)))
    return words


def unfit(vehicle: "Vehicle", message: str) -> VehicleError:
    return VehicleError(str(vehicle.path), [Problem("", None, message)])


def longest_list(vehicle: "Vehicle") -> str:
    """What takes most of the tables, in words."""
    sizes = table_sizes(vehicle)
    key = max(sizes, key=lambda each: sizes[each][1])
    if key == LEVER:
        arm_m = vehicle.layout.lever_arm_m.m
        return f"{key} goes from {arm_m.min():g} to {arm_m.max():g} m in {sizes[key][0]} points"
    return f"{key} has {sizes[key][0]}"


def table_sizes(vehicle: "Vehicle") -> dict[str, tuple[int, int]]:
    """For each list of points how many it has, of all vanes, and the least words they take."""
    arm_m = vehicle.layout.lever_arm_m.m
    steps = int(float(np.abs(np.diff(np.log(arm_m))).sum()) / LEVER_STEP)
    curves = {curve.deflection_deg.tobytes(): curve for curve in vehicle.vanes.curves}
    in_curves = sum(len(curve.deflection_deg) for curve in curves.values())
    tables = {id(servo.table): servo.table for servo in vehicle.servos if servo.table is not None}
    in_tables = sum(len(table.pulse_us) for table in tables.values())
    loads = 0 if vehicle.erosion is None else len(vehicle.erosion.load_s)
    return {
        "vanes.deflection_deg": (in_curves, at.CURVE_STRIDE * in_curves),
        "servos.table": (in_tables, at.SERVO_STRIDE * in_tables),
        "erosion.load_s": (loads, at.WEAR_STRIDE * loads),
        LEVER: (len(arm_m), at.LEVER_STRIDE * max(len(arm_m), steps)),
    }


def too_many_points(vehicle: "Vehicle") -> Found:
    """Told before the tables are built, since that takes as long as there are points."""
    words = sum(words for _, words in table_sizes(vehicle).values())
    if words > 2 * MOST_WORDS:  # twice, since points beyond the travel are left out
        return Problem("", None, too_long(vehicle, f"some {4 * words}"))
    return None


def too_long(vehicle: "Vehicle", size: str) -> str:
    return (
        f"its flight tables would be {size} bytes, a board takes {MOST_BYTES}: give fewer points; "
        f"{longest_list(vehicle)}"
    )


def weak_pressure(vehicle: "Vehicle") -> Found:
    bar = vehicle.engine.chamber_pressure_bar
    if bar < LEAST_PRESSURE_BAR:
        return at_least("engine.chamber_pressure_bar", bar, LEAST_PRESSURE_BAR, "bar")
    return None


def short_arms(vehicle: "Vehicle") -> Found:
    arms_m = {
        "layout.lever_arm_m": float(vehicle.layout.lever_arm_m.m.min()),
        "layout.roll_arm_m": vehicle.layout.roll_arm_m,
    }
    for key, arm_m in arms_m.items():
        if arm_m < LEAST_ARM_M:
            return at_least(key, arm_m, LEAST_ARM_M, "m")
    return None


def narrow_travel(vehicle: "Vehicle") -> Found:
    for vane, (low, high) in enumerate(vehicle.vanes.travel_deg.tolist(), 1):
        if high - low < LEAST_TRAVEL_DEG:
            return Problem(
                "vanes.travel_deg",
                f"[{low!r}, {high!r}]",
                f"vane {vane}: must be {LEAST_TRAVEL_DEG:g} deg wide or more",
            )
    return None


def no_force(vehicle: "Vehicle") -> Found:
    travels = zip(vehicle.vanes.curves, vehicle.vanes.travel_deg, strict=True)
    largest_n = max(float(np.abs(curve.force_at(travel)).max()) for curve, travel in travels)
    if largest_n < LEAST_FORCE_N:
        return at_least("vanes.force_n", largest_n, LEAST_FORCE_N, "N at an end of travel")
    return None


def curve_points(vehicle: "Vehicle") -> Found:
    for vane, curve in enumerate(vehicle.vanes.curves, 1):
        if is_crowded(curve.deflection_deg, vehicle.vanes.travel_deg[vane - 1]):
            return crowded("vanes.deflection_deg", f"vane {vane}")
    return None


def servo_points(vehicle: "Vehicle") -> Found:
    for number, servo in enumerate(vehicle.servos, 1):
        travel_deg = vehicle.vanes.travel_deg[number - 1]
        if servo.table is not None and is_crowded(servo.table.deflection_deg, travel_deg):
            return crowded("servos.table", f"servo {number}")
    return None


def no_pulse(vehicle: "Vehicle") -> Found:
    for number, servo in enumerate(vehicle.servos, 1):
        low_us, high_us = servo.pulse_us(vehicle.vanes.travel_deg[number - 1]).tolist()
        if abs(high_us - low_us) < LEAST_PULSE_US:
            key = "servos.us_per_deg" if servo.table is None else "servos.table"
            return Problem(
                key,
                None if servo.us_per_deg is None else repr(servo.us_per_deg),
                f"servo {number}: its pulse must change by {LEAST_PULSE_US:g} µs or more over the "
                "travel",
            )
    return None


def slow_servo(vehicle: "Vehicle") -> Found:
    rate_hz = vehicle.control.rate_hz
    for number, servo in enumerate(vehicle.servos, 1):
        steps = servo.slew_deg_s / (LEAST_STEP_DEG * rate_hz)
        if steps < LEAST_SLEW_STEPS:
            return Problem(
                "servos.slew_deg_s",
                repr(servo.slew_deg_s),
                f"servo {number}: must be at least "
                f"{LEAST_SLEW_STEPS * LEAST_STEP_DEG * rate_hz:g} deg/s at {rate_hz:g} Hz, "
                f"{LEAST_SLEW_STEPS} steps of {LEAST_STEP_DEG:g} deg a control cycle",
            )
    return None


def worn_out(vehicle: "Vehicle") -> Found:
    if vehicle.erosion is not None:
        least = min(float(row.min()) for row in vehicle.erosion.effectiveness)
        if least < LEAST_EFFECTIVENESS:
            return at_least("erosion.effectiveness", least, LEAST_EFFECTIVENESS, "")
    return None


def is_crowded(deflection_deg: Array, travel_deg: Array) -> bool:
    """Whether two points within travel would be one after rounding."""
    steps = np.round(deflection_deg / LEAST_STEP_DEG)
    low, high = travel_deg / LEAST_STEP_DEG
    within = steps[(steps > low) & (steps < high)]
    return bool((np.diff(within) < 1).any())


def crowded(key: str, whose: str) -> Problem:
    return Problem(
        key, None, f"{whose}: points within travel must be {LEAST_STEP_DEG:g} deg or more apart"
    )


def at_least(key: str, value: float, least: float, unit: str) -> Problem:
    words = f"must be at least {least:g} {unit}".rstrip()
    return Problem(key, repr(value), f"{words}, for flight tables to be made of it")
