"""The lists by which a board's files are frozen or installed name exactly those files."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

import firmware_port
from hil.boards.board import Board
from hil.boards.deploy import ROOT, board_sources
from hil.boards.file_lists import board_lists
from hil.boards.link import Link

FOLDER = Path(firmware_port.__file__).parent
LISTS = {
    FOLDER: board_sources(),
    FOLDER / "bench": board_sources(bench=True),
    FOLDER / "stand": board_sources(stand=True),
}


@pytest.mark.parametrize("path", board_lists(), ids=lambda path: str(path.relative_to(FOLDER)))
def test_a_list_is_up_to_date(path: Path) -> None:
    """Otherwise: python -m hil.boards.file_lists."""
    assert path.read_text(encoding="utf-8") == board_lists()[path]


@pytest.mark.parametrize("folder", LISTS, ids=lambda folder: folder.name)
def test_a_manifest_freezes_the_files_that_are_deployed(folder: Path) -> None:
    listed = []

    def freeze(path: Path) -> None:
        def package(name: str, files: tuple[str, ...], *, base_path: str) -> None:
            assert (path.parent / base_path).resolve() == ROOT
            listed.extend(f"{name}/{file}" for file in files)

        names = {"package": package, "include": lambda other: freeze(path.parent / other)}
        exec(path.read_text(encoding="utf-8"), names)

    freeze(folder / "manifest.py")
    assert sorted(listed) == sorted(LISTS[folder])


@pytest.mark.parametrize("folder", LISTS, ids=lambda folder: folder.name)
def test_a_package_list_installs_the_files_that_are_deployed(folder: Path) -> None:
    listed = json.loads((folder / "package.json").read_text(encoding="utf-8"))["urls"]
    assert sorted(target for target, _ in listed) == sorted(LISTS[folder])
    for target, source in listed:
        assert (folder / source).resolve() == (ROOT / target).resolve()


def test_a_board_that_flies_goes_without_bench_and_stand() -> None:
    assert not [path for path in LISTS[FOLDER] if "bench" in path or "stand" in path]
    assert "firmware_port/bench/start.py" in LISTS[FOLDER / "bench"]


@pytest.mark.parametrize("folder", LISTS, ids=lambda folder: folder.name)
def test_mip_installs_the_package_on_a_board(unix_board: Board, folder: Path) -> None:
    mip = [sys.executable, "-m", "mpremote", "connect", unix_board.port, "resume", "mip", "install"]
    done = subprocess.run(
        [*mip, "--target", "lib", "--no-mpy", str(folder / "package.json")],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    with Link(unix_board.port) as link:
        link.execute("import sys\nsys.path.insert(0, 'lib')\nimport firmware_port.node")
        if folder != FOLDER:
            link.execute(f"import firmware_port.{folder.name}.start")
