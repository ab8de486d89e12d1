"""From a sweep to a servo table: monotone, within what was measured, as fine as the timer.

The mean of both directions is made monotone (isotonic regression), then smooth without bulges
(Fritsch & Carlson, SIAM J. Numer. Anal. 17(2), 1980, 238-246, as SciPy's PCHIP), and sampled so
closely that the straight lines between the points, which is how the flight core reads a table,
stay on it.
"""

from dataclasses import dataclass

import numpy as np
import scipy

from mixer.ground.inputs.arrays import Array
from mixer.ground.inputs.csv_files import FilePath, InputError, write_whole
from mixer.ground.servo_fit.bad_regions import Region, bad_regions, middle_deg, turning_sign
from mixer.ground.servo_fit.lone_readings import Outlier, reading_noise_deg, without_outliers
from mixer.ground.servo_fit.metrology import (
    Conformity,
    Positioning,
    hysteresis,
    independent_nonlinearity,
    positioning,
    terminal_nonlinearity,
)
from mixer.ground.servo_fit.sweep import Sweep
from mixer.ground.vehicle.curves import ServoTable

FEWEST_POSITIONS = 5
FEWEST_PASSES = 2
MOST_OUTLIERS = 0.1  # of all readings; beyond that they are no exception
TABLE_INTERVALS = (4, 8, 16, 32, 64)
STRAIGHT_LINE_DEG = 0.005
FEWEST_TIMER_STEPS = 30
END_SLOPE_SHARE = 0.05  # of the median slope: the vane stands at a stop
FINE_POINTS = 20_001  # of the curve that is turned round; 0.05 µs apart over a millisecond


class SweepError(InputError):
    """A sweep that cannot be used as it is: too little of it, or not over the travel."""


class ServoRefusedError(ValueError):
    """A servo that no table can describe; `regions` says where it does what."""

    def __init__(self, servo: int, reasons: list[Region] | list[str]) -> None:
        self.servo = servo
        self.regions = [reason for reason in reasons if isinstance(reason, Region)]
        super().__init__("\n".join(str(reason) for reason in reasons))


@dataclass(frozen=True)
class ServoFit:
    """A servo's table and the figures of the sweep it came from.

    `positions` judges the readings against the table (deviation = reading minus the table's
    deflection at that pulse), at the pulses `pulse_us` (k,) within the table.
    `resolution_deg` is what one step of the timer turns the vane by, at most.
    """

    servo: int
    table: ServoTable
    pulse_us: Array
    up_deg: Array
    down_deg: Array
    positions: Positioning
    hysteresis_deg: float
    hysteresis_percent: float
    nonlinearity: Conformity
    terminal_nonlinearity: Conformity
    noise_deg: float
    resolution_deg: float
    outliers: tuple[Outlier, ...]
    passes: int

    @property
    def deflection_deg(self) -> Array:
        """What the table says for the pulses of the sweep (k,)."""
        return deflection_deg(self.table, self.pulse_us)

    @property
    def repeatability_deg(self) -> float:
        """What the table promises, whole width: R of ISO 230-2 and one step of the timer."""
        return self.positions.repeatability + self.resolution_deg


def fit_servo(sweep: Sweep, travel_deg: tuple[float, float], timer_us: float = 1.0) -> ServoFit:
    """The servo table over the travel, with its figures.

    timer_us: the smallest step of the pulse that the board can make.
    SweepError where the sweep is too small or does not reach over the travel; ServoRefusedError
    where the servo turns back, sticks, slips or has no end of wrong readings.
    """
    check_size(sweep)
    clean, outliers = without_outliers(sweep)
    readings = np.isfinite(sweep.up_deg).sum() + np.isfinite(sweep.down_deg).sum()
    if regions := bad_regions(clean):
        raise ServoRefusedError(sweep.servo, regions)
    if len(outliers) > MOST_OUTLIERS * readings:
        few = "; ".join(str(outlier) for outlier in outliers[:3])
        raise ServoRefusedError(
            sweep.servo, [f"{len(outliers)} of {readings} readings are off the others: {few}"]
        )
    curve = monotone_curve(clean)
    table = sampled(curve, sweep.servo, travel_deg, timer_us)
    return judged(clean, table, curve, outliers, timer_us)


