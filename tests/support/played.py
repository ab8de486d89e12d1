"""Plays and logs made without a node, for tests of what merges them."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from firmware_port.stand.sync_output import STATES, SyncOutput
from hil.stand.emulated_stand import Logged, Logger, logged
from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.static_test.programme import plan
from mixer.ground.static_test.simulation import StandNoise, StandTruth
from mixer.ground.two_clocks.logger_log import LoggerLog
from mixer.ground.two_clocks.play_record import KIND, PlayRecord, tables_crc
from mixer.ground.vehicle.vehicle import Vehicle
from tests.support.static_tests import FULL_SCALE, drawn_truth, vehicle_on_stand

ENCODER_DEG = 0.03
LEAD_S = 3.0  # of sync before the programme and after it
UNLIKE_STANDS: dict[str, dict[str, Any]] = {
    "eighth turns, quick": {},
    "askew, slow, one vane short": {
        "layout": {"clocking_deg": [0.0, 91.0, 180.0, 266.0], "roll_arm_m": 0.03},
        "servos": {"slew_deg_s": [150.0, 200.0, 180.0, 220.0], "us_per_deg": [10, -9, 8.5, -11]},
        "vanes": {"travel_deg": [[-15.0, 15.0], [-12.0, 14.0], [-15.0, 10.0], [-15.0, 15.0]]},
        "control": {"rate_hz": 100},
    },
}


def sync_levels(time_s: Array, seed: int) -> np.ndarray:
    """What the node's sync output does over its cycles."""
    output = SyncOutput(None)
    output.begin(seed)
    steps_us = np.round(np.diff(time_s, prepend=0.0) * 1e6).astype(int)
    levels = []
    for step_us in steps_us.tolist():
        output.step(step_us)
        levels.append(output.level)
    return np.array(levels)


@dataclass(frozen=True)
class Played:
    """One play: record, what the logger read, the truth behind it, effectiveness by load."""

    vehicle: Vehicle
    record: PlayRecord
    log: LoggerLog
    truth: StandTruth
    effectiveness: Callable[[Array], Array]
    logger: Logger


def read_back(rows: Logged) -> LoggerLog:
    sync = None if rows.sync_v is None else rows.sync_v > 1.6
    return LoggerLog("log.csv", rows.time_s, rows.pressure_bar, rows.loads, sync)


def played(
    seed: int,
    stand: str = "eighth turns, quick",
    noise: StandNoise | None = None,
    late_s: float | None = None,
    late_cycles: float = 0.1,
    **logger: Any,
) -> Played:
    """A play of the proposed programme by cycles as a loop makes them, and its log."""
    vehicle = vehicle_on_stand(**UNLIKE_STANDS[stand])
    rng = np.random.default_rng([seed, 5])
    kind = replace(Logger(offset_s=rng.uniform(-5, 5), drift_ppm=rng.uniform(-100, 100)), **logger)
    programme = plan(vehicle)
    period_s = 1 / vehicle.control.rate_hz
    end_s = programme.time_s[-1] + 2 * LEAD_S
    count = int(end_s / period_s)
    time_s = np.round(np.cumsum(period_s * (1 + late_cycles * rng.random(count))), 6)
    time_s = time_s[time_s < end_s]
    true = np.column_stack(
        [
            np.interp(time_s - LEAD_S, programme.time_s, column)
            for column in programme.deflection_deg.T
        ]
    )
    truth, effectiveness = drawn_truth(seed, vehicle)
    if late_s is not None:
        truth = replace(truth, lag_s=late_s)
    sync = sync_levels(time_s, 1 + 7919 * (1 + seed) % STATES)
    record = PlayRecord(
        "play.record",
        {"kind": KIND, "vehicle": vehicle.vehicle.name, "tables_crc": tables_crc(vehicle)},
        time_s,
        true,
        np.full((len(time_s), VANES), 1500.0),
        true + ENCODER_DEG * rng.standard_normal(true.shape),
        np.full(len(time_s), 7.4),
        sync,
        True,
        "played to its end",
    )
    rows = logged(
        vehicle, truth, noise or StandNoise(FULL_SCALE), kind, rng, time_s, true, record,
        (LEAD_S, LEAD_S + float(programme.time_s[-1])),
    )  # fmt: skip
    return Played(vehicle, record, read_back(rows), truth, effectiveness, kind)
