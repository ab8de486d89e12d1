"""The kinds of names of files that commands take, each with the rule that belongs to it."""

import os
from pathlib import Path
from typing import Any

import click

from mixer.ground.inputs import run_files
from mixer.ground.inputs.errors import InputError, visible


class NamedPath(click.Path):
    """A file's name that can be shown on a terminal and in a report."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        name = os.fsdecode(super().convert(value, param, ctx))
        if visible(name) != name or "\n" in name or "\t" in name:
            raise InputError(f"{name!r}: control characters may not stand in a file's name")
        return Path(name)


class SourcePath(NamedPath):
    """A file to read. No result of the same run may go over it."""

    def __init__(self) -> None:
        super().__init__(path_type=Path)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        path = super().convert(value, param, ctx)
        run_files.reads(path)
        return path


class ResultPath(NamedPath):
    """A file to write, with a place to stand in and a name of its own."""

    def __init__(self) -> None:
        super().__init__(path_type=Path)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Path:
        run_files.writes(value)  # as it was given: a Path makes "." of an empty name
        return super().convert(value, param, ctx)


SOURCE, RESULT = SourcePath(), ResultPath()


def beside(result: Path, suffix: str) -> Path:
    """A second result of the run, beside the first one and with another ending."""
    path = result.with_suffix(suffix)
    run_files.writes(path)
    return path
