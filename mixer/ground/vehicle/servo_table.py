"""Servo tables: measured pulse width against deflection, for one servo or all.

Each is a CSV file or stands in the vehicle file.
"""

from pathlib import Path

import numpy as np
from pydantic import ValidationInfo

from mixer.ground.inputs.arrays import VANES, Array, fixed
from mixer.ground.inputs.csv_files import FilePath, InputError, read_all
from mixer.ground.inputs.quantities import Row, refuse
from mixer.ground.vehicle.curves import ServoTable

COLUMNS = ("deflection_deg", "pulse_us")
RISING = Row(ge=-180, le=180, increasing=True)
PULSES = Row(ge=0, le=20_000)
ONE_WAY = "pulses must rise all the way or fall all the way"
ALLOWED = (
    'must be the name of a CSV file, or a list of four, such as "servo.csv"; or tables in the '
    "file itself, { deflection_deg = [...], pulse_us = [...] }"
)


def read_servo_table(path: FilePath) -> ServoTable:
    """One servo's table. DataError where deflection does not rise or the pulse turns round."""
    rows = read_all(path, COLUMNS)
    deflection_deg, pulse_us = rows["deflection_deg"], rows["pulse_us"]
    for column, allowed in zip(COLUMNS, (RISING, PULSES), strict=True):
        for row in np.flatnonzero((rows[column] < allowed.ge) | (rows[column] > allowed.le)):
            raise rows.fault(row, column, f"must be {allowed.each}")
    if len(rows) < 2:
        raise rows.fault(0, "deflection_deg", "a servo table has at least two rows")
    for row in np.flatnonzero(np.diff(deflection_deg) <= 0):
        raise rows.fault(int(row) + 1, "deflection_deg", "must be more than the one before it")
    for row in turning(pulse_us):
        raise rows.fault(row, "pulse_us", ONE_WAY)
    return ServoTable(fixed(deflection_deg), fixed(pulse_us))


def table_values(table: ServoTable) -> dict[str, list[float]]:
    """A servo table as it may stand in a vehicle file."""
    return {column: getattr(table, column).tolist() for column in COLUMNS}


def read_servo_tables(value: object, info: ValidationInfo) -> list[ServoTable]:
    """The key `table`: one table for all four servos or four, each a file beside the vehicle file
    or lists in it.
    """
    folder = Path((info.context or {}).get("folder", "."))
    if not isinstance(value, list):
        return [one_table(value, folder, "")] * VANES
    if len(value) != VANES:
        refuse(value, ALLOWED)
    found: dict[str, ServoTable] = {}
    for number, each in enumerate(value):
        if str(each) not in found:
            found[str(each)] = one_table(each, folder, f"[{number}]")
    return [found[str(each)] for each in value]


def one_table(value: object, folder: Path, where: str) -> ServoTable:
    """The table that one entry names or holds."""
    if isinstance(value, dict):
        return table_in_place(value, where)
    if not isinstance(value, str) or not value or "\0" in value:
        refuse(value, ALLOWED, where)
    try:
        return read_servo_table(folder / value)
    except InputError as error:
        refuse(value, str(error), where)
    except OSError as error:
        refuse(value, f"{ALLOWED}; {error.filename}: {error.strerror}", where)


def table_in_place(value: dict[str, object], where: str) -> ServoTable:
    """A table whose lists stand in the vehicle file itself."""
    if set(value) != set(COLUMNS):
        refuse(value, ALLOWED, where)
    deflection_deg = RISING.row(value["deflection_deg"], f"{where}.deflection_deg")
    pulse_us = PULSES.row(value["pulse_us"], f"{where}.pulse_us")
    if len(deflection_deg) < 2 or len(pulse_us) != len(deflection_deg):
        refuse(value, "must have two rows or more, and as many pulses as deflections", where)
    turns = turning(pulse_us)
    if len(turns):
        refuse(float(pulse_us[turns[0]]), ONE_WAY, f"{where}.pulse_us[{turns[0]}]")
    return ServoTable(deflection_deg, pulse_us)


def turning(pulse_us: Array) -> list[int]:
    """Rows at which the pulses stop going the way that leads from the first to the last."""
    steps = np.diff(pulse_us) * np.sign(pulse_us[-1] - pulse_us[0])
    return [int(row) + 1 for row in np.flatnonzero(steps <= 0)]
