"""Four servos together: what roll their differences make, against what the roll trim tolerates.

Each vane may stand off its demand by half of its servo's repeatability, either way. At the worst
all four do so in the sense that makes roll. In motion, four servos that differ in slew and latency
are apart for a moment, which shows as a kick of roll in a pure pitch demand.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.servo_bench.figures import ServoFigures
from mixer.ground.vehicle.vehicle import Vehicle

SLOPE_STEP_DEG = 0.5
STEP_S = 0.0005


@dataclass(frozen=True)
class RollKick:
    """The roll of a pitch demand from one end of the travel to the other."""

    time_s: Array
    roll_nm: Array

    @property
    def largest_nm(self) -> float:
        return float(np.max(np.abs(self.roll_nm)))


@dataclass(frozen=True)
class Match:
    """`roll_nm`: at worst, all four off in one sense; `likely_nm`: their root sum of squares;
    `per_vane_nm` (4,): what each adds. `straight_nm`: the roll at neutral that one straight line
    for all four servos would leave, None where a vehicle has tables already.
    """

    roll_nm: float
    likely_nm: float
    per_vane_nm: Array
    straight_nm: float | None
    kick: RollKick | None


def match(vehicle: Vehicle, servos: Mapping[int, ServoFigures]) -> Match | None:
    """How four measured servos go together; None where one of them has no table."""
    fits = [servos[i].fit for i in range(1, VANES + 1) if i in servos]
    if len(fits) < VANES or any(fit is None for fit in fits):
        return None
    arm_m = vehicle.layout.roll_arm_m
    slopes_n_per_deg = np.array([steepest_n_per_deg(vehicle, i) for i in range(VANES)])
    widths_deg = np.array([fit.repeatability_deg for fit in fits if fit])
    per_vane_nm = arm_m * slopes_n_per_deg * widths_deg / 2
    return Match(
        float(np.sum(per_vane_nm)),
        float(np.hypot.reduce(per_vane_nm)),
        per_vane_nm,
        roll_of_straight_lines_nm(vehicle, servos),
        roll_kick(vehicle, servos),
    )


def steepest_n_per_deg(vehicle: Vehicle, vane: int) -> float:
    """The steepest part of a new vane's force curve within its travel."""
    low, high = vehicle.vanes.travel_deg[vane]
    at_deg = np.arange(low, high + SLOPE_STEP_DEG / 2, SLOPE_STEP_DEG)
    return float(np.max(np.diff(vehicle.force_n(vane, at_deg)) / SLOPE_STEP_DEG))


def roll_of_straight_lines_nm(vehicle: Vehicle, servos: Mapping[int, ServoFigures]) -> float | None:
    """Roll with every vane demanded to 0 by the vehicle file's straight lines."""
    roll_nm = 0.0
    for vane, described in enumerate(vehicle.servos):
        fit = servos[vane + 1].fit
        if described.us_per_deg is None or fit is None:
            return None
        curve_us, curve_deg = fit.table.pulse_us, fit.table.deflection_deg
        rising = np.argsort(curve_us)
        stands_deg = np.interp(described.neutral_us, curve_us[rising], curve_deg[rising])
        roll_nm += vehicle.layout.roll_arm_m * float(vehicle.force_n(vane, stands_deg))
    return roll_nm


def roll_kick(vehicle: Vehicle, servos: Mapping[int, ServoFigures]) -> RollKick | None:
    """Roll over time while a pure pitch demand goes from one end of the travel to the other."""
    values = [servos[i].values() for i in range(1, VANES + 1)]
    slews = [value["slew_deg_s"] for value in values]
    latencies = [value["latency_ms"] for value in values]
    if any(v is None for v in slews) or any(v is None for v in latencies):
        return None
    slew_deg_s = np.array([float(v or 0) for v in slews])
    latency_s = np.array([float(v or 0) for v in latencies]) / 1000
    sense = np.sign(np.round(np.cos(np.radians(vehicle.layout.clocking_deg)), 9))
    travel_deg = np.min(np.abs(vehicle.vanes.travel_deg))
    end_s = float(np.max(latency_s + 2 * travel_deg / slew_deg_s)) + 0.01
    time_s = np.arange(0, end_s, STEP_S)
    moved_deg = np.clip((time_s[:, None] - latency_s) * slew_deg_s, 0, 2 * travel_deg)
    deflection_deg = sense * (moved_deg - travel_deg)
    forces_n = np.array([vehicle.force_n(i, deflection_deg[:, i]) for i in range(VANES)])
    # What roll the same demand makes with four equal servos belongs to the vanes, not to these.
    alike_deg = np.mean(moved_deg * np.abs(sense), axis=1)[:, None] * VANES / np.sum(np.abs(sense))
    equal_n = np.array(
        [vehicle.force_n(i, (sense * (alike_deg - travel_deg))[:, i]) for i in range(VANES)]
    )
    return RollKick(time_s, vehicle.layout.roll_arm_m * np.sum(forces_n - equal_n, axis=0))
