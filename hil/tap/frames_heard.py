"""From the bytes of one wire to frames, each with the time its last byte was heard."""

from dataclasses import dataclass

from firmware_port import protocol as p
from firmware_port.receiver import Receiver
from hil.node.loopback import Memory


@dataclass(frozen=True)
class HeardFrame:
    """One whole, undamaged frame. port: who heard it, counted from 0; at_s: when it was whole.

    answer: the node said it. state and verdict are those of an answer, 0 for a request.
    """

    port: int
    at_s: float
    kind: int
    sequence: int
    answer: bool
    state: int
    verdict: int
    contents: bytes


class Wire:
    """The frames of one wire, by the very receiver that the node has.

    A wire may carry one direction or both in turns: each frame tells by itself who said it. Where
    the listening began within a frame, the rest of that one does not count as damaged.
    """

    def __init__(self, port: int) -> None:
        self.port = port
        self._buffer = Memory()
        self._receiver = Receiver(self._buffer)
        self._begun = False
        self._cut = 0  # frames that began before we listened
        self.other_version = 0

    @property
    def damaged(self) -> int:
        """Frames that were none: cut, joined, flipped."""
        return self._receiver.damaged - self._cut

    def hear(self, data: bytes, at_s: float) -> list[HeardFrame]:
        """Take some bytes; the frames that are whole with them."""
        first, zero, rest = data.partition(b"\0")
        if not self._begun and zero:
            frames = self._taken(first + zero, at_s)
            self._begun, self._cut = True, self._receiver.damaged
            return frames + self._taken(rest, at_s)
        return self._taken(data, at_s)

    def _taken(self, data: bytes, at_s: float) -> list[HeardFrame]:
        self._buffer.to_node += data
        frames: list[HeardFrame] = []
        while self._buffer.to_node or self._receiver.holds_bytes():
            length = self._receiver.take()
            if length:
                frames += self._read(bytes(self._receiver.body[:length]), at_s)
        return frames

    def _read(self, body: bytes, at_s: float) -> list[HeardFrame]:
        if body[0] >> 6 != p.VERSION:
            self.other_version += 1
            return []
        answer = bool(body[0] & p.ANSWER)
        head = p.ANSWER_HEADER if answer else p.HEADER
        if len(body) < head:
            return []
        told = body[3] if answer else 0
        return [
            HeardFrame(
                port=self.port,
                at_s=at_s,
                kind=body[0] & p.KINDS - 1,
                sequence=body[1] | body[2] << 8,
                answer=answer,
                state=told >> 4,
                verdict=told & 0xF,
                contents=body[head:],
            )
        ]
