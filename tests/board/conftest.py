"""Boards for tests: emulated where QEMU and the firmware are to be had, unix where its package is.

What is missing is said and skipped on a laptop; in CI it is a failure.
"""

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from hil.boards.board import Board
from hil.boards.emulated import missing_emulator
from hil.boards.firmware import build_firmware, cached_firmware, missing_tools
from hil.boards.open_board import open_board
from hil.boards.unix import missing_interpreter
from hil.node.errors import BoardError

IN_CI = bool(os.environ.get("CI"))


def unavailable(reason: str) -> None:
    """Skip with a reason; fail in CI, where everything has to be there."""
    if IN_CI:
        pytest.fail(f"CI needs this board: {reason}")
    pytest.skip(reason)


@pytest.fixture(scope="session")
def firmware() -> Path:
    """The emulated board's firmware, built once."""
    if missing := missing_emulator():
        unavailable(missing)
    if not cached_firmware().exists() and (tools := missing_tools()):
        unavailable(f"no firmware is built, and for building it {' '.join(tools)} are missing")
    try:
        return build_firmware(print)
    except BoardError as error:
        unavailable(str(error))
        raise


@pytest.fixture(scope="session", params=["unix", "emulated"])
def quick_board_name(request: pytest.FixtureRequest, full_size: bool) -> str:
    """For tests that take the emulated board long and say little more there: at full size only."""
    if request.param == "emulated" and not full_size:
        pytest.skip("on the emulated board at full size only: with --campaigns")
    return available(request)


@pytest.fixture(scope="session", params=["unix", "emulated"])
def board_name(request: pytest.FixtureRequest) -> str:
    """Each board that is to be had here."""
    return available(request)


def available(request: pytest.FixtureRequest) -> str:
    """The board the fixture is for, or why there is none."""
    if request.param == "unix":
        if missing := missing_interpreter():
            unavailable(missing)
    else:
        request.getfixturevalue("firmware")
    return request.param


@pytest.fixture
def board(board_name: str) -> Iterator[Board]:
    """A freshly started board of each kind."""
    with open_board(board_name) as opened:
        yield opened


@pytest.fixture
def quick_board(quick_board_name: str) -> Iterator[Board]:
    """A freshly started board of each kind that `quick_board_name` names."""
    with open_board(quick_board_name) as opened:
        yield opened


@pytest.fixture
def unix_board() -> Iterator[Board]:
    """A freshly started unix board."""
    if missing := missing_interpreter():
        unavailable(missing)
    with open_board("unix") as opened:
        yield opened
