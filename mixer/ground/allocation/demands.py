"""Demand files: wanted moments over burn time, read a piece at a time and checked."""

import os
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from mixer.ground.inputs.arrays import LATEST_S, Array
from mixer.ground.inputs.csv_files import FilePath, Rows, read_rows
from mixer.ground.vehicle.vehicle import Vehicle

COLUMNS = ("time_s", "pitch_nm", "yaw_nm", "roll_nm")
PRESSURE = "chamber_pressure_bar"


@dataclass(frozen=True)
class DemandChunk:
    """Some rows of a demand file: `time_s` (n,), `demands_nm` (n, 3) as pitch, yaw, roll,
    `chamber_pressure_bar` (n,); the file's line of the first row, and the bytes read so far.
    """

    time_s: Array
    demands_nm: Array
    chamber_pressure_bar: Array
    first_line: int
    bytes_read: int


class DemandFile:
    """A demand file that can be gone through any number of times, in flat memory.

    Where the file has no pressure column, the vehicle's reference pressure holds until its burn
    time and none after it. DataError names line, column and value of the first fault: time that
    does not increase, time before 0 or after an hour, a pressure below 0 or above twice the
    reference, and all that `read_rows` refuses.
    """

    def __init__(self, path: FilePath, vehicle: Vehicle) -> None:
        self.path = path
        self.reference_bar = vehicle.engine.chamber_pressure_bar
        self.burn_time_s = vehicle.engine.burn_time_s
        self.bytes_total = os.stat(path).st_size

    def __iter__(self) -> Iterator[DemandChunk]:
        last_s = -np.inf
        for rows in read_rows(self.path, COLUMNS, optional=(PRESSURE,)):
            time_s = rows["time_s"]
            self.check_time(rows, last_s)
            last_s = time_s[-1]
            yield DemandChunk(
                time_s,
                np.column_stack([rows[name] for name in COLUMNS[1:]]),
                self.pressure(rows),
                rows.first_line,
                rows.bytes_read,
            )

    def check_time(self, rows: Rows, last_s: float) -> None:
        """Burn time starts at or after 0 and increases from row to row."""
        time_s = rows["time_s"]
        before_s = np.concatenate(([last_s], time_s[:-1]))
        for row in np.flatnonzero((time_s <= before_s) | (time_s < 0) | (time_s > LATEST_S)):
            if 0 <= time_s[row] <= LATEST_S:
                raise rows.fault(row, "time_s", f"must be later than the {before_s[row]} before it")
            raise rows.fault(row, "time_s", f"burn time must be from 0 to {LATEST_S:g} s")

    def pressure(self, rows: Rows) -> Array:
        """Chamber pressure in bar for each row."""
        if PRESSURE not in rows:
            return np.where(rows["time_s"] <= self.burn_time_s, self.reference_bar, 0.0)
        pressure_bar = rows[PRESSURE]
        highest_bar = 2 * self.reference_bar
        for row in np.flatnonzero((pressure_bar < 0) | (pressure_bar > highest_bar)):
            allowed = f"must be from 0 to {highest_bar:g} bar, twice the vehicle's reference"
            raise rows.fault(row, PRESSURE, allowed)
        return pressure_bar
