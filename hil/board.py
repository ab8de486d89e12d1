"""Boards by name: `emulated`, `unix`, or the port of a real one."""

from abc import ABC, abstractmethod
from pathlib import Path

from hil.firmware import Say, build_firmware


class Board(ABC):
    """A board that can be talked to on a port; a context manager that gives itself.

    port: what to open. wiring: the name of its file in firmware_port/boards.
    """

    port: str
    wiring: str

    def __enter__(self) -> "Board":
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    @abstractmethod
    def stop(self) -> None:
        """Let the board go; an emulated one ends, as if unplugged. May be called twice."""


class RealBoard(Board):
    """A board on a serial port, left running when it is let go."""

    def __init__(self, port: str, wiring: str):
        self.port = port
        self.wiring = wiring

    def stop(self) -> None:
        return None


def open_board(
    name: str, *, firmware: Path | None = None, wiring: str = "rp2", say: Say = lambda text: None
) -> Board:
    """The board of that name, running.

    name: emulated, unix, or a port or pyserial URL. firmware: for the emulated board, another than
    the cached or freshly built one. wiring: for a real board.
    """
    if name == "emulated":
        from hil.emulated import EmulatedBoard

        return EmulatedBoard(firmware or build_firmware(say), count_instructions=True)
    if name == "unix":
        from hil.unix_board import UnixBoard

        return UnixBoard()
    return RealBoard(name, wiring)
