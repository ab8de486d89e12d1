"""A Raspberry Pi Pico, emulated to its pins: genuine firmware, servo lines watched edge by edge.

The emulator is no part of this repository. It is looked for beside the checkout, or where the
environment variable FOURVANE_PICO names its folder; it needs Node.js.
"""

import contextlib
import json
import os
import shutil
import socket
import subprocess
import time
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
VARIABLE = "FOURVANE_PICO"
PINS = (2, 4, 6, 8)  # of the wiring `rp2`
PATIENCE = "20"  # it runs at a tenth to a third of real time, on a busy machine at less


def emulator() -> Path:
    """Where the emulator is looked for."""
    named = os.environ.get(VARIABLE)
    return Path(named) if named else ROOT.parent / "shared" / "rp2040"


def missing_emulator() -> str | None:
    """Why there is no emulator here, or None."""
    if not (emulator() / "rp2run.mjs").is_file():
        return f"no emulated Pico beside the checkout, and {VARIABLE} names no folder with one"
    return None


def missing_node_js() -> str | None:
    """Why the emulator that is here cannot run, or None."""
    if shutil.which("node") is None:
        return "Node.js (18 or newer) is not installed, which emulates the Pico"
    return None


class Pico:
    """A running emulated Pico; a context manager that gives itself.

    flash: the file its flash is kept in. usb: the port of its prompt, for pyserial. options: of the
    emulator, as "flashtime".
    """

    def __init__(self, flash: Path, *options: str):
        usb, uart, control = _free_ports(3)
        self.usb = f"socket://127.0.0.1:{usb}"
        command = ["node", str(emulator() / "rp2run.mjs"), f"--usb={usb}", f"--uart={uart}"]
        command += [f"--ctl={control}", f"--flash={flash}", *(f"--{name}" for name in options)]
        self._process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        assert self._process.stdout is not None
        assert "socket" in self._process.stdout.readline(), "the emulated Pico does not start"
        self._control = _connected(control)
        self._lines = self._control.makefile("rw")
        self.told: list[tuple[float, int, int]] = []  # every edge so far: µs, pin, level

    def __enter__(self) -> "Pico":
        return self

    def __exit__(self, *_: object) -> None:
        self._control.close()
        self._process.kill()
        self._process.wait()
        assert self._process.stdout is not None
        self._process.stdout.close()

    def command(self, name: str, **values: Any) -> dict[str, Any]:
        """One command to the emulator and its answer."""
        self._lines.write(json.dumps({"cmd": name, **values}) + "\n")
        self._lines.flush()
        said = json.loads(self._lines.readline())
        assert "error" not in said, said
        return said

    def edges(self) -> list[tuple[float, int, int]]:
        """Edges of the servo lines since the last look: µs, pin, level (9: not driven)."""
        new = [(at_us, pin, level) for at_us, pin, level in self.command("edges")["edges"]]
        self.told += new
        return new

    def levels(self) -> dict[int, int]:
        """Each servo line now."""
        return {line["pin"]: line["level"] for line in self.command("pwm")["slices"]}

    def resets(self) -> list[str]:
        """Why the chip began anew, in order; the first is its power."""
        return [why for _, why in self.command("state")["resets"]]


class Wire:
    """A flight computer on the Pico's UART, in lock step: time passes only while somebody waits.

    It is what NodeLink needs of a stream. now_us: the Pico's own time.
    """

    SILENT_US = 60_000  # of the Pico's time, for an answer

    def __init__(self, pico: Pico):
        self.pico = pico
        self._arrived = bytearray()
        self.usb = bytearray()
        self.now_us = 0.0
        pico.command("free", on=False)
        self.wait(1)

    @property
    def in_waiting(self) -> int:
        return len(self._arrived)

    def write(self, data: bytes, /) -> None:
        self._step(0, uart=bytes(data).hex())

    def read(self, size: int = 1) -> bytes:
        if not self._arrived:
            self._step(self.SILENT_US, until=True)
        out = bytes(self._arrived[:size])
        del self._arrived[:size]
        return out

    def wait(self, us: float) -> None:
        """Let the Pico's time pass."""
        self._step(us)

    def type(self, data: bytes) -> None:
        """Bytes on the USB prompt."""
        self._step(0, usb=data.hex())

    def _step(self, us: float, **what: Any) -> None:
        said = self.pico.command("step", us=us, **what)
        self.now_us = said["now"]
        self._arrived += bytes.fromhex(said["uart"])
        self.usb += bytes.fromhex(said["usb"])


def pulses(edges: list[tuple[float, int, int]]) -> dict[int, list[tuple[float, float]]]:
    """Whole pulses by pin: when each rose and how long it was high, µs."""
    found: dict[int, list[tuple[float, float]]] = {pin: [] for pin in PINS}
    rose: dict[int, float] = {}
    for at_us, pin, level in edges:
        if level == 1:
            rose[pin] = at_us
        elif pin in rose:
            found[pin].append((rose[pin], at_us - rose.pop(pin)))
    return found


def longest_high_us(edges: list[tuple[float, int, int]], now_us: float) -> float:
    """How long any line was high, one that still is among them."""
    longest = 0.0
    rose: dict[int, float] = {}
    for at_us, pin, level in edges:
        if level == 1:
            rose.setdefault(pin, at_us)
        elif pin in rose:
            longest = max(longest, at_us - rose.pop(pin))
    return max([longest, *(now_us - at_us for at_us in rose.values())])


def _connected(port: int) -> socket.socket:
    """To a port that is just being opened."""
    deadline = time.monotonic() + 20
    while True:
        try:
            return socket.create_connection(("127.0.0.1", port))
        except ConnectionRefusedError:
            if time.monotonic() > deadline:
                raise
            time.sleep(0.02)


def _free_ports(count: int) -> list[int]:
    with contextlib.ExitStack() as held:
        sockets = [held.enter_context(socket.socket()) for _ in range(count)]
        for each in sockets:
            each.bind(("127.0.0.1", 0))
        return [each.getsockname()[1] for each in sockets]
