"""Servo tables: measured pulse width against deflection, one CSV file for one servo or all."""

from pathlib import Path

import numpy as np
from pydantic import ValidationInfo

from mixer.ground.curves import ServoTable
from mixer.ground.files import DataError, FilePath, read_all
from mixer.ground.quantities import VANES, fixed, refuse

COLUMNS = ("deflection_deg", "pulse_us")


def read_servo_table(path: FilePath) -> ServoTable:
    """One servo's table. DataError where deflection does not rise or the pulse turns round."""
    rows = read_all(path, COLUMNS)
    deflection_deg, pulse_us = rows["deflection_deg"], rows["pulse_us"]
    if len(rows) < 2:
        raise rows.fault(0, "deflection_deg", "a servo table has at least two rows")
    for row in np.flatnonzero(np.diff(deflection_deg) <= 0):
        raise rows.fault(int(row) + 1, "deflection_deg", "must be more than the one before it")
    steps = np.diff(pulse_us) * np.sign(pulse_us[-1] - pulse_us[0])
    for row in np.flatnonzero(steps <= 0):
        raise rows.fault(
            int(row) + 1, "pulse_us", "pulses must rise all the way or fall all the way"
        )
    return ServoTable(fixed(deflection_deg), fixed(pulse_us))


def read_servo_tables(value: object, info: ValidationInfo) -> list[ServoTable]:
    """The key `table`: one file name for all four servos or four, beside the vehicle file."""
    allowed = 'must be the name of a CSV file, or a list of four, such as "servo.csv"'
    names = [str(name) for name in value] if isinstance(value, list) else [str(value)] * VANES
    given = value if isinstance(value, list) else [value]
    if len(names) != VANES or not all(isinstance(name, str) and name for name in given):
        refuse(value, allowed)
    folder = Path((info.context or {}).get("folder", "."))
    try:
        tables = {name: read_servo_table(folder / name) for name in dict.fromkeys(names)}
    except DataError as error:
        refuse(value, str(error))
    except OSError as error:
        refuse(value, f"{allowed}; {error.filename}: {error.strerror}")
    return [tables[name] for name in names]
