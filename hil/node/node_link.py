"""The flight computer's end of the serial link: requests out, answers back.

`NodeLink` works over a serial port, a pyserial URL, or `hil.node.loopback.Loopback`, the same node
run in this process.
"""

import time
from binascii import crc_hqx
from collections.abc import Callable, Sequence
from typing import Protocol
from zlib import crc32

from firmware_port import protocol as p
from firmware_port.frames import cobs_decode, cobs_encode
from hil.node.answers import Answer, Belief, Checked, CycleAnswer, Watched, refused, vanes_in
from hil.node.errors import BoardError
from hil.node.interrupts import held_back
from hil.node.patience import patience

LARGEST_WIRE = 64
CRC_BEGINS = 0xFFFF  # CRC-16/IBM-3740: the library's polynomial, begun at this
ANSWER_S = 2.0


class Stream(Protocol):
    """What is needed of a line: the part of pyserial's interface that is used here."""

    @property
    def in_waiting(self) -> int: ...
    def read(self, size: int = 1) -> bytes: ...
    def write(self, data: bytes, /) -> object: ...


def numbers(values: Sequence[int], width: int = 3) -> bytes:
    """Integers as contents of a frame."""
    return b"".join(int(value).to_bytes(width, "little", signed=True) for value in values)


def read_numbers(contents: bytes, width: int = 3) -> tuple[int, ...]:
    """The integers in contents of a frame."""
    ends = range(width, len(contents) + 1, width)
    return tuple(int.from_bytes(contents[e - width : e], "little", signed=True) for e in ends)


def demand_contents(pitch_mnm: int, yaw_mnm: int, roll_mnm: int, pressure_pa: int) -> bytes:
    """The contents of a DEMAND; pressure is held inside what the frame can carry (167 bar)."""
    pressure = min(max(pressure_pa, 0), p.PRESSURE_MOST_PA)
    return numbers((pitch_mnm, yaw_mnm, roll_mnm), 4) + pressure.to_bytes(3, "little")


