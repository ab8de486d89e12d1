"""The kinds of names of files that commands take, each with the rule that belongs to it."""

import os
from pathlib import Path
from typing import Any

import click

from mixer.ground import run_files


class SourcePath(click.Path):
    """A file to read. No result of the same run may go over it."""

    def __init__(self) -> None:
        super().__init__(path_type=Path)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        path = Path(os.fsdecode(super().convert(value, param, ctx)))
        run_files.reads(path)
        return path


class ResultPath(click.Path):
    """A file to write, with a place to stand in and a name of its own."""

    def __init__(self) -> None:
        super().__init__(path_type=Path)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        run_files.writes(value)  # as it was given: a Path makes "." of an empty name
        return Path(os.fsdecode(super().convert(value, param, ctx)))


SOURCE, RESULT = SourcePath(), ResultPath()


def beside(result: Path, suffix: str) -> Path:
    """A second result of the run, beside the first one and with another ending."""
    path = result.with_suffix(suffix)
    run_files.writes(path)
    return path
