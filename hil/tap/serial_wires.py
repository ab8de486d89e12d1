"""Serial ports that listen: one or two, each with a thread of its own that only reads."""

import contextlib
import threading
import time
from collections.abc import Iterator, Sequence

import serial

from hil.node.errors import BoardError
from hil.tap.listener import Listener

BAUD = 921_600
READ_S = 0.02  # how long a read waits: the grain of the times of frames that come alone


@contextlib.contextmanager
def listening(ports: Sequence[str], listener: Listener, baud: int = BAUD) -> Iterator["Wires"]:
    """Listen to serial ports (names, or URLs as pyserial takes them) until the block ends.

    Nothing is ever written to them, and their control lines are left low where the system lets us.
    BoardError, with what would be right, where one cannot be opened.
    """
    opened: list[serial.Serial] = []
    wires = Wires()
    try:
        for name in ports:
            opened.append(opened_port(name, baud))
        for number, port in enumerate(opened):
            wires.start(number, port, listener)
        yield wires
    finally:
        wires.end()
        for port in opened:
            port.close()


def opened_port(name: str, baud: int) -> serial.Serial:
    try:
        port = serial.serial_for_url(name, baudrate=baud, timeout=READ_S, do_not_open=True)
        port.dtr = port.rts = False  # some adapters reset what hangs on these lines
        port.open()
    except (serial.SerialException, OSError, ValueError) as error:
        raise BoardError(
            f"{name}: cannot listen there: {error}; must be a serial port such as /dev/ttyUSB0 "
            "or COM3, that no other program holds"
        ) from error
    return port


class Wires:
    """The threads that read; `fault` is what ended one before its time, in words."""

    def __init__(self) -> None:
        self.fault = ""
        self._ended = threading.Event()
        self._threads: list[threading.Thread] = []

    def start(self, number: int, port: serial.Serial, listener: Listener) -> None:
        def work() -> None:
            try:
                while not self._ended.is_set():
                    data = port.read(max(1, port.in_waiting))
                    if data:
                        listener.hear(number, data, time.monotonic())
            except (serial.SerialException, OSError, TypeError) as error:
                if not self._ended.is_set():
                    self.fault = f"{port.name}: the port is gone: {error}"

        thread = threading.Thread(target=work, name=f"wire {number}", daemon=True)
        self._threads.append(thread)
        thread.start()

    def end(self) -> None:
        """Stop reading; safe to call twice."""
        self._ended.set()
        for thread in self._threads:
            thread.join(timeout=2.0)
