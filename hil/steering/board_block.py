"""A board in the loop: every control cycle of one flight goes through the board's serial line.

The node runs with time from the link, so that a flight takes as long as the line needs and gives
the same integers as the flight core on this computer. Pulses are only recorded: no servo moves.
"""

from collections.abc import Iterator
from contextlib import contextmanager, suppress

import numpy as np

from firmware_port.protocol import DEMAND, SEQUENCES
from hil.boards.board import Board
from hil.boards.emulated import EmulatedBoard
from hil.boards.firmware import build_firmware
from hil.boards.node_on_board import node_on
from hil.boards.open_board import open_board
from hil.node.answers import CycleAnswer
from hil.node.errors import BoardError
from hil.node.node_link import NodeLink, demand_contents, read_cycle, wire_frame
from hil.steering.steering_block import Commands, Given, most_demanded
from mixer.flight import FlightTables, Steering

REST_US = 100_000


class BoardBlock:
    """One flight, steered by a node at the other end of a line whose time comes from the link."""

    def __init__(self, node: NodeLink, tables: FlightTables):
        self.commands = Commands(1)
        self.most_mnm = most_demanded(tables)
        self.ratio_q14 = None  # a BELIEF after every cycle would take half as long again
        self._node = node
        self._tables = tables
        self._waiting: list[int] | None = None  # a demand and its pressure, not yet in a cycle
        self._pace_us = 0
        self._begin()

    def cycle(self, given: Given) -> None:
        if given.heard[0]:
            self._waiting = [*given.demand_mnm[:, 0].tolist(), int(given.pressure_pa[0])]
        elapsed_us = int(given.dt_us[0])
        if elapsed_us == 0:
            return
        if given.seen_mdeg is not None:
            self._node.see(given.seen_mdeg[:, 0].tolist())
        if self._waiting is None:
            self._read(self._node.let_pass(elapsed_us))
            return
        if elapsed_us != self._pace_us:
            self._node.pace(elapsed_us)
            self._pace_us = elapsed_us
        self._read(read_cycle(self._node.demand(*self._waiting).contents))
        self._waiting = None

    def garbled(self, flight: int, demand_mnm: list[int]) -> None:
        """Send the frame with one byte changed; the node has to refuse and count it."""
        self._node.sequence = (self._node.sequence + 1) % SEQUENCES
        frame = bytearray(
            wire_frame(DEMAND, self._node.sequence, demand_contents(*demand_mnm, pressure_pa=0))
        )
        place = len(frame) // 2
        frame[place] ^= 0x55 if frame[place] != 0x55 else 0x2A  # never to 0, which ends frames
        self._node.stream.write(bytes(frame))

    def trust(self, vanes: int) -> None:
        self._node.see([0] * 4, vanes)

    def start(self) -> None:
        self._node.start()

    def reset(self, flight: int) -> None:
        """Fresh tables make a fresh steering, as a board has after a loss of power."""
        self._node.disarm()
        self._come_to_rest()
        self._begin()

    def _begin(self) -> None:
        self._node.load_tables(self._tables.to_bytes())
        self._node.arm()
        self._waiting = None
        fresh = Steering(self._tables)  # a node tells nothing before its first cycle
        self.commands.pulse_ns[:, 0] = fresh.pulse_ns
        self.commands.deflection_mdeg[:, 0] = fresh.deflection_mdeg
        self.commands.moment_mnm[:, 0] = fresh.moment_mnm
        self.commands.flags[0] = fresh.flags

    def _come_to_rest(self) -> None:
        """A node takes new tables only once its vanes are free and stand still at neutral."""
        for vane in range(1, 5):
            self._node.free(vane)
        last = self._node.let_pass(REST_US)
        while (now := self._node.let_pass(REST_US)).deflection_mdeg != last.deflection_mdeg:
            last = now

    def _read(self, cycle: CycleAnswer) -> None:
        self.commands.pulse_ns[:, 0] = cycle.pulse_ns
        self.commands.deflection_mdeg[:, 0] = cycle.deflection_mdeg
        self.commands.moment_mnm[:, 0] = cycle.moment_mnm
        self.commands.flags[0] = np.int64(cycle.flags)


def _opened(board: str) -> Board:
    """The board; an emulated one without its instruction counter, which halves its speed."""
    return EmulatedBoard(build_firmware()) if board == "emulated" else open_board(board)


@contextmanager
def rehearsing(board: str) -> Iterator[tuple[NodeLink, str]]:
    """The node on a board, rehearsing, and what the board says it is; stopped afterwards.

    board: emulated, unix, or a port. The node's files are put into the board's memory or file
    system first; flight tables come later.
    """
    with _opened(board) as opened, node_on(opened) as there:
        node = NodeLink(there.start("rehearse"))
        try:
            yield node, f"{there.facts.machine}, {there.facts.release}"
        finally:
            with suppress(BoardError):  # after a fault on the line it may not hear us
                node.disarm()
                node.stop()
        there.link.finish()
