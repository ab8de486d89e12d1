"""The lists by which the board's files are frozen or installed name exactly those files."""

import json
import subprocess
import sys
from pathlib import Path

import firmware_port
from hil.boards.board import Board
from hil.boards.deploy import ROOT, board_sources
from hil.boards.file_lists import MANIFEST, PACKAGE, manifest_text, package_text
from hil.boards.link import Link

FOLDER = Path(firmware_port.__file__).parent


def test_both_lists_are_up_to_date() -> None:
    """Otherwise: python -m hil.boards.file_lists."""
    assert MANIFEST.read_text(encoding="utf-8") == manifest_text()
    assert PACKAGE.read_text(encoding="utf-8") == package_text()


def test_the_manifest_freezes_the_files_that_are_deployed() -> None:
    listed = []

    def package(name: str, files: tuple[str, ...], *, base_path: str) -> None:
        assert (FOLDER / base_path).resolve() == ROOT
        listed.extend(f"{name}/{file}" for file in files)

    exec((FOLDER / "manifest.py").read_text(encoding="utf-8"), {"package": package})
    assert sorted(listed) == sorted(board_sources())


def test_the_package_list_installs_the_files_that_are_deployed() -> None:
    listed = json.loads((FOLDER / "package.json").read_text(encoding="utf-8"))["urls"]
    assert sorted(target for target, _ in listed) == sorted(board_sources())
    for target, source in listed:
        assert (FOLDER / source).resolve() == (ROOT / target).resolve()


def test_mip_installs_the_package_on_a_board(unix_board: Board) -> None:
    mip = [sys.executable, "-m", "mpremote", "connect", unix_board.port, "resume", "mip", "install"]
    done = subprocess.run(
        [*mip, "--target", "lib", "--no-mpy", str(FOLDER / "package.json")],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    with Link(unix_board.port) as link:
        link.execute("import sys\nsys.path.insert(0, 'lib')\nimport firmware_port.node")
