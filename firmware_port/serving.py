"""Serving from the first byte to the last: Ctrl-C, the word that the node is there, the console.

A frame may hold a byte of value 3, which the interpreter would take for Ctrl-C. So that is off
before the node is built, and only then does the node say that it hears: a zero byte, which to every
receiver is the end of no frame. Whoever starts a node waits for it.
"""

from firmware_port.hardware import ConsoleLine

READY = b"\0"
CTRL_C = 3


def serve(make, run):
    """Build a node, say that it is there, run it; Ctrl-C is the interpreter's again afterwards."""
    take_control_bytes(True)
    try:
        node = make()
        node.line.send(READY, len(READY))
        run(node)
    finally:
        take_control_bytes(False)


def take_control_bytes(taken):
    """A byte of value 3 is data while a node runs, not the interpreter's Ctrl-C."""
    import micropython

    if hasattr(micropython, "kbd_intr"):
        micropython.kbd_intr(-1 if taken else CTRL_C)


class Console:
    """The prompt's line, where the node is served over another one.

    Whoever sits there may ask the node to end, in the safe state only. Bytes that come while armed
    are read and forgotten, so that none of them ends the node later.
    """

    def __init__(self):
        self._line = ConsoleLine()
        self._chunk = bytearray(16)

    def asks_to_end(self):
        """Whether Ctrl-C has come since the last look; takes the bytes up to it and no more."""
        chunk = self._chunk
        for _ in range(len(chunk)):
            if not self._line.receive_one(chunk):
                return False
            if chunk[0] == CTRL_C:
                return True
        return False
