"""Writes the two lists of the board's files: for freezing them, and for MicroPython's `mip`.

Run `python -m hil.boards.file_lists` after a board file has come or gone.
"""

import json
from importlib.metadata import version

from hil.boards.deploy import ROOT, board_sources
from mixer.ground.inputs.csv_files import write_whole

MANIFEST = ROOT / "firmware_port" / "manifest.py"
PACKAGE = ROOT / "firmware_port" / "package.json"
PACKAGES = ("mixer", "firmware_port")
MANIFEST_HEAD = '''\
"""Freezes flight core and node into a firmware: `make ... FROZEN_MANIFEST=.../manifest.py`.

Frozen this way all is bytecode; machine code comes with `fourvane board deploy`.
The list is written by `python -m hil.boards.file_lists`.
"""
# ruff: noqa: F821
# pyright: reportUndefinedVariable=false
'''


def manifest_text() -> str:
    """The manifest for MicroPython's build."""
    parts = [MANIFEST_HEAD]
    for package in PACKAGES:
        inside = [path for path in board_sources() if path.startswith(f"{package}/")]
        lines = "".join(f'        "{path.removeprefix(package + "/")}",\n' for path in inside)
        parts.append(f'package(\n    "{package}",\n    (\n{lines}    ),\n    base_path="..",\n)\n')
    return "\n".join(parts[:2]) + parts[2]


def package_text() -> str:
    """The list for `mip`: where a file goes on the board, and where it lies from here."""
    urls = [[path, f"../{path}"] for path in board_sources()]
    lines = ",\n".join(f"    {json.dumps(pair)}" for pair in urls)
    return (
        f'{{\n  "version": "{version("fourvane")}",\n  "deps": [],\n  "urls": [\n{lines}\n  ]\n}}\n'
    )


def main() -> None:
    """Write both."""
    for path, text in ((MANIFEST, manifest_text()), (PACKAGE, package_text())):
        with write_whole(path) as file:
            file.write(text)
        print(path)


if __name__ == "__main__":
    main()
