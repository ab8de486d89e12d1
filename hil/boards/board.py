"""What every board is, and a real one."""

from abc import ABC, abstractmethod


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
