"""A play's record as it grows: a line for every point, each on the disk within a fifth of a second.

A line is written in one piece, so that a killed process loses no point that was written; forcing
each to the disk would take longer than a cycle, so that a lost supply may cost a fifth of a second.
"""

import os
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from mixer.ground.inputs.log_book import now
from mixer.ground.journals.lines import AT, HEADER, JournalError, line_of
from mixer.ground.two_clocks.play_record import END, POINT

FORCED_S = 0.2


class RecordFile:
    """A new record in `path`, which must not be there. Use as a context manager."""

    def __init__(self, path: Path, header: Mapping[str, Any]) -> None:
        self.path = path
        self.points = 0
        self.full = False  # the disk took no more
        self._file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o644)
        self._forced_s = time.monotonic()
        self._write(HEADER, {**header, AT: now()})
        os.fsync(self._file)

    def __enter__(self) -> "RecordFile":
        return self

    def __exit__(self, *_: object) -> None:
        os.fsync(self._file)
        os.close(self._file)

    def point(self, fields: Mapping[str, Any]) -> None:
        """Keep one point. JournalError where the disk takes no more."""
        self._write(POINT, fields)
        self.points += 1
        if time.monotonic() - self._forced_s > FORCED_S:
            os.fsync(self._file)
            self._forced_s = time.monotonic()

    def end(self, outcome: str, whole: bool, lost: int) -> None:
        """How the play ended, in words; whole: to its end and without a lost point."""
        self._write(END, {"outcome": outcome, "whole": whole, "lost": lost, AT: now()})

    def _write(self, key: str, fields: Mapping[str, Any]) -> None:
        line = line_of(key, fields)
        try:
            written = os.write(self._file, line)
            if written < len(line):
                raise OSError(28, "No space left on device")
        except OSError as error:
            self.full = True
            raise JournalError(
                f"{self.path}: not written: {error.strerror}; the {self.points} points before are "
                "safe, and the vanes go to neutral"
            ) from error