def check_size(sweep: Sweep) -> None:
    """Enough positions, and each of them read often enough from both sides."""
    if len(sweep.pulse_us) < FEWEST_POSITIONS:
        raise SweepError(
            f"servo {sweep.servo}: {len(sweep.pulse_us)} pulses; at least {FEWEST_POSITIONS} "
            "are needed"
        )
    for direction, table in (("up", sweep.up_deg), ("down", sweep.down_deg)):
        counts = np.isfinite(table).sum(axis=1)
        if np.min(counts) < FEWEST_PASSES:
            row = int(np.argmin(counts))
            raise SweepError(
                f"servo {sweep.servo}: {sweep.pulse_us[row]:g} µs was read {counts[row]} time(s) "
                f"going {direction}; at least {FEWEST_PASSES} passes in each direction are needed "
                "to tell what repeats"
            )


@dataclass(frozen=True)
class Curve:
    """Deflection over pulse, monotone and smooth, on a fine grid; pulses rise strictly."""

    pulse_us: Array
    deflection_deg: Array

    @property
    def sign(self) -> float:
        return 1.0 if self.deflection_deg[-1] > self.deflection_deg[0] else -1.0

    def pulse_at(self, deflection_deg: Array) -> Array:
        """Pulse in µs for deflections in deg (n,), within the curve."""
        sign = self.sign
        return np.interp(sign * deflection_deg, sign * self.deflection_deg, self.pulse_us)

    def deflection_at(self, pulse_us: Array) -> Array:
        """Deflection in deg for pulses in µs (n,), within the curve."""
        return np.interp(pulse_us, self.pulse_us, self.deflection_deg)


def monotone_curve(sweep: Sweep) -> Curve:
    """The mean of both directions as a strictly monotone smooth curve over what was measured.

    Neighbours that noise has put out of order share their mean, which stands at the mean of
    their pulses. Where the vane stands at a stop at either end the curve is cut.
    """
    sign = turning_sign(sweep)
    pooled = scipy.optimize.isotonic_regression(sign * middle_deg(sweep))
    blocks = pooled.blocks
    starts, ends = blocks[:-1], blocks[1:]
    centre_us = np.add.reduceat(sweep.pulse_us, starts) / (ends - starts)
    # The outermost blocks keep their outer pulse, so that the measured range is not cut short.
    centre_us[0], centre_us[-1] = sweep.pulse_us[0], sweep.pulse_us[-1]
    level = pooled.x[starts]
    moving = without_stops(centre_us, level)
    smooth = smooth_curve(centre_us[moving], level[moving])
    return Curve(smooth.pulse_us, sign * smooth.deflection_deg)


def smooth_curve(pulse_us: Array, deflection_deg: Array) -> Curve:
    """The monotone piecewise cubic through rising points (n,), on a fine grid."""
    fine_us = np.linspace(pulse_us[0], pulse_us[-1], FINE_POINTS)
    return Curve(fine_us, scipy.interpolate.PchipInterpolator(pulse_us, deflection_deg)(fine_us))


def without_stops(pulse_us: Array, level: Array) -> slice:
    """The part of a rising curve between its end stops, where longer pulses move nothing."""
    slopes = np.diff(level) / np.diff(pulse_us)
    if len(slopes) == 0:
        return slice(0, 1)
    moving = np.flatnonzero(slopes > END_SLOPE_SHARE * np.median(slopes))
    return slice(int(moving[0]), int(moving[-1]) + 2)


