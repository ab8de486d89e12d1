"""The bench's journal: every measured point on disk before the next one is taken.

A text file, one line a record: CRC-32 in hex, a blank, JSON. Each line is written in one piece
and forced to the disk, so that a killed process, a lost supply or a full disk cost at most the
point that was being written. What is broken at the end is cut off when the journal is opened.
"""

import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from mixer.ground.inputs.log_book import now
from mixer.ground.journals.lines import AT, BY, HEADER, JournalError, Kept, line_of
from mixer.ground.journals.lines import read_lines as read_lines  # the reading half of this job


class Journal:
    """Records by their key, kept in `path`.

    header: what the run is about. An existing journal must have the same, else JournalError says
    what differs: points of different runs never mix. operator: who measures now, kept with the
    date of every point. `times`: when each kept point was measured; None where it does not say.
    """

    def __init__(self, path: Path, header: Mapping[str, Any], operator: str | None = None) -> None:
        self.path = path
        self._operator = operator
        kept = read_lines(path) if path.exists() else Kept([], 0, 0)
        self.times = {key: kept.times.get(key) for key, _ in kept.records[1:]}
        self.recovered_bytes = kept.broken_bytes
        self.records: dict[str, dict[str, Any]] = {}
        self._header = json.loads(json.dumps(header))
        if kept.records:
            check_header(path, kept.records[0][1], self._header)
            self.records = dict(kept.records[1:])
        self._file = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        os.ftruncate(self._file, kept.good_bytes)
        self._size = kept.good_bytes
        if not kept.records:
            self._write(HEADER, self._header)
            force_folder(path.parent)

    def __enter__(self) -> "Journal":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def __contains__(self, key: str) -> bool:
        return key in self.records

    def append(self, key: str, record: Mapping[str, Any]) -> None:
        """Keep one record for good. JournalError, and nothing half written, where it fails."""
        self.times[key] = self._write(key, record)
        self.records[key] = dict(record)

    def close(self) -> None:
        os.close(self._file)

    def _write(self, key: str, record: Mapping[str, Any]) -> str:
        """Write one line; the time that stands in it."""
        at = now()
        by = {BY: self._operator} if self._operator else {}
        line = line_of(key, {**record, AT: at, **by})
        try:
            os.lseek(self._file, self._size, os.SEEK_SET)
            written = os.write(self._file, line)
            if written < len(line):
                raise OSError(28, "No space left on device")
            os.fsync(self._file)
        except OSError as error:
            os.ftruncate(self._file, self._size)
            raise JournalError(
                f"{self.path}: not written: {error.strerror}; the {len(self.records)} points "
                "before are safe, make room and run the same command again to go on"
            ) from error
        self._size += len(line)
        return at


def check_header(path: Path, found: Any, wanted: Mapping[str, Any]) -> None:
    """Refuse to go on with a run of other settings."""
    names = [name for name in {**found, **wanted} if found.get(name) != wanted.get(name)]
    if names:
        name = names[0]
        raise JournalError(
            f"{path}: holds a run with {name} = {found.get(name)}, now it is {wanted.get(name)}; "
            "run with the settings of before to go on, or with --anew to measure anew"
        )


def force_folder(folder: Path) -> None:
    """Make a new file's name as safe as its content, where folders can be opened (not Windows)."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
