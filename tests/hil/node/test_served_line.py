"""A node's line that is not there, or goes away."""

import os
import pty
from pathlib import Path

import pytest

from hil.boards.link import BAUD
from hil.node.errors import BoardError
from hil.node.served_line import served_line


def test_a_port_that_is_not_there_is_told_with_what_to_look_at(tmp_path: Path) -> None:
    port = str(tmp_path / "ttyACM0")
    with (
        pytest.raises(BoardError, match=r"ttyACM0: no node answers there .*is the cable in"),
        served_line(port, BAUD),
    ):
        pytest.fail("opened")


def test_a_line_whose_other_end_closes_is_told_likewise() -> None:
    ours, theirs = pty.openpty()
    port = os.ttyname(theirs)
    os.close(theirs)
    with (
        pytest.raises(BoardError, match=rf"{port}: no node answers there .*ends the node"),
        served_line(port, BAUD) as node,
    ):
        os.close(ours)
        node.identify()
