"""Files written whole or not at all, with the name of the one that could not be."""

import contextlib
import errno
import io
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any

from mixer.ground.inputs.run_files import FilePath, refuse_no_place, refuse_over_source


@contextlib.contextmanager
def write_whole(path: FilePath, mode: str = "w") -> Iterator[IO[Any]]:
    """A file that appears under its name only when everything in it has been written.

    `mode` is "w" (UTF-8 text, newlines as written) or "wb". Until the block ends well the
    content sits in a hidden file in the same folder, which is removed on any exception, Ctrl-C
    included; a file of that name from before stays untouched. OSError names the file; InputError
    where it cannot be one, or is one that the running command has read.
    """
    refuse_no_place(path)
    refuse_over_source(path)
    target = Path(os.path.realpath(path))
    if os.path.exists(path) and not os.path.isfile(path):  # a pipe or a terminal is not replaced
        with opened(os.open(path, os.O_WRONLY), path, mode) as stream:
            yield stream
        return
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.name[:40]}.", dir=target.parent)
    except OSError as error:
        raise OSError(
            error.errno, f"cannot write there: {error.strerror}", os.fspath(path)
        ) from error
    unfinished = Path(name)
    try:
        with opened(handle, path, mode) as stream:
            yield stream
            stream.flush()
            with told_not_written(path):
                os.fsync(handle)
        # mkstemp makes files for the owner alone; give what a plain open() would have given.
        unfinished.chmod(target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~umask())
        unfinished.replace(target)
    finally:
        unfinished.unlink(missing_ok=True)


class Named(io.FileIO):
    """A file whose trouble has the name that the user knows, whoever else is writing too."""

    def __init__(self, handle: int, told: FilePath) -> None:
        super().__init__(handle, "wb")
        self.told = told

    def write(self, data: Any, /) -> int | None:
        with told_not_written(self.told):
            return super().write(data)


@contextlib.contextmanager
def told_not_written(path: FilePath) -> Iterator[None]:
    """Give a full disk the name of the file that found no room."""
    try:
        yield
    except OSError as error:
        if error.errno == errno.EPIPE:  # the reader has left, and that is no fault
            raise
        raise OSError(error.errno, f"not written: {error.strerror}", os.fspath(path)) from error


def opened(handle: int, path: FilePath, mode: str) -> IO[Any]:
    """A stream of bytes or of UTF-8 text into an open file."""
    stream = io.BufferedWriter(Named(handle, path))
    return stream if "b" in mode else io.TextIOWrapper(stream, encoding="utf-8", newline="")


def umask() -> int:
    """The permissions this process takes away from new files (readable only by setting it)."""
    mask = os.umask(0o022)
    os.umask(mask)
    return mask
