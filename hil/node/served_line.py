"""The line of a node that serves in real time already, opened by its port."""

from collections.abc import Iterator
from contextlib import contextmanager

import serial

from hil.node.node_link import NodeLink

READ_S = 0.2


@contextmanager
def served_line(port: str, baud: int) -> Iterator[NodeLink]:
    """A flight computer's end of it. port: a serial port or pyserial URL."""
    with serial.serial_for_url(port, baud, timeout=READ_S) as line:
        line.write(b"\0")  # ends what half a frame somebody before has left there
        yield NodeLink(line)
