"""The same bytes to a laptop's node and to a board's, and every answer compared.

A record is made by driving a node in this process. Played to a board, each request must bring the
same answers, bit for bit, but for the cost of the step, which is the board's own.
"""

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

from firmware_port import protocol as p
from hil.node.answers import Answer, CycleAnswer
from hil.node.errors import BoardError
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink, Stream, parse_answer, read_cycle
from mixer.flight import FlightTables

COST = slice(25, 28)  # in the contents of the answer to a demand
WINDOW = 250  # requests over which the rate of round trips is taken
Exchange = tuple[bytes, bytes]  # what was sent, what came back


@dataclass
class Played:
    """What came of playing a record to a board."""

    exchanges: int = 0
    cycles: int = 0
    mismatches: int = 0
    first_mismatch: str = ""
    costs: list[int] = field(default_factory=list)  # of each step outside the safe state
    flags: list[int] = field(default_factory=lambda: [0] * 8)  # cycles with each flag
    rates_per_s: list[float] = field(default_factory=list)  # round trips, window by window

    def add(self, other: "Played") -> None:
        """Take another record's results into this one."""
        self.exchanges += other.exchanges
        self.cycles += other.cycles
        self.mismatches += other.mismatches
        self.first_mismatch = self.first_mismatch or other.first_mismatch
        self.costs += other.costs
        self.rates_per_s += other.rates_per_s
        self.flags = [a + b for a, b in zip(self.flags, other.flags, strict=True)]


class Recorder(Loopback):
    """A node in this process that keeps what was sent and what it answered."""

    def __init__(self) -> None:
        super().__init__()
        self.record: list[Exchange] = []

    def write(self, data: bytes, /) -> int:
        sent = super().write(data)
        self.record.append((bytes(data), bytes(self.line.from_node)))
        return sent


def make_record(tables: FlightTables, drive: Callable[[NodeLink], object]) -> list[Exchange]:
    """Load tables into a fresh node, drive it, stop it; what went over the line."""
    recorder = Recorder()
    link = NodeLink(recorder)
    link.load_tables(tables.to_bytes())
    drive(link)
    link.stop()
    return recorder.record


def play(
    record: list[Exchange], stream: Stream, advance: Callable[[int], None] = lambda count: None
) -> Played:
    """Send a record's requests to a board and compare its answers.

    advance: called with the number of requests just played. BoardError where the board falls
    silent.
    """
    answers: list[bytes] = []
    played = Played(exchanges=len(record))
    for start in range(0, len(record), WINDOW):
        window = record[start : start + WINDOW]
        began = time.perf_counter()
        for sent, expected in window:
            stream.write(sent)
            answers.append(stream.read(len(expected)))
            if len(answers[-1]) != len(expected):
                _explain_silence(sent, expected, answers[-1])
        if len(window) == WINDOW:
            played.rates_per_s.append(WINDOW / (time.perf_counter() - began))
        advance(len(window))
    for (sent, expected), got in zip(record, answers, strict=True):
        _compare(played, sent, expected, got)
    return played


def _explain_silence(sent: bytes, expected: bytes, got: bytes) -> None:
    if not got:
        raise BoardError("the board fell silent in the middle of the rehearsal")
    raise BoardError(
        f"the board answered {len(got)} bytes where the laptop answered {len(expected)}: "
        f"sent {sent.hex()}, expected {expected.hex()}, got {got.hex()}"
    )


def _answers(data: bytes) -> Iterator[Answer | None]:
    for frame in data.split(b"\0")[:-1]:
        yield parse_answer(frame)


def _compare(played: Played, sent: bytes, expected: bytes, got: bytes) -> None:
    """Count what differs, and what the board's cycle told of itself."""
    wanted = list(_answers(expected))
    given = list(_answers(got))
    if len(wanted) != len(given):
        _differs(played, sent, wanted, given)
        return
    for want, have in zip(wanted, given, strict=True):
        if want is None or have is None or _same(want) != _same(have):
            _differs(played, sent, want, have)
        elif have.kind in (p.DEMAND, p.PASS) and len(have.contents) > COST.stop:
            played.cycles += 1
            cycle = read_cycle(have.contents)
            if have.state != p.SAFE and have.verdict == p.TAKEN:
                played.costs.append(cycle.cost)
            for bit in range(8):
                played.flags[bit] += cycle.flags >> bit & 1


def _same(answer: Answer) -> tuple[int, int, int, int, bytes]:
    """An answer without the cost, which differs from machine to machine."""
    contents = answer.contents
    if answer.kind in (p.DEMAND, p.PASS):
        contents = contents[: COST.start] + contents[COST.stop :]
    return answer.kind, answer.sequence, answer.state, answer.verdict, contents


def _differs(played: Played, sent: bytes, wanted: object, given: object) -> None:
    played.mismatches += 1
    if not played.first_mismatch:
        played.first_mismatch = (
            f"sent {sent.hex()}\n  laptop {_shown(wanted)}\n  board  {_shown(given)}"
        )


def _shown(answer: object) -> object:
    if isinstance(answer, Answer) and answer.kind in (p.DEMAND, p.PASS) and answer.contents:
        cycle: CycleAnswer = read_cycle(answer.contents)
        return cycle
    return answer
