"""The emulated board: QEMU's Cortex-M3 running MicroPython, its serial line a pseudo-terminal.

With count_instructions the emulator's clock advances 1024 ns for every instruction, which makes
the board's 25 MHz timer an exact instruction counter. Instructions are not cycles: a real core
takes more than one cycle for many of them, and waits for its flash.
"""

import re
import shutil
import subprocess
from pathlib import Path

from hil.boards.board import Board
from hil.node.errors import BoardError

QEMU = "qemu-system-arm"
MACHINE = "mps2-an385"


def missing_emulator() -> str | None:
    """Why no board can be emulated here, or None."""
    if shutil.which(QEMU) is None:
        return f"{QEMU} is not installed (Debian package qemu-system-arm)"
    return None


class EmulatedBoard(Board):
    """A running emulated board; a context manager that gives itself.

    firmware: the ELF file. count_instructions: exact counts, at about half the speed.
    Attributes: port, the pseudo-terminal to open as a serial port.
    """

    wiring = "emulated"

    def __init__(self, firmware: Path, *, count_instructions: bool = False):
        if missing := missing_emulator():
            raise BoardError(missing)
        if not firmware.is_file():
            raise BoardError(f"{firmware}: no such firmware; build it with 'fourvane board build'")
        command = [QEMU, "-M", MACHINE, "-kernel", str(firmware), "-serial", "pty"]
        command += ["-display", "none", "-monitor", "none", "-semihosting"]
        if count_instructions:
            command += ["-icount", "shift=10"]
        self._process = subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT
        )
        self.port = self._announced_port()

    def _announced_port(self) -> str:
        assert self._process.stdout is not None
        said = self._process.stdout.readline().decode()
        found = re.search(r"redirected to (\S+)", said)
        if found is None:
            self.stop()
            raise BoardError(f"{QEMU} gave no serial line; it said: {said.strip()}")
        return found[1]

    def wait(self) -> None:
        """Until the emulator ends."""
        self._process.wait()

    def stop(self) -> None:
        """End the emulator, as pulling the plug would."""
        self._process.kill()
        self._process.wait()
        if self._process.stdout is not None:
            self._process.stdout.close()
