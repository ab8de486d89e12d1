"""The words of flight tables while they are put together."""

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from mixer.flight import layout as at
from mixer.ground.inputs.section_errors import Problem, VehicleError
from mixer.ground.tables.scales import EIGHTHS, largest_force_n

if TYPE_CHECKING:
    from mixer.ground.vehicle.vehicle import Vehicle


class WordList:
    """Words of one vehicle's flight tables, put together: a head in the order of
    `mixer/flight/layout.py`, and behind it a body of columns and records.
    """

    def __init__(self, vehicle: "Vehicle"):
        self.vehicle = vehicle
        self.force_unit_n = largest_force_n(vehicle) / EIGHTHS
        self.head = [0] * at.BODY
        self.body: list[int] = []
        self.places: dict[bytes, list[int]] = {}

    def refuse(self, key: str, value: object, message: str) -> VehicleError:
        return VehicleError(str(self.vehicle.path), [Problem(key, str(value), message)])

    def put(self, where: int, values) -> None:
        values = [int(v) for v in np.atleast_1d(values)]
        self.head[where : where + len(values)] = values

    def append(self, *columns) -> int:
        """Add columns to the body, one after another; return where they start."""
        offset = at.BODY + len(self.body)
        for column in columns:
            self.body += [int(v) for v in column]
        return offset

    def append_records(self, *columns) -> int:
        """Add columns to the body, row by row; return where they start."""
        return self.append(*zip(*columns, strict=True))

    def append_leaped(self, starts, *columns) -> int:
        """The same for records that begin before everything and at `starts`, for a search by leaps.

        columns: for these records and the first of the ends that close the table.
        """
        ends = np.zeros((len(columns), at.LEAP - 1))
        return self.append_records(
            [-at.END, *starts, *[at.END] * at.LEAP], *np.hstack([np.array(columns), ends])
        )

    def once(self, columns, *cells: Callable[[int], list[int]]) -> list[int]:
        """Add records and the cells that lead to them, or find them if they are there already.

        cells: given the place of the records. Returns the places of records and cells.
        """
        key = np.array(columns).tobytes()
        if key not in self.places:
            offset = self.append_records(*columns)
            self.places[key] = [offset, *(self.append(cell(offset)) for cell in cells)]
        return self.places[key]
