"""A demand file through the flight core: each row is one control cycle."""

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from mixer.flight import FlightTables
from mixer.flight import layout as at
from mixer.flight.layout import LONGEST_DT_US
from mixer.ground.allocation.commands_csv import CommandsWriter
from mixer.ground.allocation.demands import DemandChunk, DemandFile
from mixer.ground.allocation.record import AT_SLEW, AT_TRAVEL, JAMMED, FlightRecord, vane_marks
from mixer.ground.batch.listed_steering import ListedSteering
from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.inputs.csv_files import DataError
from mixer.ground.tables.build import slew_mdeg_s
from mixer.ground.vehicle.vehicle import Vehicle

LONGEST_GAP_S = 16.0  # the flight core counts no more burn time than this in one cycle
CLOCK_END_US = 1_000_000_000  # where the flight core's burn time and burn load stop counting
MOST_MNM = (1 << 31) - 1  # a word, and beyond every range that flight tables can have
# The steering keeps back 1/128 of the reach of four vanes, and one vane may have to give it all: of
# its travel 4/128, of the way slew lets it go 8/128, since that is half of what it can move.
TRAVEL_KEPT_BACK, SLEW_KEPT_BACK = 4 / 128, 8 / 128
LIMITING = at.PRIMARY_LIMITED | at.ROLL_LIMITED | at.SLEW_LIMITED | at.NO_THRUST | at.STALE_DEMAND


@dataclass(frozen=True)
class Jam:
    """A vane (1 to 4) that stands still, wherever it is, from a burn time on."""

    vane: int
    time_s: float


@dataclass(frozen=True)
class CommandRows:
    """What came out for some rows, one control cycle each, in whole numbers as in flight.

    `time_s`, `pressure_bar` as read, `ratio_q14` the pc/pc_ref that counted (n,); `demand_nm`
    (n, 3) what was acted on; `deflection_mdeg`, `pulse_ns` (n, 4); `moment_mnm` (n, 3); `flags`,
    `load_us` (n,); `jammed` (n,) bit 0 for vane 1; `moved_mdeg` (n, 4) and how far slew let the
    vanes move, `step_mdeg` (n, 4).
    """

    time_s: Array
    pressure_bar: Array
    ratio_q14: np.ndarray
    demand_nm: Array
    deflection_mdeg: np.ndarray
    pulse_ns: np.ndarray
    moment_mnm: np.ndarray
    flags: np.ndarray
    jammed: np.ndarray
    load_us: np.ndarray
    moved_mdeg: np.ndarray
    step_mdeg: np.ndarray


class Run:
    """The flight core going through demands, from neutral vanes and no demand.

    Burn time begins at the first row's time, burn load at `load_s`, or equal to it. `gaps` counts
    rows that come later after the one before than the demand timeout; `longest_gap_s` the longest.
    """

    def __init__(
        self, tables: FlightTables, jams: Sequence[Jam] = (), load_s: float | None = None
    ) -> None:
        self.steering, self.load_s = ListedSteering(tables), load_s
        self.jams = sorted(jams, key=lambda jam: jam.time_s)
        self.gaps, self.longest_gap_s = 0, 0.0
        self._period_us, self._timeout_us = tables.words[at.PERIOD_US], tables.words[at.TIMEOUT_US]
        self._slew_mdeg_s = np.array(slew_mdeg_s(tables))
        self._last_us: int | None = None
        self._held_mnm = np.zeros((1, 3), dtype=np.int64)

    def cycles(self, chunk: DemandChunk) -> CommandRows:
        """One control cycle for each row."""
        dt_us = self.intervals_us(chunk.time_s)
        demand_mnm = np.clip(np.rint(chunk.demands_nm * 1000), -MOST_MNM, MOST_MNM).astype(int)
        pressure_pa = np.rint(chunk.chamber_pressure_bar * 1e5).astype(int)
        count = len(dt_us)
        stood_mdeg = np.array(self.steering.deflection_mdeg)
        deflection_mdeg = np.empty((count, VANES), np.int32)
        pulse_ns = np.empty((count, VANES), np.int32)
        moment_mnm = np.empty((count, 3), np.int32)
        taken, flags = np.empty(count, bool), np.empty(count, int)
        jammed, load_us = np.empty(count, int), np.empty(count, int)
        ratio_q14 = np.empty(count, np.int32)

        steering = self.steering
        demand, step = steering.demand, steering.step
        deflections = deflection_mdeg.reshape(-1).data
        pulses, moments = pulse_ns.reshape(-1).data, moment_mnm.reshape(-1).data
        next_jam_s = self.jams[0].time_s if self.jams else np.inf
        rows = zip(
            chunk.time_s.tolist(),
            demand_mnm.tolist(),
            pressure_pa.tolist(),
            dt_us.tolist(),
            strict=True,
        )
        for row, (time_s, (pitch, yaw, roll), pressure, dt) in enumerate(rows):
            while time_s >= next_jam_s:
                vane = self.jams.pop(0).vane
                steering.jam(vane, steering.deflection_mdeg[vane - 1])
                next_jam_s = self.jams[0].time_s if self.jams else np.inf
            taken[row] = demand(pitch, yaw, roll)
            flags[row] = step(pressure, dt)
            deflections[4 * row : 4 * row + 4] = steering.deflection_mdeg
            pulses[4 * row : 4 * row + 4] = steering.pulse_ns
            moments[3 * row : 3 * row + 3] = steering.moment_mnm
            jammed[row] = steering.jammed
            load_us[row] = steering.load_us
            ratio_q14[row] = steering.ratio_q14

        moved_mdeg = np.diff(deflection_mdeg, axis=0, prepend=stood_mdeg[None])
        slew_us = np.minimum(dt_us, LONGEST_DT_US)[:, None]
        return CommandRows(
            chunk.time_s, chunk.chamber_pressure_bar, ratio_q14,
            self.acted_on(demand_mnm, taken) / 1000, deflection_mdeg, pulse_ns, moment_mnm,
            flags, jammed, load_us, moved_mdeg, self._slew_mdeg_s * slew_us // 1_000_000,
        )  # fmt: skip

    def intervals_us(self, time_s: Array) -> np.ndarray:
        """Time since the row before, for the first of all one control period: shape (n,)."""
        time_us = np.rint(time_s * 1e6).astype(int)
        if self._last_us is None:
            self._last_us = int(time_us[0]) - self._period_us
            load_s = float(time_s[0]) if self.load_s is None else self.load_s
            load_us = round(load_s * 1e6) - self._period_us
            self.steering.start(min(self._last_us, CLOCK_END_US), min(load_us, CLOCK_END_US))
        dt_us = np.diff(time_us, prepend=self._last_us)
        self._last_us = int(time_us[-1])
        self.gaps += int((dt_us > self._timeout_us).sum())
        self.longest_gap_s = max(self.longest_gap_s, float(dt_us.max()) / 1e6)
        return dt_us

    def acted_on(self, demand_mnm: np.ndarray, taken: np.ndarray) -> np.ndarray:
        """The demand each row acted on, (n, 3): its own, or the last one that was not refused."""
        source = np.maximum.accumulate(np.where(taken, np.arange(1, len(taken) + 1), 0))
        held_mnm = np.concatenate([self._held_mnm, demand_mnm])[source]
        self._held_mnm = held_mnm[-1:]
        return held_mnm


