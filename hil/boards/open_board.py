"""Boards by name: `emulated`, `unix`, or the port of a real one."""

from pathlib import Path

from hil.boards.board import Board, RealBoard
from hil.boards.emulated import EmulatedBoard
from hil.boards.firmware import Say, build_firmware
from hil.boards.unix import UnixBoard

IN_PROCESS = "none"  # the node here, without a board
REHEARSING = (IN_PROCESS, "unix", "emulated")  # no real servo hangs on these


def open_board(
    name: str,
    *,
    firmware: Path | None = None,
    wiring: str = "rp2",
    say: Say = lambda text: None,
    count_instructions: bool = True,
) -> Board:
    """The board of that name, running.

    name: emulated, unix, or a port or pyserial URL. firmware: for the emulated board, another than
    the cached or freshly built one. wiring: for a real board. count_instructions: of the emulated
    board, which then runs at half its speed.
    """
    if name == "emulated":
        return EmulatedBoard(firmware or build_firmware(say), count_instructions=count_instructions)
    if name == "unix":
        return UnixBoard()
    return RealBoard(name, wiring)


def served_board(name: str, firmware: Path | None, say: Say) -> EmulatedBoard | UnixBoard:
    """A board that drives no servo, its clock this computer's."""
    if name == "unix":
        return UnixBoard()
    return EmulatedBoard(firmware or build_firmware(say))
