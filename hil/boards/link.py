"""The line to a MicroPython board: its raw prompt, and the bytes of a program it runs.

The only file that knows mpremote, whose library interface may change from release to release:
the version is pinned in pyproject.toml, and a change of it is felt here alone.
"""

import contextlib
import errno
import io
import math
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import serial
from mpremote.romfs import VfsRomWriter
from mpremote.transport import TransportError, TransportExecError
from mpremote.transport_serial import SerialTransport

from firmware_port.serving import READY
from hil.node.errors import BoardError
from hil.node.patience import patience
from hil.node.running_node import end_running_node

BAUD = 115200
READY_S = 20.0  # a board may have much to import first
ENDED = b"\x04"  # the raw prompt's word after a program, and after its errors
PROMPT = b"raw REPL; CTRL-B to exit\r\n>"
ARCHITECTURES = (  # as numbered in the upper bits of sys.implementation._mpy
    None, "x86", "x64", "armv6", "armv6m", "armv7m", "armv7em", "armv7emsp", "armv7emdp",
    "xtensa", "xtensawin", "rv32imc", "rv64imc",
)  # fmt: skip


@dataclass(frozen=True)
class BoardFacts:
    """What a board says about itself."""

    machine: str
    release: str
    mpy_version: tuple[int, int]  # of the compiled files it loads
    architecture: str | None  # for machine code; None where it loads none
    word_bits: int
    file_system: bool  # it has a writable one


