"""A node in real time on a board without servos, for a flight computer's program to talk to."""

from collections.abc import Callable

from hil.boards.board import Board
from hil.boards.deploy import compile_for, deploy
from hil.boards.link import Link
from hil.node.node_link import NodeLink


def serve_on(board: Board, tables: bytes, progress: Callable[[float], None]) -> None:
    """Put the node on a board, start it and load flight tables; the line is free afterwards.

    progress: called with the share of the node's files that has been sent.
    """
    with Link(board.port) as link:
        facts = link.facts()
        deploy(link, facts, compile_for(facts), progress)
        line = link.start(
            f"from firmware_port.boards import {board.wiring} as wiring\n"
            f"from firmware_port.start import fly\nfly(wiring)\n"
        )
        NodeLink(line).load_tables(tables)
