"""Campaign results on disk: a folder of Parquet files, one for each block of flights.

A block is written whole or not at all, and carries the mark of the campaign it belongs to and the
check sum of its flights: the same folder goes on where it stopped, never mixes two campaigns, and
counts no flight that has changed on the disk.
"""

import hashlib
import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from hil.campaigns.plans import FLIGHTS_A_BLOCK, Columns
from mixer.ground.inputs.csv_files import InputError, write_whole
from mixer.ground.tables.build import flight_tables
from mixer.ground.vehicle.vehicle import Vehicle

MARK, CHECK = b"fourvane.campaign", b"fourvane.sha256"
# Counted up whenever the same seed would no longer be the same flight.
FLIGHT_VERSION = 2


def pyarrow() -> Any:
    """The library, which only campaigns need."""
    import pyarrow.parquet

    return pyarrow


def mark_of(vehicle: Vehicle, watch_jams: bool, first_seed: int) -> str:
    """What the flights of a campaign depend on, and how they are cut into blocks."""
    tables = flight_tables(vehicle).to_bytes()
    settings = json.dumps([FLIGHT_VERSION, FLIGHTS_A_BLOCK, vehicle.text, watch_jams, first_seed])
    return hashlib.sha256(settings.encode() + tables).hexdigest()[:16]


def check_sum(table: Any) -> str:
    """SHA-256 of a block: its columns' names, kinds and values, bit for bit."""
    digest = hashlib.sha256()
    for name in table.column_names:
        values = table[name].to_numpy()
        digest.update(json.dumps([name, values.dtype.str, len(values)]).encode())
        digest.update(values.tobytes())
    return digest.hexdigest()


class FlightTable:
    """The folder of one campaign."""

    def __init__(self, folder: Path, mark: str):
        self._arrow = pyarrow()
        self.folder = folder
        self._mark = mark
        if folder.exists() and not folder.is_dir():
            raise InputError(f"{folder}: is a file; a campaign needs a folder")
        if not folder.parent.is_dir():
            raise InputError(f"{folder}: the folder {folder.parent} does not exist")

    def holds(self, first_seed: int, flights: int) -> bool:
        """Whether so many flights of a block are there. InputError where the folder is another
        campaign's.
        """
        file = self._file(first_seed)
        if not file.exists():
            return False
        return self._whole(file).num_rows >= flights

    def write(self, first_seed: int, columns: Columns) -> None:
        """Put a block away."""
        self.folder.mkdir(exist_ok=True)
        table = self._arrow.table(columns)
        about = {MARK: self._mark.encode(), CHECK: check_sum(table).encode()}
        table = table.replace_schema_metadata(about)
        with write_whole(self._file(first_seed), "wb") as stream:
            self._arrow.parquet.write_table(table, stream, write_page_checksum=True)

    def read(self, blocks: Sequence[tuple[int, int]], names: Sequence[str]) -> Iterator[Columns]:
        """Some columns of some blocks (first seed, flights), block by block."""
        for first_seed, flights in blocks:
            table = self._whole(self._file(first_seed)).slice(0, flights)
            yield {name: table[name].to_numpy() for name in names}

    def _whole(self, file: Path) -> Any:
        """All of a block's file, once its check sum agrees. InputError where it is damaged or
        another campaign's.
        """
        try:
            # By its content: what stands in a path's name would be read as columns.
            found = self._arrow.parquet.ParquetFile(file, page_checksum_verification=True).read()
            about = found.schema.metadata or {}
            same = about.get(CHECK) == check_sum(found).encode()
        # What a damaged file makes of the library is not only its own errors.
        except (OSError, ValueError, LookupError, TypeError, MemoryError, ArithmeticError,
                RuntimeError, self._arrow.ArrowException) as error:  # fmt: skip
            raise InputError(f"{file}: not a readable Parquet file ({error})") from error
        if about.get(MARK) != self._mark.encode():
            raise InputError(
                f"{file}: belongs to another campaign (another vehicle file, first seed, setting "
                "or version); name another folder, or remove this one"
            )
        if not same:
            raise InputError(
                f"{file}: is damaged, its check sum does not agree; remove it, and the same "
                "command flies its flights again"
            )
        return found

    def _file(self, first_seed: int) -> Path:
        return self.folder / f"flights-{first_seed:09d}.parquet"
