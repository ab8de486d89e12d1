"""What one run of a command reads and writes: no result goes over a source or another result.

A source is noted where it is named on the command line (`path_options`) and again where it is
read, so that servo tables and logs which another file names count too. A result is noted where it
is named, before any work is done; `write_whole` asks once more. Outside a run of a command, where
a program calls the functions itself, nothing is noted and nothing is refused.
"""

import contextlib
import errno
import os
from collections.abc import Iterator
from contextvars import ContextVar
from dataclasses import dataclass, field
from pathlib import Path

from mixer.ground.inputs.errors import InputError

FilePath = str | os.PathLike[str]


@dataclass
class RunFiles:
    """The sources and the results of one run, as they were named."""

    sources: list[Path] = field(default_factory=list)
    results: list[Path] = field(default_factory=list)


RUN: ContextVar[RunFiles | None] = ContextVar("files of this run", default=None)


@contextlib.contextmanager
def one_run() -> Iterator[None]:
    """Sources and results are noted for what runs inside."""
    token = RUN.set(RunFiles())
    try:
        yield
    finally:
        RUN.reset(token)


def reads(path: FilePath) -> None:
    """Note a source of this run. InputError where it was named as a result."""
    run = RUN.get()
    if run is not None:
        source = Path(path)
        refuse_same(source, run.results)
        run.sources.append(source)


def writes(*paths: FilePath) -> None:
    """Note results of this run, before the work is done. InputError where one would go over
    a source or over another result, or has no name; OSError where it could not be written.
    """
    run = RUN.get() or RunFiles()
    for path in paths:
        result = Path(path)
        refuse_no_place(path)
        refuse_same(result, [*run.sources, *run.results])
        run.results.append(result)


def refuse_over_source(path: FilePath) -> None:
    """InputError where this run has read what it is about to write over."""
    run = RUN.get()
    if run is not None:
        refuse_same(Path(path), run.sources)


def refuse_same(path: Path, others: list[Path]) -> None:
    if any(same_file(path, other) for other in others):
        raise InputError(f"{path}: named twice; a result needs a file of its own")


def same_file(one: Path, other: Path) -> bool:
    """Whether two names stand for one file, there already or not. A device or a pipe is never
    one: what is written to it lies nowhere.
    """
    with contextlib.suppress(OSError, ValueError):
        if one.exists() and other.exists():
            return one.samefile(other) and one.is_file()
    return os.path.realpath(one) == os.path.realpath(other)


def refuse_no_place(path: FilePath) -> None:
    """InputError where this is no name, OSError where no file can stand under it."""
    shown = os.fspath(path)
    if not shown.strip() or "\0" in shown:
        raise InputError(f"{shown!r}: must be the name of a file to write")
    target = Path(os.path.realpath(path))
    if target.is_dir():
        raise IsADirectoryError(errno.EISDIR, "is a folder; name a file to write", shown)
    if not os.path.exists(path) and not target.parent.is_dir():
        raise FileNotFoundError(errno.ENOENT, f"the folder {target.parent} does not exist", shown)
