"""What a node played: its record, point by point, on the node's own clock.

A journal: one header, a point for every cycle, one line at the end. A record without that end was
torn, by Ctrl-C, a lost line or a lost supply, and is read up to there.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from zlib import crc32

import numpy as np

from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.inputs.errors import InputError
from mixer.ground.inputs.run_files import FilePath, reads
from mixer.ground.journals.lines import HEADER, read_lines
from mixer.ground.tables.build import flight_tables
from mixer.ground.vehicle.vehicle import Vehicle

KIND = "played on a stand"  # so that no bench journal is taken for one
POINT, END = "point", "end"
FEWEST = 20  # points without which nothing was played


class PlayRecordError(InputError):
    """A record that cannot be used, in words."""


@dataclass(frozen=True)
class PlayRecord:
    """A record of n cycles: `time_s` (n,) since the start; commanded `deflection_deg`, `pulse_us`
    and sensed `angle_deg` (n, 4), not-a-number where no sensor told; `supply_v` (n,) likewise;
    `sync` (n,), the level of the sync output, 0 or 1.

    `whole`: it was played to its end. `outcome`: how it ended, in words.
    """

    file: str
    header: Mapping[str, Any]
    time_s: Array
    deflection_deg: Array
    pulse_us: Array
    angle_deg: Array
    supply_v: Array
    sync: np.ndarray
    whole: bool
    outcome: str

    @property
    def sensed(self) -> np.ndarray:
        """Which vanes have a sensor that told their angle almost always: (4,) of bool."""
        return np.isfinite(self.angle_deg).mean(axis=0) > 0.95


def point_line(
    time_us: int,
    deflection_mdeg: list[int],
    pulse_ns: list[int],
    angle_mdeg: list[int | None],
    supply_mv: int | None,
    sync: int,
) -> dict[str, Any]:
    """One point as it stands in a record."""
    return {
        "us": time_us, "mdeg": deflection_mdeg, "ns": pulse_ns, "angle": angle_mdeg,
        "mv": supply_mv, "sync": sync,
    }  # fmt: skip


def read_play_record(path: FilePath) -> PlayRecord:
    """Read a record up to its end or its tear. InputError where it is none, or too short."""
    reads(path)
    return record_in(Path(path))


def record_in(path: Path) -> PlayRecord:
    """As `read_play_record`, for a record that the running command has played itself."""
    kept, file = read_lines(path), str(path)
    if not kept.records or kept.records[0][0] != HEADER or kept.records[0][1].get("kind") != KIND:
        raise PlayRecordError(f"{file}: no record of a play; name a file of `fourvane stand play`")
    try:
        points = [fields for key, fields in kept.records if key == POINT]
        ends = [fields for key, fields in kept.records if key == END]
        return taken(file, kept.records[0][1], points, ends)
    except (KeyError, TypeError, IndexError) as error:
        raise PlayRecordError(
            f"{file}: a point is not as this version writes it ({error}); use the version of "
            "Fourvane that played it"
        ) from error


def taken(
    file: str, header: Mapping[str, Any], points: list[dict[str, Any]], ends: list[dict[str, Any]]
) -> PlayRecord:
    """The record of these lines."""
    if len(points) < FEWEST:
        raise PlayRecordError(
            f"{file}: {len(points)} points; at least {FEWEST} are needed to tell one clock by "
            "another: was it stopped at once?"
        )
    time_s = np.array([point["us"] for point in points]) / 1e6
    for row in np.flatnonzero(np.diff(time_s) <= 0)[:1]:
        raise PlayRecordError(
            f"{file}: point {row + 1}: time {time_s[row + 1]:g} s is not later than the "
            f"{time_s[row]:g} s before it; a clock that runs backwards tells no time"
        )

    def four(name: str) -> Array:
        rows = [[np.nan if value is None else value for value in point[name]] for point in points]
        return np.array(rows, dtype=float).reshape(len(points), VANES) / 1e3

    supply = [np.nan if point["mv"] is None else point["mv"] / 1e3 for point in points]
    end = ends[-1] if ends else {"whole": False, "outcome": "torn: it was not closed"}
    return PlayRecord(
        file,
        header,
        time_s,
        four("mdeg"),
        four("ns"),
        four("angle"),
        np.array(supply, dtype=float),
        np.array([int(point["sync"]) for point in points]),
        bool(end["whole"]),
        str(end["outcome"]),
    )


def tables_crc(vehicle: Vehicle) -> int:
    """CRC-32 of the vehicle's flight tables, as a node tells it of those that it has."""
    return crc32(flight_tables(vehicle).to_bytes())


def refuse_another_vehicle(record: PlayRecord, vehicle: Vehicle) -> None:
    """PlayRecordError where the record was not played by this vehicle's tables."""
    played, asked = record.header.get("vehicle"), vehicle.vehicle.name
    if played != asked:
        raise PlayRecordError(
            f"{record.file}: played with the vehicle {played!r}, but {vehicle.path} is "
            f"{asked!r}: name the vehicle file that it was played with"
        )
    crc = tables_crc(vehicle)
    if record.header.get("tables_crc") != crc:
        raise PlayRecordError(
            f"{record.file}: played by the tables {record.header.get('tables_crc', 0):08x}, but "
            f"{vehicle.path} gives {crc:08x}: the file has changed since; name the one of then"
        )
