"""A node that somebody left running is found and ended, or it is said what to do."""

import pytest

from hil.boards import link as link_of_boards
from hil.boards.board import Board
from hil.boards.deploy import compile_for, deploy
from hil.boards.link import Link
from hil.node.errors import BoardError
from hil.node.node_link import NodeLink
from hil.node.patience import VARIABLE, patience
from mixer.ground.inputs.csv_files import InputError
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

TABLES = flight_tables(vehicle()).to_bytes()
REHEARSE = "from firmware_port.start import rehearse\nfrom firmware_port.boards import unix\n"
FLY = "from firmware_port.start import fly\nfrom firmware_port.boards import unix\n"


@pytest.fixture
def port(unix_board: Board, monkeypatch: pytest.MonkeyPatch) -> str:
    """Of a board with the node's files on it; whoever looks for a prompt gives up soon."""
    with Link(unix_board.port) as link:
        deploy(link, link.facts(), compile_for(link.facts()))
    monkeypatch.setenv(VARIABLE, "0.2")
    return unix_board.port


def left_running(port: str, code: str, *, armed: bool) -> None:
    """A host that starts a node and is killed."""
    with Link(port) as link:
        node = NodeLink(link.start(code), timeout_s=5.0)
        node.load_tables(TABLES)
        if armed:
            node.arm()


@pytest.mark.parametrize("armed", [False, True])
def test_a_rehearsal_left_running_is_ended_by_whoever_comes_next(port: str, armed: bool) -> None:
    left_running(port, REHEARSE + "rehearse(unix)", armed=armed)
    with Link(port) as link:
        assert link.evaluate("6 * 7") == 42


def test_a_safe_node_left_flying_is_ended(port: str) -> None:
    left_running(port, FLY + "fly(unix)", armed=False)
    with Link(port) as link:
        assert link.evaluate("6 * 7") == 42


def test_an_armed_node_is_left_alone_and_it_is_said_what_to_do(port: str) -> None:
    left_running(port, FLY + "fly(unix)", armed=True)
    with pytest.raises(BoardError, match=r"is (armed|link-lost); let its flight computer"):
        Link(port)


def test_a_node_that_cannot_start_says_why(port: str) -> None:
    with Link(port) as link:
        with pytest.raises(BoardError, match="ImportError"):
            link.start("from firmware_port.start import walk\nwalk()")
        assert link.evaluate("6 * 7") == 42


def test_a_program_that_never_says_that_it_is_there_is_given_up(
    port: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(VARIABLE, "0.1")
    monkeypatch.setattr(link_of_boards, "READY_S", 8.0)
    with Link(port) as link, pytest.raises(BoardError, match=r"did not say that it is there.*hm"):
        link.start("import time\nprint('hm')\ntime.sleep(60)")


@pytest.mark.parametrize("said", ["x", "0", "-1", "nan", "1e9"])
def test_patience_is_a_sensible_factor(monkeypatch: pytest.MonkeyPatch, said: str) -> None:
    monkeypatch.setenv(VARIABLE, said)
    with pytest.raises(InputError, match=f"{VARIABLE}={said}: must be a number"):
        patience(2.0)


def test_patience_stretches_every_time(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(VARIABLE, "10")
    assert patience(2.0) == 20.0
    monkeypatch.delenv(VARIABLE)
    assert patience(2.0) == 2.0
