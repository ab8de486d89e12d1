"""The node's files on a board, and the node started there: one way for all who need one."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from hil.boards.board import Board
from hil.boards.deploy import compile_for, core_form, deploy
from hil.boards.firmware import Say
from hil.boards.link import BoardFacts, Link
from hil.boards.open_board import open_board
from hil.node.node_link import NodeLink
from mixer.ground.reports.console import progress


@dataclass(frozen=True)
class NodeOnBoard:
    """A board at its prompt, with all that a node needs; `core`: in which form its core runs."""

    link: Link
    facts: BoardFacts
    core: str
    image_bytes: int
    wiring: str
    package: str  # whose `start` it is

    def start(self, what: str, *options: str) -> Any:
        """Start a node by that function of the package's `start`; the line is the caller's until
        the node ends. After it `link.finish()` gives the prompt back.
        """
        given = "".join(f", {option!r}" for option in options)
        return self.link.start(
            f"from firmware_port.boards import {self.wiring} as wiring\n"
            f"from {self.package}.start import {what}\n{what}(wiring{given})\n"
        )


@contextmanager
def node_on(
    board: Board,
    *,
    bench: bool = False,
    stand: bool = False,
    record: bool = False,
    machine_code: bool = True,
    progress: Callable[[float], None] = lambda share: None,
) -> Iterator[NodeOnBoard]:
    """Put the node's files into a board's memory or file system.

    bench, stand: the servo bench's node, or the test stand's. record: with the record of a flight
    also where memory is short. machine_code: False for bytecode only. progress: called with the
    share that has been sent.
    """
    with Link(board.port) as link:
        facts = link.facts()
        files = compile_for(
            facts, machine_code=machine_code, bench=bench, stand=stand, record=record
        )
        size = deploy(link, facts, files, progress)
        package = f"firmware_port{'.bench' if bench else '.stand' if stand else ''}"
        yield NodeOnBoard(link, facts, core_form(facts, files), size, board.wiring, package)


@contextmanager
def loaded_node(
    name: str,
    start: str,
    tables: bytes,
    timeout_s: float,
    *,
    firmware: Path | None,
    wiring: str,
    say: Say,
    bench: bool = False,
    stand: bool = False,
) -> Iterator[tuple[NodeOnBoard, NodeLink]]:
    """The board of that name, an emulated one at full speed, with a node that has flight tables.

    start: as in `NodeOnBoard.start`. firmware, wiring, say: see `open_board`; bench, stand: see
    `node_on`. How far the files are is shown.
    """
    board = open_board(name, firmware=firmware, wiring=wiring, say=say, count_instructions=False)
    with ExitStack() as until_done:
        until_done.enter_context(board)
        with progress(f"deploying to {name}", 1.0) as done:
            there = until_done.enter_context(
                node_on(board, bench=bench, stand=stand, progress=done)
            )
        link = NodeLink(there.start(start), timeout_s=timeout_s)
        link.load_tables(tables)
        yield there, link


def serve_on(board: Board, tables: bytes) -> None:
    """Put the node on a board without servos, start it in real time, for a flight computer's
    program to talk to, and load flight tables; the line is free afterwards. How far the files are
    is shown. The emulated board keeps no record of a flight, so that its tables have room.
    """
    with (
        progress(f"deploying to {board.wiring}", 1.0) as done,
        node_on(board, record=board.wiring != "emulated", progress=done) as there,
    ):
        NodeLink(there.start("fly")).load_tables(tables)


def kept_tables_crc32(link: Link, facts: BoardFacts) -> str | None:
    """CRC-32 of the flight tables that a board keeps for its next start, as its node answers to
    IDENTIFY; None where it keeps none.
    """
    if not facts.file_system:
        return None
    return link.execute(_KEPT).strip() or None


_KEPT = """
import binascii
try:
    with open('tables.bin', 'rb') as file:
        print('%08x' % binascii.crc32(file.read()))
except OSError:
    pass
"""
