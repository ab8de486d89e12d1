"""A logger's file and a node's record become the log that identification reads."""

from dataclasses import dataclass

import numpy as np

from mixer.ground.static_test.log import StandLog
from mixer.ground.two_clocks.by_motion import clock_by_motion, explained_share
from mixer.ground.two_clocks.by_sync import clock_by_sync
from mixer.ground.two_clocks.clock_fit import Clock
from mixer.ground.two_clocks.logger_log import LoggerLog
from mixer.ground.two_clocks.play_record import (
    PlayRecord,
    PlayRecordError,
    refuse_another_vehicle,
)
from mixer.ground.two_clocks.vane_motion import VaneMotion, vane_motion
from mixer.ground.vehicle.vehicle import Vehicle

LEAST_COMMON_S = 2.0
BURNT = 0.3  # of the reference pressure
UNSURE_DRIFT = 5e-6
MOVED_DEG = 2.0
LEAST_FOLLOWED = 0.2  # of the loads' variance; in steady tests it is nine tenths
STOOD_S = 10.0  # before the first point and after the last the vanes stood where they are then


@dataclass(frozen=True)
class Merged:
    """The log on one clock, the logger's, and how it came about.

    `alike`: of the sync line, 1 for the same; without one, the share of the loads' variance that
    the motion explains. `used`: edges, or rows.
    """

    log: StandLog
    clock: Clock
    motion: VaneMotion
    by_sync: bool
    alike: float
    used: int
    notes: tuple[str, ...]


def merge(
    record: PlayRecord, log: LoggerLog, vehicle: Vehicle, cells_late_s: float | None = None
) -> Merged:
    """Bring both onto the logger's clock. InputError where they do not fit each other.

    cells_late_s: how late the load cells are read, needed where there is no sync line.
    """
    refuse_another_vehicle(record, vehicle)
    motion = vane_motion(record, vehicle)
    if log.sync is not None:
        clock, alike, used = clock_by_sync(record, log)
        refuse_unmoved_loads(clock, motion, log, vehicle)
    else:
        if cells_late_s is None:
            raise PlayRecordError(
                f"{log.file}: has no sync column, so the vanes' motion has to tell the clock, and "
                "load cells that are read late look just like another offset: say how late with "
                "--cells-late-ms (tap the stand and log the hammer beside the cell; or the "
                "amplifier's filter by its data sheet)"
            )
        if motion.unmeasured:
            raise PlayRecordError(
                f"{log.file}: has no sync column, and vanes {numbers(motion.unmeasured)} have "
                "neither a sensor nor a measured latency_ms and backlash_deg: measure the servos "
                "with fourvane bench, or wire sync"
            )
        clock, alike, used = clock_by_motion(motion, log, vehicle, cells_late_s)
    node_s = clock.node_s(log.time_s)
    last_s = float(record.time_s[-1])
    kept = (node_s >= -STOOD_S) & (node_s <= last_s + (STOOD_S if record.whole else 0.0))
    common_s = min(float(node_s[-1]), last_s) - max(float(node_s[0]), 0.0)
    if common_s < LEAST_COMMON_S:
        raise PlayRecordError(
            f"{log.file}: has {common_s:.3g} s in common with {record.file}; at least "
            f"{LEAST_COMMON_S:g} s are needed"
        )
    merged = StandLog(
        log.file,
        log.time_s[kept],
        log.pressure_bar[kept],
        motion.at(node_s[kept]),
        log.loads[kept],
        log.rehearsal or record.header.get("rehearsal") is True,
    )
    return Merged(
        merged, clock, motion, log.sync is not None, alike, used,
        tuple(notes_on(record, motion, clock, int((~kept).sum()))),
    )  # fmt: skip


def refuse_unmoved_loads(
    clock: Clock, motion: VaneMotion, log: LoggerLog, vehicle: Vehicle
) -> None:
    """PlayRecordError where an engine burnt and the loads do not follow the vanes: the sequence
    begins elsewhere each time, but two runs may share a part of it.
    """
    burnt = np.max(log.pressure_bar) > BURNT * vehicle.engine.chamber_pressure_bar
    if not burnt or np.ptp(motion.angle_deg, axis=0).max() < MOVED_DEG:
        return
    explained = explained_share(clock, motion, log, vehicle)
    if explained < LEAST_FOLLOWED:
        raise PlayRecordError(
            f"{log.file}: sync fits, but the vanes' motion explains only {explained:.0%} of side "
            f"loads and roll; at least {LEAST_FOLLOWED:.0%} are needed: another run's record, or "
            "the wrong load cells"
        )


def notes_on(record: PlayRecord, motion: VaneMotion, clock: Clock, left_out: int) -> list[str]:
    """What people should know of the merged log."""
    notes = []
    if clock.drift_error > UNSURE_DRIFT:
        notes.append(
            f"the drift is known to ± {2e6 * clock.drift_error:.0f} ppm only: a short log, loads "
            "instead of sync, or rows that keep step with the node's cycles (log at another rate)"
        )
    if not record.whole:
        notes.append(
            f"the record is torn ({record.outcome}); rows after its last point are left out"
        )
    if motion.modelled:
        notes.append(
            f"vanes {numbers(motion.modelled)} have no sensor: angles are as their servos follow "
            "the commands by the vehicle file"
        )
    if motion.unmeasured:
        notes.append(
            f"vanes {numbers(motion.unmeasured)}: latency_ms or backlash_deg not measured, taken "
            "as 0; fourvane identify finds one lag for all vanes, and play widens its errors"
        )
    if left_out:
        notes.append(f"{left_out} rows outside the record are left out")
    return notes


def numbers(vanes: tuple[int, ...]) -> str:
    """'1, 3 and 4'."""
    *others, last = map(str, vanes)
    return f"{', '.join(others)} and {last}" if others else last
