"""Setting keys of a user's vehicle file, with an account of what changed in words."""

from typing import Any

import numpy as np

from mixer.ground.inputs.arrays import Array
from mixer.ground.vehicle_edits.text import VehicleText


class Edit:
    """Sets keys of a vehicle file and keeps account in words."""

    def __init__(self, file: VehicleText, changes: list[str]) -> None:
        self.file, self.changes = file, changes

    def put(self, table: str, key: str, value: Any, told: str = "") -> None:
        """Set a key, and where it is not what it was say so: in the words `told`, or its values."""
        before = self.file.get(table, key)
        if before == value:
            return
        self.file.put(table, key, value)
        was = "new" if before is None else f"was {shown(before)}"
        self.changes.append(f"{table}.{key}: {told or f'{shown(value)}, {was}'}")


def shown(value: object) -> str:
    """A value in a sentence."""
    return str(value).replace("'", '"')


def decimals(values: Array) -> str:
    """Values in a sentence, to a thousandth."""
    return ", ".join(f"{value:z.3f}" for value in values)


def alike(rows: list[list[float]]) -> list[Any]:
    """Four rows, or the one row that all four are."""
    return rows[0] if all(row == rows[0] for row in rows) else rows


def significant(values: Array) -> list[float]:
    """Values to a thousandth of the largest of them, or finer."""
    digits = 4 - int(np.floor(np.log10(max(np.abs(values).max(), 1e-9))))
    return (np.round(values, digits) + 0.0).tolist()
