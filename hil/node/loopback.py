"""The node in this process, behind the same bytes as a board: the laptop's end of every comparison.

Time comes over the link, pulses are recorded, and whatever is written is answered at once.
"""

from firmware_port.node import Node
from firmware_port.paced import Paced, PacedClock
from firmware_port.recorder import Recorder
from firmware_port.table_store import TableStore


class Memory:
    """A line whose two directions are byte buffers."""

    def __init__(self):
        self.to_node = bytearray()
        self.from_node = bytearray()

    def receive(self, chunk: bytearray) -> int:
        count = min(len(chunk), len(self.to_node))
        chunk[:count] = self.to_node[:count]
        del self.to_node[:count]
        return count

    def send(self, data: bytes, count: int) -> None:
        self.from_node += data[:count]


class Pulses:
    """Outputs that remember the last pulses."""

    def __init__(self):
        self.pulse_ns: list[int] = []

    def write(self, pulse_ns) -> None:
        self.pulse_ns = list(pulse_ns)

    def off(self) -> None:
        self.pulse_ns = []


class NoMeter:
    """Counts nothing: here, cost depends on the computer."""

    def now(self) -> int:
        return 0

    def since(self, then: int) -> int:
        return 0


class Loopback:
    """A paced node that answers in `write`; offers what NodeLink needs of a stream."""

    def __init__(
        self, *, clock=None, store: TableStore | None = None, recorder: Recorder | None = None
    ):
        self.line = Memory()
        self.outputs = Pulses()
        self.clock = clock or PacedClock()
        self.node = Node(
            self.line,
            self.outputs,
            self.clock,
            NoMeter(),
            store or TableStore(None),
            recorder=recorder,
        )
        if clock is None:
            Paced(self.node)

    @property
    def in_waiting(self) -> int:
        return len(self.line.from_node)

    def write(self, data: bytes, /) -> int:
        self.line.to_node += data
        self.turn()
        return len(data)

    def turn(self) -> None:
        """Let the node work until it has taken everything that was sent."""
        while self.line.to_node or self.node.receiver.holds_bytes():
            self.node.turn()
        self.node.turn()

    def read(self, size: int = 1) -> bytes:
        data = bytes(self.line.from_node[:size])
        del self.line.from_node[:size]
        return data
