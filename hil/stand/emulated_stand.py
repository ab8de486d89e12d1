"""A test stand that is not there: what its logger would have written of a play, on its own clock.

CAUTION: a rehearsal of the bookkeeping, not of the fire. What a real stand does is not in it.
"""

from dataclasses import dataclass

import numpy as np

from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.inputs.csv_files import REHEARSAL, FilePath, write_whole
from mixer.ground.static_test.programme import Programme
from mixer.ground.static_test.simulation import (
    AFTER_S,
    BEFORE_S,
    StandNoise,
    StandTruth,
    simulate_test,
)
from mixer.ground.two_clocks.by_sync import held
from mixer.ground.two_clocks.logger_log import COLUMNS, SYNC
from mixer.ground.two_clocks.play_record import PlayRecord
from mixer.ground.vehicle.vehicle import Vehicle

FINE_HZ = 2000.0
LOW_V, HIGH_V, SYNC_NOISE_V = 0.1, 3.2, 0.05  # the sync line as an analogue channel reads it


@dataclass(frozen=True)
class Logger:
    """How a logger's clock and rows are: log time = offset_s + (1 + drift_ppm/1e6) · node time.

    jitter_s: of each row about its time. lost: share of the rows that are missing. wired: the sync
    output is a column.
    """

    rate_hz: float = 200.0
    offset_s: float = 2.7
    drift_ppm: float = 50.0
    jitter_s: float = 2e-5
    lost: float = 0.01
    wired: bool = True


@dataclass(frozen=True)
class Logged:
    """A logger's rows: times (n,), pressure (n,), loads (n, 4), sync voltage (n,) or None."""

    time_s: Array
    pressure_bar: Array
    loads: Array
    sync_v: Array | None


def logged(
    vehicle: Vehicle,
    truth: StandTruth,
    noise: StandNoise,
    logger: Logger,
    rng: np.random.Generator,
    time_s: Array,
    angle_deg: Array,
    record: PlayRecord,
    jet: tuple[float, float] | None,
) -> Logged:
    """What a logger writes while vanes stand at true angles (n, 4) at the node's times (n,).

    jet: when it begins to burn and when it ends, on the node's clock; None for a cold run.
    record: of the play, for its sync output.
    """
    begins_s, ends_s = jet or (0.0, float(time_s[-1]))
    whole_s = np.append(np.arange(begins_s, ends_s, 1 / FINE_HZ), ends_s)
    moved = np.column_stack([np.interp(whole_s, time_s, column) for column in angle_deg.T])
    programme = Programme(whole_s - begins_s, moved, 0.0, 0)
    silence, share = StandNoise(np.zeros(VANES)), 0.0 if jet is None else 1.0
    fine = simulate_test(vehicle, truth, programme, silence, rng, FINE_HZ, share)
    fine_s = fine.time_s + begins_s
    scale = 1 + logger.drift_ppm / 1e6
    count = int((time_s[-1] + BEFORE_S + AFTER_S) * logger.rate_hz)
    first_s = logger.offset_s - BEFORE_S + rng.uniform(0, 1) / logger.rate_hz
    told_s = first_s + np.arange(count) / logger.rate_hz
    true_s = (told_s - logger.offset_s) / scale + logger.jitter_s * rng.standard_normal(count)
    pressure = np.interp(true_s, fine_s, fine.pressure_bar)
    pressure = pressure + 1e-3 * vehicle.engine.chamber_pressure_bar * rng.standard_normal(count)
    loads = np.column_stack([np.interp(true_s, fine_s, column) for column in fine.loads.T])
    loads = loads + noise.drawn(rng, count, 1 / logger.rate_hz)
    level = held(record.time_s, record.sync, true_s)
    sync_v = np.where(level > 0, HIGH_V, LOW_V) + SYNC_NOISE_V * rng.standard_normal(count)
    kept = rng.random(count) >= logger.lost
    return Logged(told_s[kept], pressure[kept], loads[kept], sync_v[kept] if logger.wired else None)


def write_logged(path: FilePath, rows: Logged) -> None:
    """Write a logger's rows as the CSV that `fourvane stand merge` reads; whole or not at all."""
    names, columns = [*COLUMNS], [rows.time_s, rows.pressure_bar, *rows.loads.T]
    forms = ["%.6f", "%.4f", *["%.3f"] * VANES]
    if rows.sync_v is not None:
        names, columns, forms = [*names, SYNC], [*columns, rows.sync_v], [*forms, "%.2f"]
    names, forms = [*names, REHEARSAL], [*forms, "%d"]
    columns = [*columns, np.ones(len(rows.time_s))]
    with write_whole(path) as stream:
        stream.write(",".join(names) + "\n")
        np.savetxt(stream, np.column_stack(columns), fmt=forms, delimiter=",")