def sampled(
    curve: Curve, servo: int, travel_deg: tuple[float, float], timer_us: float
) -> ServoTable:
    """The curve as a table over the travel, in as few points as keep the straight lines on it."""
    low, high = travel_deg
    reach = np.sort(curve.deflection_deg[[0, -1]])
    if reach[0] > low or reach[1] < high:
        raise SweepError(
            f"servo {servo}: the sweep moved the vane from {reach[0]:.2f} to {reach[1]:.2f} deg; "
            f"the travel {low:g} to {high:g} deg is not covered and nothing is extrapolated"
        )
    slope_us_per_deg = np.ptp(curve.pulse_us) / np.ptp(curve.deflection_deg)
    fine_deg = np.linspace(low, high, 2001)
    tolerance_us = max(timer_us / 4, STRAIGHT_LINE_DEG * slope_us_per_deg)
    knots_deg = np.array([low, high])
    for intervals in TABLE_INTERVALS:
        knots_deg = with_neutral(np.linspace(low, high, intervals + 1))
        straight_us = np.interp(fine_deg, knots_deg, curve.pulse_at(knots_deg))
        if np.max(np.abs(straight_us - curve.pulse_at(fine_deg))) <= tolerance_us:
            break
    pulse_us = np.round(curve.pulse_at(knots_deg), 3)
    timer_steps = abs(pulse_us[-1] - pulse_us[0]) / timer_us
    if timer_steps < FEWEST_TIMER_STEPS:
        raise SweepError(
            f"servo {servo}: the travel takes {timer_steps:.0f} steps of the {timer_us:g} µs "
            f"timer; fewer than {FEWEST_TIMER_STEPS} are too coarse to steer with"
        )
    kept = apart(pulse_us, timer_us)
    return ServoTable(knots_deg[kept], pulse_us[kept])


def apart(pulse_us: Array, timer_us: float) -> list[int]:
    """Points at least one timer step from the one before; the timer cannot tell closer ones."""
    kept = [0]
    for i in range(1, len(pulse_us)):
        if abs(pulse_us[i] - pulse_us[kept[-1]]) >= timer_us:
            kept.append(i)
    kept[-1] = len(pulse_us) - 1
    return kept


def with_neutral(knots_deg: Array) -> Array:
    """The knots, with the inner one nearest to 0 moved onto it: neutral is exact."""
    knots_deg = np.round(knots_deg, 3)
    if knots_deg[0] < 0 < knots_deg[-1]:
        knots_deg[1 + int(np.argmin(np.abs(knots_deg[1:-1])))] = 0.0
    return knots_deg


def judged(
    sweep: Sweep, table: ServoTable, curve: Curve, outliers: list[Outlier], timer_us: float
) -> ServoFit:
    """The figures of both standards for the positions that lie within the table."""
    low_us, high_us = np.sort(table.pulse_us[[0, -1]])
    half_us = timer_us / 2  # closer to an end the timer cannot come than this
    within = (sweep.pulse_us >= low_us - half_us) & (sweep.pulse_us <= high_us + half_us)
    pulse_us, up_deg, down_deg = (
        sweep.pulse_us[within],
        sweep.up_deg[within],
        sweep.down_deg[within],
    )
    if len(pulse_us) < FEWEST_POSITIONS:
        raise SweepError(
            f"servo {sweep.servo}: only {len(pulse_us)} of the swept pulses lie within the travel; "
            f"at least {FEWEST_POSITIONS} are needed"
        )
    target_deg = deflection_deg(table, pulse_us)[:, None]
    mean_up, mean_down = np.nanmean(up_deg, axis=1), np.nanmean(down_deg, axis=1)
    middle = (mean_up + mean_down) / 2
    slope = np.abs(np.diff(curve.deflection_deg) / np.diff(curve.pulse_us))
    in_table = (curve.pulse_us[1:] >= low_us) & (curve.pulse_us[:-1] <= high_us)
    return ServoFit(
        sweep.servo,
        table,
        pulse_us,
        up_deg,
        down_deg,
        positioning(up_deg - target_deg, down_deg - target_deg),
        *hysteresis(mean_up, mean_down),
        independent_nonlinearity(pulse_us, middle),
        terminal_nonlinearity(pulse_us, middle),
        reading_noise_deg(sweep),
        float(timer_us * np.max(slope[in_table])),
        tuple(outliers),
        len(sweep.passes),
    )


def deflection_deg(table: ServoTable, pulse_us: Array) -> Array:
    """The table read the other way: deflection in deg for pulses in µs (n,), ends hold."""
    sign = np.sign(table.pulse_us[-1] - table.pulse_us[0])
    order = slice(None, None, int(sign))
    return np.interp(pulse_us, table.pulse_us[order], table.deflection_deg[order])


def write_servo_table(path: FilePath, table: ServoTable) -> None:
    """The table as the vehicle file's key `table` names it."""
    with write_whole(path) as stream:
        stream.write("deflection_deg,pulse_us\n")
        for deflection, pulse in zip(table.deflection_deg, table.pulse_us, strict=True):
            stream.write(f"{deflection:z.3f},{pulse:.3f}\n")
