"""Static-test logs: what the vanes did and what the load cells read, while the engine burnt.

Side forces are what acts on the vehicle along body y and z: vane i with normal force f adds
-sin(clocking) f and cos(clocking) f. Roll is about x, and axial is the net thrust along x.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy

from mixer.ground.inputs.arrays import LATEST_S, VANES, Array
from mixer.ground.inputs.csv_files import (
    REHEARSAL,
    DataError,
    FilePath,
    Rows,
    read_all,
    write_whole,
)
from mixer.ground.static_test.dead_channels import clipped_at, stuck_at
from mixer.ground.vehicle.vehicle import Vehicle

PRESSURE = "chamber_pressure_bar"
VANE_COLUMNS = tuple(f"vane{vane}_deg" for vane in range(1, VANES + 1))
LOAD_COLUMNS = ("side_y_n", "side_z_n", "roll_nm", "axial_n")
COLUMNS = ("time_s", PRESSURE, *VANE_COLUMNS, *LOAD_COLUMNS)
LOAD_UNITS = ("N", "N", "N m", "N")

RATE_EXPONENT = 0.8  # burn load from pressure: Bartz 1957
SLOWEST_HZ = 20.0  # a vane moves from end to end in a tenth of a second
LEAST_BURN_S = 0.5  # how long the pressure must stand for it to be called a burn
BURNING_SHARE = 0.5  # of the pressure that stood: below it the jet is starting up or tailing off
QUIET_SHARE = 0.02  # of the reference: below it there is no jet
LEAST_PRESSURE_SHARE = 0.3  # of the reference: below it the nozzle may not even run full
MOST_PRESSURE_SHARE = 2.0
OUTSIDE_TRAVEL_DEG = 3.0
ALIVE_DEG = 1.0  # movement that no resting vane shows


@dataclass(frozen=True)
class StandLog:
    """One static test: `time_s` and `pressure_bar` (n,), `vanes_deg` (n, 4) as measured, and
    `loads` (n, 4) in the order of LOAD_COLUMNS. `rehearsal`: no real engine, by its own column.
    """

    file: str
    time_s: Array
    pressure_bar: Array
    vanes_deg: Array
    loads: Array
    rehearsal: bool = False

    @cached_property
    def rate_hz(self) -> float:
        """Rows a second, by the median step."""
        return float(1.0 / np.median(np.diff(self.time_s)))

    @cached_property
    def standing_bar(self) -> float:
        """The highest pressure that was held or exceeded for half a second in all."""
        highest = np.sort(self.pressure_bar)[::-1]
        return float(highest[min(int(LEAST_BURN_S * self.rate_hz), len(highest) - 1)])

    @cached_property
    def burning(self) -> np.ndarray:
        """Where the engine burns steadily enough to measure by: (n,) of bool."""
        return self.pressure_bar >= BURNING_SHARE * self.standing_bar

    @cached_property
    def burn_s(self) -> float:
        """Seconds of steady burning."""
        return float(np.sum(np.gradient(self.time_s)[self.burning]))

    def burn_load_s(self, reference_bar: float) -> Array:
        """Burn load at each row, (n,): equivalent seconds at the reference pressure."""
        rate = np.maximum(self.pressure_bar / reference_bar, 0.0) ** RATE_EXPONENT
        return np.asarray(scipy.integrate.cumulative_trapezoid(rate, self.time_s, initial=0.0))

    def quiet(self, reference_bar: float) -> np.ndarray:
        """Where there is no jet, so that the load cells read their zeros: (n,) of bool."""
        return np.abs(self.pressure_bar) < QUIET_SHARE * reference_bar


def read_stand_log(path: FilePath, vehicle: Vehicle, still: tuple[int, ...] = ()) -> StandLog:
    """Read a static-test log. DataError names line, column and value of the first fault.

    `still` lists the vanes, 1 to 4, that were locked in the test: their angles may be constant.
    """
    rows = read_all(path, COLUMNS, (REHEARSAL,))
    refuse_time(rows)
    log = StandLog(
        rows.file,
        rows["time_s"],
        rows[PRESSURE],
        np.column_stack([rows[name] for name in VANE_COLUMNS]),
        np.column_stack([rows[name] for name in LOAD_COLUMNS]),
        rows.rehearsal,
    )
    refuse_pressure(rows, log, vehicle.engine.chamber_pressure_bar)
    refuse_travel(rows, log, vehicle)
    refuse_dead_channels(rows, log, still)
    return log


def refuse_time(rows: Rows) -> None:
    """Time increases, and there are rows enough to see a vane move."""
    time_s = rows["time_s"]
    for row in np.flatnonzero(np.abs(time_s) > LATEST_S)[:1]:
        raise rows.fault(row, "time_s", f"must be from {-LATEST_S:g} to {LATEST_S:g} s")
    for row in np.flatnonzero(np.diff(time_s) <= 0)[:1]:
        raise rows.fault(row + 1, "time_s", f"must be later than the {time_s[row]} before it")
    rate_hz = 1.0 / np.median(np.diff(time_s)) if len(time_s) > 1 else 0.0
    if len(time_s) < LEAST_BURN_S * SLOWEST_HZ or rate_hz < SLOWEST_HZ:
        raise DataError(
            rows.file,
            None,
            "time_s",
            None,
            f"{len(time_s)} rows, {rate_hz:.3g} a second; a test needs at least {SLOWEST_HZ:g} "
            f"rows a second and {LEAST_BURN_S:g} s of burn; 100 to 1000 a second is good",
        )


def refuse_pressure(rows: Rows, log: StandLog, reference_bar: float) -> None:
    """There was a jet, and the pressure is in bar."""
    highest_bar = MOST_PRESSURE_SHARE * reference_bar
    for row in np.flatnonzero(log.pressure_bar > highest_bar)[:1]:
        raise rows.fault(
            row,
            PRESSURE,
            f"must be at most {highest_bar:g} bar, twice the vehicle's reference; is it in bar?",
        )
    for row in np.flatnonzero(log.pressure_bar < -0.1 * reference_bar)[:1]:
        raise rows.fault(row, PRESSURE, "must not be far below 0: is the sensor the right way on?")
    if log.standing_bar < LEAST_PRESSURE_SHARE * reference_bar:
        raise DataError(
            rows.file,
            None,
            PRESSURE,
            None,
            f"{log.standing_bar:.3g} bar at the most for half a second; too low to steer by: must "
            f"reach {LEAST_PRESSURE_SHARE * reference_bar:g} bar, "
            f"{LEAST_PRESSURE_SHARE:.0%} of the vehicle's {reference_bar:g} bar; did it ignite, "
            "and is it in bar?",
        )


def refuse_travel(rows: Rows, log: StandLog, vehicle: Vehicle) -> None:
    """Measured angles lie about within the travel."""
    for vane, (low, high) in enumerate(vehicle.vanes.travel_deg):
        angle = log.vanes_deg[:, vane]
        outside = (angle < low - OUTSIDE_TRAVEL_DEG) | (angle > high + OUTSIDE_TRAVEL_DEG)
        for row in np.flatnonzero(outside & log.burning)[:1]:
            raise rows.fault(
                row,
                VANE_COLUMNS[vane],
                f"must lie within the travel of {low:g} to {high:g} deg, give or take "
                f"{OUTSIDE_TRAVEL_DEG:g}",
            )


def refuse_dead_channels(rows: Rows, log: StandLog, still: tuple[int, ...]) -> None:
    """DataError for the first channel that is clipped or stuck while the engine burns."""
    burning = np.flatnonzero(log.burning)
    for name in (PRESSURE, *LOAD_COLUMNS):
        burnt = rows[name][burning]
        if (end := clipped_at(burnt)) is not None:
            first, at_end = burning[int(np.argmax(burnt == end))], burnt == end
            raise rows.fault(
                first,
                name,
                f"clipped: {at_end.sum()} rows ({at_end.mean():.1%} of the burn) stand at exactly "
                "this value, the end of what was read; set the amplifier's range wider",
            )
        if (stuck := stuck_at(burnt, log.rate_hz)) is not None:
            refuse_stuck(rows, log, name, stuck, "of the burn: look at the wire and the amplifier")
    for vane, name in enumerate(VANE_COLUMNS):
        angle = log.vanes_deg[burning, vane]
        stuck = stuck_at(angle, log.rate_hz)
        if stuck is None or vane + 1 in still:
            continue
        if np.ptp(angle) == 0:
            locked = f"of the burn; if the vane was locked, say so with --still {vane + 1}"
            refuse_stuck(rows, log, name, stuck, locked)
        first, count = stuck
        others_deg = np.delete(log.vanes_deg[burning], vane, axis=1)[first : first + count]
        if np.ptp(others_deg, axis=0).max() > ALIVE_DEG:
            refuse_stuck(rows, log, name, stuck, "while other vanes moved: look at the sensor")


def refuse_stuck(rows: Rows, log: StandLog, name: str, stuck: tuple[int, int], why: str) -> None:
    """Say that a channel stood still from a row of the burn on, for so many rows."""
    first, count = stuck
    raise rows.fault(
        np.flatnonzero(log.burning)[first],
        name,
        f"stuck: the same to the last digit over {count / log.rate_hz:.3g} s {why}",
    )


def write_stand_log(path: FilePath, log: StandLog) -> None:
    """Write a log as a file that `read_stand_log` takes, whole or not at all."""
    table = np.column_stack([log.time_s, log.pressure_bar, log.vanes_deg, log.loads])
    mark = ",1" if log.rehearsal else ""
    form = "%.6f,%.4f" + ",%.3f" * (table.shape[1] - 2) + f"{mark}\n"
    columns = (*COLUMNS, REHEARSAL) if log.rehearsal else COLUMNS
    with write_whole(path) as stream:
        stream.write(",".join(columns) + "\n")
        for piece in np.array_split(table, max(len(table) // 10_000, 1)):
            stream.write(form * len(piece) % tuple(piece.ravel()))