def wire_frame(kind: int, sequence: int, contents: bytes = b"", version: int = p.VERSION) -> bytes:
    """A request as it goes over the wire, with its closing zero."""
    body = bytearray((version << 6 | kind, sequence & 0xFF, sequence >> 8 & 0xFF)) + contents
    body += crc_hqx(body, CRC_BEGINS).to_bytes(2, "big")
    out = bytearray(len(body) + 2 + len(body) // 254)
    return bytes(out[: cobs_encode(body, len(body), out)]) + b"\0"


def parse_answer(frame: bytes) -> Answer | None:
    """The answer in a frame without its closing zero; None where it is damaged or no answer."""
    body = bytearray(frame)
    count = cobs_decode(body, len(body))
    if count < p.ANSWER_HEADER + 2 or crc_hqx(body[:count], CRC_BEGINS) != 0:
        return None
    if body[0] >> 6 != p.VERSION or not body[0] & p.ANSWER:
        return None
    return Answer(
        kind=body[0] & p.KINDS - 1,
        sequence=body[1] | body[2] << 8,
        state=body[3] >> 4,
        verdict=body[3] & 0xF,
        contents=bytes(body[p.ANSWER_HEADER : count - 2]),
    )


def read_cycle(contents: bytes) -> CycleAnswer:
    """What the answer to a DEMAND or a PASS tells. BoardError where the node has no tables."""
    if len(contents) < 40:
        raise BoardError("the node has no flight tables yet; load them first")
    return CycleAnswer(
        flags=contents[0],
        deflection_mdeg=read_numbers(contents[1:13]),
        pulse_ns=read_numbers(contents[13:25]),
        cost=read_numbers(contents[25:28])[0],
        moment_mnm=read_numbers(contents[28:40], 4),
        force=read_numbers(contents[40:]),
    )


class NodeLink:
    """A node at the other end of a line, one request outstanding at a time.

    timeout_s: how long an answer is waited for; two seconds by default, or what `patience` makes of
    them. Answers that the node gives by itself (a change of state) go to `heard`.
    """

    def __init__(self, stream: Stream, *, timeout_s: float | None = None):
        self.stream = stream
        self.timeout_s = patience(ANSWER_S) if timeout_s is None else timeout_s
        self.sequence = 0
        self.heard: list[Answer] = []
        self._arrived = bytearray()
        self._greedy = True

    def request(self, kind: int, contents: bytes = b"") -> Answer:
        """Send a request and wait for its answer; BoardError where none comes.

        Ctrl-C waits for it too: half an exchange would leave a node of this process in the middle
        of an answer, or a board with half a frame, and then nobody could lead servos to neutral.
        """
        with held_back():
            return self._exchange(kind, contents)

    def _exchange(self, kind: int, contents: bytes) -> Answer:
        self.sequence = (self.sequence + 1) % p.SEQUENCES
        self.stream.write(wire_frame(kind, self.sequence, contents))
        deadline = time.monotonic() + self.timeout_s
        while time.monotonic() < deadline:
            answer = self.next_answer(deadline)
            if answer is None:
                continue
            if answer.kind == kind and answer.sequence == self.sequence:
                return answer
            self.heard.append(answer)
        raise BoardError(f"the node did not answer within {self.timeout_s:g} s")

    def next_answer(self, deadline: float) -> Answer | None:
        """The next undamaged answer on the line, None where none has come by the deadline."""
        while True:
            frame, zero, rest = self._arrived.partition(b"\0")
            if zero:
                self._arrived = rest
                answer = parse_answer(bytes(frame))
                if answer is not None:
                    return answer
                continue
            data = self.stream.read(max(1, self.stream.in_waiting) if self._greedy else 1)
            self._arrived += data
            if time.monotonic() >= deadline and b"\0" not in data:  # chatter is no answer
                return None

    def ask(self, kind: int, contents: bytes = b"") -> Answer:
        """A request that has to be taken; BoardError, in words, where the node refuses it."""
        answer = self.request(kind, contents)
        if not answer.taken:
            raise refused(answer)
        return answer

    def ask_further(self, kind: int, contents: bytes = b"") -> bytes:
        """What the answer to a request of a further kind holds; BoardError where it is refused."""
        answer = self.ask(p.FURTHER, bytes((kind,)) + contents)
        if answer.contents[:1] != bytes((kind,)):
            raise BoardError(f"the node answered to another further kind than {kind}")
        return answer.contents[1:]

    def demand(self, pitch_mnm: int, yaw_mnm: int, roll_mnm: int, pressure_pa: int) -> Answer:
        """Send a demand; `read_cycle(answer.contents)` is what the cycle did with it."""
        return self.request(p.DEMAND, demand_contents(pitch_mnm, yaw_mnm, roll_mnm, pressure_pa))

    def arm(self) -> None:
        """Both steps of arming. CAUTION: from here on demands move powered servos."""
        self.ask(p.ARM, self._token())

    def disarm(self) -> None:
        """Back to the safe state, whatever sequence numbers the node has seen."""
        self.ask(p.DISARM, self._token())

    def _token(self) -> bytes:
        return self.ask(p.ASK).contents

    def jam(self, vane: int, deflection_mdeg: int) -> None:
        """Declare that vane 1 to 4 stands still there."""
        self.ask(p.JAM, numbers((vane, deflection_mdeg)))

    def free(self, vane: int) -> None:
        """Declare that vane 1 to 4 moves again."""
        self.ask(p.FREE, numbers((vane,)))

    def burn(self, time_us: int, load_us: int) -> None:
        """Tell burn time and burn load of vanes that are not new; 0: the burn has yet to begin."""
        self.ask(p.BURN, numbers((time_us, load_us), 4))

    def start(self) -> None:
        """The burn has begun; harmless where it is said again."""
        self.ask(p.START)

    def belief(self) -> Belief:
        """What the node takes to be so."""
        contents = self.ask(p.BELIEF).contents
        time_us, load_us, doubted_us = read_numbers(contents[:12], 4)
        ratio, jammed, burn = read_numbers(contents[12:])
        return Belief(time_us, load_us, doubted_us, ratio, vanes_in(jammed), burn)

    def check(self, deflection_mdeg: int) -> None:
        """Begin the control check; `checked` has to be asked twice a second, or it ends.

        CAUTION: it turns powered servos. Nobody near vanes or nozzle, igniters not connected.
        """
        self.ask(p.CHECK, self._token() + numbers((deflection_mdeg,)))

    def checked(self) -> Checked:
        """What the control check has found so far, which it keeps until the next one."""
        answer = self.ask(p.CHECKED)
        done, off, *turned = read_numbers(answer.contents)
        told = tuple(None if angle == p.NO_ANGLE else angle for angle in turned)
        return Checked(answer.state, vanes_in(done), vanes_in(off), told)

    def watch(self, on: bool) -> None:
        """Switch the node's jam watch on, or off: then what it declared is free."""
        self.ask_further(p.WATCH, numbers((int(on),)))

    def watched(self) -> Watched:
        """How the node's jam watch stands."""
        state, believed, out, declared, found = read_numbers(self.ask_further(p.WATCHED))
        return Watched(state, vanes_in(believed), vanes_in(out), vanes_in(declared), found)

    def pace(self, step_us: int, *, forces: bool = False) -> None:
        """The time from one demand to the next, where time comes over the link."""
        self.ask(p.PACE, numbers((step_us, int(forces))))

    def let_pass(self, us: int) -> CycleAnswer:
        """Let time pass and a cycle run without a demand."""
        return read_cycle(self.request(p.PASS, numbers((us,))).contents)

    def see(self, angles_mdeg: Sequence[int], followed: int = 0) -> None:
        """Tell a rehearsing node what angle sensors say, for its next cycle; NO_ANGLE for none.

        followed: vanes whose sensors a check has seen to follow, bit 0 for vane 1.
        """
        self.ask(p.SEE, numbers((*angles_mdeg, followed)))

    def stop(self) -> None:
        """End the node; its pulses end too. Only from the safe state."""
        self._greedy = False  # what follows the answer is the board's prompt, not ours
        self.ask(p.STOP)

    def counters(self) -> dict[str, int]:
        """All counters by name."""
        values: list[int] = []
        while len(values) < p.COUNTER_COUNT:
            values += read_numbers(self.ask(p.COUNTERS, numbers((len(values),))).contents)
        return dict(zip(p.COUNTER_NAMES, values, strict=True))

    def identify(self) -> tuple[str, int, int]:
        """Name of the board, unit of cost, CRC-32 of the tables in use (0 for none)."""
        contents = self.ask(p.IDENTIFY).contents
        unit, _, high, low = read_numbers(contents[:12])
        return contents[12:].decode("ascii", "replace"), unit, high << 16 | low

    def load_tables(self, blob: bytes, advance: Callable[[int], None] = lambda count: None) -> None:
        """Load flight tables; they fly only once they are whole and valid on the board.

        advance: called with the number of bytes just taken.
        """
        crc = crc32(blob)
        self.ask(p.TABLES_BEGIN, numbers((len(blob), crc >> 16, crc & 0xFFFF)))
        for start in range(0, len(blob), p.PIECE):
            piece = blob[start : start + p.PIECE]
            self.ask(p.TABLES_PIECE, numbers((start,)) + piece)
            advance(len(piece))
        answer = self.request(p.TABLES_COMMIT)
        if answer.verdict == p.BAD_TABLES and any(answer.contents):
            (word,) = read_numbers(answer.contents)
            raise BoardError(
                f"the node refused the flight tables: word {word} cannot stand in any; build them "
                "anew, with the version of Fourvane that is on the board"
            )
        if not answer.taken:
            raise refused(answer)
