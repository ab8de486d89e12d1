"""What a stand's logger wrote: pressure, loads and, where it is wired, the node's sync output.

CSV as everywhere: time_s, chamber_pressure_bar, side_y_n, side_z_n, roll_nm, axial_n and optionally
sync, a voltage or any number that is low and high. Time is the logger's own.
"""

from dataclasses import dataclass

import numpy as np

from mixer.ground.inputs.arrays import Array
from mixer.ground.inputs.csv_files import REHEARSAL, DataError, FilePath, read_all
from mixer.ground.static_test.log import LOAD_COLUMNS, PRESSURE, refuse_time

SYNC = "sync"
COLUMNS = ("time_s", PRESSURE, *LOAD_COLUMNS)


@dataclass(frozen=True)
class LoggerLog:
    """`time_s` and `pressure_bar` (n,), `loads` (n, 4) in the order of LOAD_COLUMNS; `sync` (n,)
    of bool, None where the file has no such column. `rehearsal`: of an emulated stand.
    """

    file: str
    time_s: Array
    pressure_bar: Array
    loads: Array
    sync: np.ndarray | None
    rehearsal: bool = False

    @property
    def row_s(self) -> float:
        """The usual time from one row to the next."""
        return float(np.median(np.diff(self.time_s)))


def read_logger_log(path: FilePath) -> LoggerLog:
    """Read a logger's file. DataError names line, column and value of the first fault."""
    rows = read_all(path, COLUMNS, (SYNC, REHEARSAL))
    refuse_time(rows)
    return LoggerLog(
        rows.file,
        rows["time_s"],
        rows[PRESSURE],
        np.column_stack([rows[name] for name in LOAD_COLUMNS]),
        levels(rows.file, rows[SYNC]) if SYNC in rows else None,
        rows.rehearsal,
    )


def levels(file: str, voltage: Array) -> np.ndarray:
    """High or low at each row, by half way between the usual low and the usual high."""
    low, high = np.quantile(voltage, [0.02, 0.98])
    if high <= low:
        raise DataError(
            file,
            None,
            SYNC,
            None,
            f"stands at {low:g} throughout: is the node's sync output wired to the logger? Without "
            "it leave the column out",
        )
    return voltage > (low + high) / 2
