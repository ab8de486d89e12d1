"""Writes the lists of the board's files: for freezing them, and for MicroPython's `mip`.

Run `python -m hil.boards.file_lists` after a board file has come or gone. The servo bench has lists
of its own, so that a board that flies goes without it.
"""

import json
from importlib.metadata import version
from pathlib import Path

from hil.boards.deploy import ROOT, board_sources
from mixer.ground.inputs.csv_files import write_whole

FLIGHT = ROOT / "firmware_port"
BENCH = FLIGHT / "bench"
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
    all_of_bench = board_sources(bench=True)
    only_bench = [path for path in all_of_bench if path not in flight]
    head = HEAD.format(what="flight core and node", command="board deploy")
    bench_head = HEAD.format(what="node and servo bench", command="bench")
    return {
        FLIGHT / "manifest.py": head + _packages(flight, ".."),
        FLIGHT / "package.json": _urls(flight, ".."),
        BENCH / "manifest.py": bench_head + INCLUDE + _packages(only_bench, "../.."),
        BENCH / "package.json": _urls(all_of_bench, "../.."),
    }


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
