"""The line of a node that serves in real time already, opened by its port."""

from collections.abc import Iterator
from contextlib import contextmanager

import serial

from hil.node.errors import BoardError
from hil.node.node_link import NodeLink

READ_S = 0.2


@contextmanager
def served_line(port: str, baud: int) -> Iterator[NodeLink]:
    """A flight computer's end of it. port: a serial port or pyserial URL.

    BoardError where it cannot be opened, or is gone in the middle.
    """
    try:
        with serial.serial_for_url(port, baud, timeout=READ_S) as line:
            line.write(b"\0")  # ends what half a frame somebody before has left there
            yield NodeLink(line)
    except serial.SerialException as gone:
        raise BoardError(
            f"{port}: no node answers there ({gone}): is the cable in, does another program have "
            "the port, has the node ended? A simulated flight ends the node that it flew"
        ) from gone
