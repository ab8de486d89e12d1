"""Locks that end with the process that holds them, however it ends."""

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path

from mixer.ground.inputs.errors import InputError


def taken(path: Path) -> int | None:
    """A handle that holds the lock on a folder, or on a file, made where it is missing; None where
    another process, or another handle of this one, holds it. Closing the handle gives it back.
    """
    handle = os.open(path, os.O_RDONLY if path.is_dir() else os.O_RDWR | os.O_CREAT, 0o644)
    try:
        if os.name == "nt":
            import msvcrt  # each of the two systems lacks the other's module

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        os.close(handle)
        return None
    except OSError:
        os.close(handle)
        raise
    return handle


@contextlib.contextmanager
def alone_in(folder: Path, what: str) -> Iterator[None]:
    """Nobody else works in the folder meanwhile. InputError where somebody does.

    what: who that would be, such as "bench".
    """
    try:
        handle = taken(folder)
    except OSError:  # Windows, and folders on some other machine's disk, lock files only
        handle = taken(folder / f".{what}.lock")
    if handle is None:
        raise InputError(
            f"{folder}: another {what} is at work in this folder; wait for its end, or name a "
            "folder of its own"
        )
    try:
        yield
    finally:
        os.close(handle)