def check_spacing(chunk: DemandChunk, last_s: float, file: str) -> None:
    """DataError where a row comes longer after the one before than one control cycle can take."""
    gaps_s = np.diff(chunk.time_s, prepend=last_s)
    for row in np.flatnonzero(gaps_s > LONGEST_GAP_S):
        raise DataError(
            file,
            chunk.first_line + int(row),
            "time_s",
            chunk.time_s[row],
            f"is {gaps_s[row]:g} s after the row before it; each row is one control cycle, and "
            f"rows may be {LONGEST_GAP_S:g} s apart at the most",
        )


def marks_of(commands: CommandRows, travel_mdeg: np.ndarray) -> np.ndarray:
    """The marks (n,) of some rows, as `flight_record` has them; `travel_mdeg` is (4, 2)."""
    deflection, limited = commands.deflection_mdeg, commands.flags & LIMITING != 0
    jammed = (commands.jammed[:, None] >> np.arange(VANES) & 1).astype(bool)
    near_mdeg = TRAVEL_KEPT_BACK * np.abs(travel_mdeg)
    at_travel = (deflection <= travel_mdeg[:, 0] + near_mdeg[:, 0]) | (
        deflection >= travel_mdeg[:, 1] - near_mdeg[:, 1]
    )
    at_slew = np.abs(commands.moved_mdeg) >= (1 - SLEW_KEPT_BACK) * commands.step_mdeg
    at_slew &= limited[:, None] & ~at_travel & (commands.moved_mdeg != 0)
    return (
        commands.flags
        | vane_marks(at_travel & ~jammed, AT_TRAVEL)
        | vane_marks(at_slew & ~jammed, AT_SLEW)
        | vane_marks(jammed, JAMMED)
    )


def channels_of(commands: CommandRows, vehicle: Vehicle) -> Array:
    """Some rows as the channels of `flight_record`: shape (n, channels)."""
    deflection_deg = commands.deflection_mdeg / 1000
    ratio = commands.pressure_bar / vehicle.engine.chamber_pressure_bar
    drag_n = sum(
        curve.drag_at(deflection_deg[:, vane]) for vane, curve in enumerate(vehicle.vanes.curves)
    )
    step_mdeg = np.maximum(commands.step_mdeg, 1)
    return np.column_stack(
        [
            commands.time_s,
            commands.demand_nm,
            commands.moment_mnm / 1000,
            deflection_deg,
            commands.pulse_ns / 1000,
            100 * (np.abs(commands.moved_mdeg) / step_mdeg).max(1),
            commands.load_us / 1e6,
            commands.pressure_bar,
            vehicle.engine.chamber_pressure_bar * commands.ratio_q14 / 16384,
            ratio * drag_n,
        ]
    )


def allocate(
    vehicle: Vehicle,
    tables: FlightTables,
    demands: DemandFile,
    writer: CommandsWriter,
    jams: Sequence[Jam] = (),
    load_s: float | None = None,
    done: Callable[[float], None] = lambda amount: None,
) -> FlightRecord:
    """Run a demand file through the flight core, write the commands, and keep the record.

    `tables` are the vehicle's flight tables. `load_s` is the burn load at the first row, equal to
    its time where it is left out. `done` is told how many bytes of the file are worked through.
    DataError for a fault of the file, met at its row: what was written before it is to be thrown
    away.
    """
    run, record = Run(tables, jams, load_s), FlightRecord()
    travel_mdeg = np.array([tables.words[at.TRAVEL_LO :][:4], tables.words[at.TRAVEL_HI :][:4]]).T
    last_s = np.nan
    for chunk in demands:
        check_spacing(chunk, last_s, os.fspath(demands.path))
        last_s = float(chunk.time_s[-1])
        commands = run.cycles(chunk)
        writer.write(
            commands.time_s,
            commands.deflection_mdeg / 1000,
            commands.pulse_ns / 1000,
            commands.moment_mnm / 1000,
            commands.flags,
        )
        record.add(channels_of(commands, vehicle), marks_of(commands, travel_mdeg))
        done(chunk.bytes_read)
    record.finish()
    record.gaps, record.longest_gap_s = run.gaps, run.longest_gap_s
    return record
