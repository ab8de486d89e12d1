"""The lines of a journal: CRC-32 in hex, a blank, JSON. What is broken at the end is told apart.

A line is written in one piece, so that a killed process or a lost supply costs at most the line
that was being written; whatever stands before is read.
"""

import json
import zlib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from mixer.ground.inputs.errors import InputError

HEADER = "header"
AT, BY = "at", "by"  # of a record: when it was measured, and by whom


class JournalError(InputError):
    """A journal that cannot be used or written; the message says what is safe."""


class Kept:
    """What of a journal file can be read: records with their times (UTC), and the bytes that are
    good and broken.
    """

    def __init__(
        self,
        records: list[tuple[str, Any]],
        good_bytes: int,
        broken_bytes: int,
        times: Mapping[str, str] | None = None,
    ) -> None:
        self.records, self.good_bytes, self.broken_bytes = records, good_bytes, broken_bytes
        self.times = dict(times or {})


def line_of(key: str, record: Mapping[str, Any]) -> bytes:
    """One line of a journal file."""
    body = json.dumps({"key": key, **record}, separators=(",", ":"), allow_nan=False)
    text = body.encode("ascii")
    return b"%08x %s\n" % (zlib.crc32(text), text)


def read_lines(path: Path) -> Kept:
    """Every whole record up to the first broken line. JournalError where it is no journal."""
    content = path.read_bytes()
    records: list[tuple[str, Any]] = []
    times: dict[str, str] = {}
    good = 0
    for line in content.splitlines(keepends=True):
        record = parsed(line)
        if record is None:
            break
        key, fields = record
        fields.pop(BY, None)
        if AT in fields:
            times[key] = fields.pop(AT)
        records.append(record)
        good += len(line)
    if not records and content.strip(b"\0"):
        if b"\n" in content:
            raise JournalError(f"{path}: not a journal; name another folder with --out-dir")
        good = 0
    return Kept(records, good, len(content) - good, times)


def parsed(line: bytes) -> tuple[str, dict[str, Any]] | None:
    """Key and record of one line, or None where it is broken."""
    check, _, text = line.rstrip(b"\n").partition(b" ")
    if not line.endswith(b"\n") or check != b"%08x" % zlib.crc32(text):
        return None
    record = json.loads(text)
    return record.pop("key"), record
