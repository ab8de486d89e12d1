"""Temporary folders that do not stay: what a killed process left goes at the next start."""

import contextlib
import os
import shutil
import stat
import tempfile
import time
from pathlib import Path

from mixer.ground.inputs.file_locks import taken

PREFIX = "fourvane-"
IN_USE = ".in-use"
FORGOTTEN_S = 86_400.0  # a folder without a lock is nobody's after a day


class WorkFolder:
    """A folder in the system's place for temporary ones; `name` is its path.

    It goes with `cleanup`, at the end of a `with` block, or where this process was killed at the
    next making of such a folder.
    """

    def __init__(self, purpose: str) -> None:
        remove_forgotten()
        self.name = tempfile.mkdtemp(prefix=f"{PREFIX}{purpose}-")
        self._lock = taken(Path(self.name) / IN_USE)

    def __enter__(self) -> str:
        return self.name

    def __exit__(self, *_: object) -> None:
        self.cleanup()

    def cleanup(self) -> None:
        """Remove the folder with all that is in it. Safe to call twice."""
        if self._lock is not None:
            os.close(self._lock)
            self._lock = None
        shutil.rmtree(self.name, ignore_errors=True)


def remove_forgotten() -> None:
    """Remove our own folders that no living process holds."""
    for path in Path(tempfile.gettempdir()).glob(f"{PREFIX}*"):
        with contextlib.suppress(OSError):  # somebody else removes it too, or it is not ours
            about = path.lstat()
            ours = not hasattr(os, "getuid") or about.st_uid == os.getuid()
            if stat.S_ISDIR(about.st_mode) and ours and is_forgotten(path, about.st_mtime):
                shutil.rmtree(path, ignore_errors=True)


def is_forgotten(path: Path, changed_s: float) -> bool:
    """Whether the process that made the folder is gone."""
    if not (path / IN_USE).is_file():
        return time.time() - changed_s > FORGOTTEN_S
    lock = taken(path / IN_USE)
    if lock is None:
        return False
    os.close(lock)
    return True