class Link:
    """A board at its raw prompt. Use as a context manager; every failure is a BoardError.

    port: a device path, a COM port, or any pyserial URL.
    timeout_s: how long a silent board is waited for; slow boards longer, see `patience`. A node
    that was left running on the line is ended first, where it drives nothing.
    """

    def __init__(self, port: str, *, timeout_s: float = 5):
        self.port = port
        self.timeout_s = math.ceil(patience(timeout_s))
        _check_port(port)
        with self._said():
            self._transport = SerialTransport(port, BAUD, timeout=self.timeout_s)
        try:
            self._enter()
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> "Link":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Give the port back. Safe to call twice, and when the board is gone."""
        with contextlib.suppress(OSError, TransportError):
            self._transport.close()

    def _enter(self) -> None:
        """Get the raw prompt. The library waits for ever where a line never falls silent, so the
        first look, with a deadline, is our own."""
        line: Any = self._transport.serial
        with self._said():
            heard = self._knock()
            if PROMPT not in heard and end_running_node(line, self.port):
                heard = self._knock()
        if PROMPT not in heard:
            if not heard.strip():
                raise BoardError(
                    f"{self.port}: the board is silent; is it powered, is this its port, "
                    f"does it run MicroPython? An armed node does not hear the prompt's line: let "
                    f"its flight computer send DISARM, or take the servo power off and then the "
                    f"board's"
                )
            raise BoardError(
                f"{self.port}: what answers is not MicroPython's prompt; it said {heard[:60]!r}"
            )
        with self._said(), contextlib.redirect_stdout(io.StringIO()):
            self._transport.enter_raw_repl(soft_reset=False, timeout_overall=self.timeout_s)

    def _knock(self) -> bytes:
        """Interrupt what runs, ask for the raw prompt; what came back until it or the deadline."""
        line: Any = self._transport.serial
        line.write(b"\r\x03\x03\r\x01")
        heard = b""
        deadline = time.monotonic() + self.timeout_s
        line.timeout = 0.1
        while PROMPT not in heard and time.monotonic() < deadline:
            heard += line.read(max(1, line.in_waiting))
        line.timeout = self.timeout_s
        return heard

    def execute(self, code: str, *, timeout_s: float = 20) -> str:
        """Run code on the board; what it printed. An exception there is a BoardError here."""
        with self._said():
            out, error = self._transport.exec_raw(code, timeout=math.ceil(patience(timeout_s)))
        if error:
            raise BoardError(f"{self.port}: on the board: {_text(error).strip()}")
        return _text(out)

    def evaluate(self, expression: str) -> Any:
        """The value of an expression of numbers, strings, tuples, lists and dicts."""
        with self._said():
            return self._transport.eval(expression)

    def start(self, code: str) -> Any:
        """Start a node and wait until it says that it hears; then its line is the caller's.

        A frame that came before would be Ctrl-C to the interpreter.
        """
        with self._said():
            self._transport.exec_raw_no_follow(code)
            self._await_ready()
        return self._transport.serial

    def _await_ready(self) -> None:
        line: Any = self._transport.serial
        deadline = time.monotonic() + patience(READY_S)
        heard = b""
        while time.monotonic() < deadline:
            byte = line.read(1)
            if byte == READY:
                return
            if byte == ENDED:
                error = _text(self._transport.read_until(1, ENDED)[:-1]).strip()
                raise BoardError(f"{self.port}: on the board: {error or 'the node ended at once'}")
            heard += byte
        said = f"; it said {heard[:60]!r}" if heard else ""
        raise BoardError(f"{self.port}: the node did not say that it is there{said}")

    def finish(self, *, timeout_s: float = 5) -> str:
        """Wait for the end of a started program; what it printed last."""
        with self._said():
            out, error = self._transport.follow(math.ceil(patience(timeout_s)))
        if error:
            raise BoardError(f"{self.port}: on the board: {_text(error).strip()}")
        return _text(out)

    def write_file(self, path: str, content: bytes) -> None:
        """Write a file on the board whole or not at all: beside its place, then renamed."""
        beside = path + ".new"
        try:
            with self._said():
                self._transport.fs_writefile(beside, content)
                self._transport.exec(_RENAME.format(old=beside, new=path))
        except BoardError:
            with contextlib.suppress(BoardError):
                self.execute(f"import os\nos.remove({beside!r})")
            raise

    def reset(self) -> None:
        """Start the interpreter afresh: nothing in memory, nothing mounted, no start file run."""
        with self._said(), contextlib.redirect_stdout(io.StringIO()):
            self._transport.enter_raw_repl(soft_reset=True, timeout_overall=self.timeout_s)

    def facts(self) -> BoardFacts:
        """What the board is."""
        said = self.execute(_ASK)
        machine, release, mpy, word_bits, file_system = said.strip().split("|")
        return BoardFacts(
            machine=machine,
            release=release,
            mpy_version=(int(mpy) & 0xFF, int(mpy) >> 8 & 3),
            architecture=ARCHITECTURES[int(mpy) >> 10 & 0xF],
            word_bits=int(word_bits),
            file_system=file_system == "True",
        )

    @contextlib.contextmanager
    def _said(self) -> Iterator[None]:
        """Turn the library's and the operating system's errors into words."""
        try:
            yield
        except TransportExecError as error:
            raise BoardError(f"{self.port}: on the board: {error.error_output.strip()}") from None
        except TransportError as error:
            raise BoardError(f"{self.port}: the board stopped answering ({error})") from None
        except serial.SerialException as gone:
            raise self._gone() from gone
        except OSError as error:
            if error.errno == errno.ENOSPC:
                raise BoardError(
                    f"{self.port}: the board's storage is full; remove files from it, or deploy "
                    f"to a board with more"
                ) from None
            raise self._gone() from error

    def _gone(self) -> BoardError:
        return BoardError(
            f"{self.port}: the board went away (cable, power?); nothing on it is half written, "
            f"plug it in and run again"
        )


def rom_image(files: Mapping[str, bytes]) -> bytes:
    """A read-only file system as one block of bytes, for boards without storage.

    files: content by path, parts of the path separated by "/".
    """
    image = VfsRomWriter()
    _fill(image, {tuple(path.split("/")): content for path, content in files.items()})
    return image.finalise()


def _fill(image: VfsRomWriter, files: dict[tuple[str, ...], bytes]) -> None:
    for folder in sorted({path[0] for path in files if len(path) > 1}):
        image.opendir(folder)
        inside = {p[1:]: content for p, content in files.items() if p[0] == folder and len(p) > 1}
        _fill(image, inside)
        image.closedir()
    for path, content in files.items():
        if len(path) == 1:
            image.mkfile(path[0], content)


def _check_port(port: str) -> None:
    """Tell a missing port from a busy one before anything is sent."""
    try:
        serial.serial_for_url(port, BAUD, exclusive=True).close()
    except ValueError as error:
        raise BoardError(f"{port}: not a port or pyserial URL ({error})") from None
    except OSError as error:
        if error.errno == errno.ENOENT:
            raise BoardError(
                f"{port}: no such port; a board is unix, emulated, or a port like /dev/ttyACM0 or "
                "COM3"
            ) from None
        busy = error.errno in (errno.EAGAIN, errno.EBUSY) or "lock" in str(error)
        problem = "busy; another program has it open" if busy else f"cannot be opened ({error})"
        raise BoardError(f"{port}: {problem}") from None


def _text(raw: bytes) -> str:
    return raw.decode("utf-8", "replace").replace("\r\n", "\n")


_RENAME = """
import os
try:
    os.remove({new!r})  # FAT renames onto nothing that exists
except OSError:
    pass
os.rename({old!r}, {new!r})
"""
_ASK = """
import sys, os
try:
    os.statvfs('/')
    with open('fourvane.try', 'w') as f:
        pass
    os.remove('fourvane.try')
    files = True
except (OSError, AttributeError):
    files = False
mpy = getattr(sys.implementation, '_mpy', 0)
bits = 0
n = sys.maxsize
while n:
    bits += 1
    n >>= 1
print(sys.implementation._machine, sys.version.split('; ')[-1], mpy, bits + 1, files, sep='|')
"""
