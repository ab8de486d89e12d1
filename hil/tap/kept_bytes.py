"""What was heard, kept as it came: one line a chunk, `time_s wire hex`, torn at most at its end.

Frames are read out of it again at any time by the same code that heard them, so that nothing the
reading left out is lost.
"""

import os
import time
from pathlib import Path

from mixer.ground.inputs.csv_files import InputError

FIRST = "heard bytes: time_s wire hex"
FLUSH_S = 0.5


class KeptBytes:
    """A file that heard bytes are written into; a context manager. `close` forces it to disk."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._stream = path.open("w", encoding="ascii", newline="\n")
        self._stream.write(FIRST + "\n")
        self._flushed_s = time.monotonic()

    def __enter__(self) -> "KeptBytes":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def add(self, port: int, data: bytes, at_s: float) -> None:
        """Keep one chunk; what is older than half a second has left this process."""
        if self._stream.closed:
            return
        self._stream.write(f"{at_s:.6f} {port} {data.hex()}\n")
        if time.monotonic() - self._flushed_s > FLUSH_S:
            self._stream.flush()
            self._flushed_s = time.monotonic()

    def close(self) -> None:
        """Safe to call twice."""
        if not self._stream.closed:
            self._stream.flush()
            os.fsync(self._stream.fileno())
            self._stream.close()


def read_kept(path: Path) -> list[tuple[int, float, bytes]]:
    """Wire, time and bytes of each whole line; a torn last line is left out.

    InputError names file and line of what cannot have been written by `KeptBytes`.
    """
    lines = path.read_text(encoding="ascii", errors="replace").split("\n")
    if lines[0] != FIRST:
        raise InputError(f"{path}, line 1: {lines[0][:40]!r}; must be {FIRST!r}")
    chunks = []
    for number, line in enumerate(lines[1:-1], 2):  # after the last newline there is a torn line
        try:
            at_s, port, text = line.split(" ")
            chunk = int(port), float(at_s), bytes.fromhex(text)
            if not 0 <= chunk[0] <= 1:
                raise ValueError
        except ValueError:
            raise InputError(
                f"{path}, line {number}: {line[:40]!r}; must be a time in s, a wire 0 or 1, and "
                "bytes in hex"
            ) from None
        chunks.append(chunk)
    return chunks
