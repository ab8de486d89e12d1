"""Writes the lists of the board's files: for freezing them, and for MicroPython's `mip`.

Run `python -m hil.boards.file_lists` after a board file has come or gone. Servo bench and test
stand have lists of their own, so that a board that flies goes without them.
"""

import json
from importlib.metadata import version
from pathlib import Path

from hil.boards.deploy import ROOT, board_sources
from mixer.ground.inputs.csv_files import write_whole

FLIGHT = ROOT / "firmware_port"
BENCH, STAND = FLIGHT / "bench", FLIGHT / "stand"
HEAD = '''\
"""Freezes {what} into a firmware: `make ... FROZEN_MANIFEST=.../manifest.py`.

Frozen this way all is bytecode; machine code comes with `fourvane {command}`.
The list is written by `python -m hil.boards.file_lists`.
"""
# ruff: noqa: F821
# pyright: reportUndefinedVariable=false
'''
INCLUDE = '\ninclude("../manifest.py")\n'


def board_lists() -> dict[Path, str]:
    """The text of each list by its path."""
    flight = board_sources()
    head = HEAD.format(what="flight core and node", command="board deploy")
    lists = {
        FLIGHT / "manifest.py": head + _packages(flight, ".."),
        FLIGHT / "package.json": _urls(flight, ".."),
    }
    for folder, what, command, sources in (
        (BENCH, "node and servo bench", "bench", board_sources(bench=True)),
        (STAND, "node and test stand", "stand play", board_sources(stand=True)),
    ):
        only = [path for path in sources if path not in flight]
        head = HEAD.format(what=what, command=command)
        lists[folder / "manifest.py"] = head + INCLUDE + _packages(only, "../..")
        lists[folder / "package.json"] = _urls(sources, "../..")
    return lists


def _packages(sources: list[str], root: str) -> str:
    """For MicroPython's build; root: the project's, from the list."""
    parts = []
    for package in dict.fromkeys(path.split("/")[0] for path in sources):
        inside = [path for path in sources if path.startswith(f"{package}/")]
        lines = "".join(f'        "{path.removeprefix(package + "/")}",\n' for path in inside)
        parts.append(
            f'package(\n    "{package}",\n    (\n{lines}    ),\n    base_path="{root}",\n)\n'
        )
    return "\n" + "".join(parts)


def _urls(sources: list[str], root: str) -> str:
    """For `mip`: where a file goes on the board, and where it lies from the list."""
    lines = ",\n".join(f"    {json.dumps([path, f'{root}/{path}'])}" for path in sources)
    return (
        f'{{\n  "version": "{version("fourvane")}",\n  "deps": [],\n  "urls": [\n{lines}\n  ]\n}}\n'
    )


def main() -> None:
    """Write them."""
    for path, text in board_lists().items():
        with write_whole(path) as file:
            file.write(text)
        print(path)


if __name__ == "__main__":
    main()
