"""The tap: one or two wires, heard byte by byte, kept as they came and told as exchanges."""

import threading
import time
from collections.abc import Callable, Sequence

from firmware_port import protocol as p
from hil.tap.exchanges import Exchange, Pairing
from hil.tap.frames_heard import Wire
from hil.tap.kept_bytes import KeptBytes


class Listener:
    """Bytes of each wire in, exchanges out, in the order they were complete.

    wires: how many there are. kept: where all bytes are written down, None for nowhere. `hear` may
    be called by one thread for each wire.
    """

    def __init__(self, wires: int = 2, kept: KeptBytes | None = None) -> None:
        self.wires = [Wire(port) for port in range(wires)]
        self.exchanges: list[Exchange] = []
        self.requests = self.answers = self.bytes_heard = 0
        self._kept = kept
        self._pairing = Pairing()
        self._lock = threading.Lock()

    def hear(self, port: int, data: bytes, at_s: float) -> None:
        """Take what one wire has carried until now."""
        with self._lock:
            self.bytes_heard += len(data)
            if self._kept is not None:
                self._kept.add(port, data, at_s)
            for frame in self.wires[port].hear(data, at_s):
                if frame.answer:
                    self.answers += 1
                else:
                    self.requests += 1
                self.exchanges += self._pairing.take(frame)

    def end(self) -> list[Exchange]:
        """All exchanges, with those whose answer never came."""
        with self._lock:
            self.exchanges += self._pairing.rest()
            return self.exchanges

    def between(self, from_s: float, to_s: float) -> list[Exchange]:
        """The exchanges with a demand that began within a span of time, ends included."""
        with self._lock:
            return [
                each
                for each in self.exchanges
                if each.kind == p.DEMAND and from_s <= each.at_s <= to_s
            ]

    @property
    def damaged(self) -> int:
        return sum(wire.damaged for wire in self.wires)

    @property
    def summary(self) -> dict[str, int]:
        """What was heard, counted."""
        return {
            "bytes": self.bytes_heard,
            "requests": self.requests,
            "answers": self.answers,
            "damaged_frames": self.damaged,
            "frames_of_another_version": sum(wire.other_version for wire in self.wires),
            "demands": sum(each.demand is not None for each in self.exchanges),
            "cycles_answered": sum(each.cycle is not None for each in self.exchanges),
        }


class TappedStream:
    """A flight computer's stream with a listener on both wires; offers what NodeLink needs."""

    def __init__(
        self, stream, listener: Listener, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._stream, self._listener, self._clock = stream, listener, clock

    @property
    def in_waiting(self) -> int:
        return self._stream.in_waiting

    def write(self, data: bytes, /) -> object:
        self._listener.hear(0, data, self._clock())
        return self._stream.write(data)

    def read(self, size: int = 1) -> bytes:
        data = self._stream.read(size)
        if data:
            self._listener.hear(1, data, self._clock())
        return data


def silence(listener: Listener) -> str:
    """What to look at where nothing that can be read has passed; empty where something has."""
    if not listener.bytes_heard:
        return (
            "nothing came: is the flight computer running, the listening wire on its transmit "
            "line (and on the board's), ground connected?"
        )
    if not listener.requests and not listener.answers:
        return (
            f"{listener.bytes_heard} bytes came, none of them a frame: the wrong baud rate, an "
            "inverted line, or another device"
        )
    return ""


def heard_again(chunks: Sequence[tuple[int, float, bytes]]) -> Listener:
    """What a listener would have heard of kept bytes."""
    listener = Listener(1 + max((port for port, _, _ in chunks), default=0))
    for port, at_s, data in chunks:
        listener.hear(port, data, at_s)
    listener.end()
    return listener
