"""The C end of the serial line says and hears what the Python one does, also where the line is bad.

The C program talks over a pseudo-terminal of the system's; behind it stands a node in this process,
or a board's, and between them a pump that may damage what passes.
"""

import os
import random
import threading
import tty
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from firmware_port import protocol as p
from firmware_port.frames import pack
from hil.boards.node_on_board import node_on
from hil.boards.open_board import open_board
from hil.node.answers import Answer
from hil.node.errors import BoardError
from hil.node.loopback import Loopback
from hil.node.node_link import (
    NodeLink,
    Stream,
    parse_answer,
    read_cycle,
    read_numbers,
    wire_frame,
)
from hil.verify.rehearsal import COST
from mixer.ground.c_library.render import LARGEST_ON_THE_LINE
from mixer.ground.tables.build import flight_tables
from tests.support.c_library import HERE as C_FILES
from tests.support.c_library import SANITIZED, STRICT, exported, needs, run
from tests.support.damage import damaged
from tests.support.vehicles import vehicle
from tests.tools.c_coverage import uncovered

# Of tables whose last piece on the line is shorter than the others.
VEHICLE = vehicle(
    erosion={"load_s": [0.0, 9.0, 18.0, 26.0], "effectiveness": [1.0, 0.99, 0.97, 0.93]}
)
PATIENCE_US = 20_000_000
SEED = 31


def built(folder: Path, *flags: str) -> Path:
    """tests/support/c/line.c with the exported library."""
    needs("gcc")
    exported(folder, VEHICLE)
    run(
        "gcc", "-std=gnu99", *STRICT, *flags, "-I", folder / "src", C_FILES / "line.c",
        *(folder / f"src/{name}.c" for name in ("fourvane_link", "fourvane_vehicle")),
        "-o", folder / "line", cwd=folder,
    )  # fmt: skip
    return folder / "line"


@pytest.fixture(scope="module")
def line(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The program under sanitizers."""
    return built(tmp_path_factory.mktemp("c"), *SANITIZED)


class Pump:
    """Carries bytes between a pseudo-terminal and a node's stream until it is stopped.

    `port` is what the C program opens. to_node, from_node: given a frame with its zero, return the
    bytes to pass on. `heard`: the node's own answers, before any damage.
    """

    def __init__(
        self,
        stream: Stream,
        to_node: Callable[[bytes], bytes] = bytes,
        from_node: Callable[[bytes], bytes] = bytes,
    ) -> None:
        self.stream, self.heard = stream, []
        self.changes = {"out": to_node, "in": from_node}
        self.rests = {"out": b"", "in": b""}
        self.near, self.far = os.openpty()
        tty.setraw(self.far)
        os.set_blocking(self.near, False)
        self.port = os.ttyname(self.far)
        self.done = threading.Event()
        self.thread = threading.Thread(target=self.carry)
        self.thread.start()

    def carry(self) -> None:
        while not self.done.is_set():
            try:
                from_c = os.read(self.near, 4096)
            except BlockingIOError:
                from_c = b""
            for frame in self.frames("out", from_c):
                self.stream.write(frame)
            # a byte at a time: what follows the answer to STOP is the board's prompt
            waiting = not self.stopped() and self.stream.in_waiting
            for frame in self.frames("in", self.stream.read(1) if waiting else b""):
                os.write(self.near, frame)
            if not from_c and not waiting:
                self.done.wait(0.0002)

    def stopped(self) -> bool:
        last = self.heard[-1] if self.heard else None
        return last is not None and (last.kind, last.verdict) == (p.STOP, p.TAKEN)

    def frames(self, way: str, data: bytes) -> Iterator[bytes]:
        *whole, self.rests[way] = (self.rests[way] + data).split(b"\0")
        for frame in whole:
            if way == "in":
                self.heard.append(parse_answer(frame))
            yield self.changes[way](frame + b"\0")

    def stop(self) -> None:
        self.done.set()
        self.thread.join()
        os.close(self.near)
        os.close(self.far)


@contextmanager
def pumped(stream: Stream, **changes: Callable[[bytes], bytes]) -> Iterator[Pump]:
    pump = Pump(stream, **changes)
    try:
        yield pump
    finally:
        pump.stop()


def told(program: Path, port: str, script: list[str], patience_us: int = PATIENCE_US) -> list[str]:
    out = run(program, port, patience_us, input="\n".join(script).encode(), timeout=200).stdout
    return out.decode().splitlines()


def answers_in(lines: list[str], word: str = "answer") -> list[Answer]:
    found = []
    for text in lines:
        what, *rest = text.split(" ")
        if what == word:
            kind, sequence, state, verdict = map(int, rest[:4])
            found.append(Answer(kind, sequence, state, verdict, bytes.fromhex(rest[4])))
    return found


# ---- every request, compared with the Python end -----------------------------------------------


def script(seed: int, cycles: int) -> list[str]:
    """Every request, most of them more than once, refused and taken."""
    source = random.Random(seed)
    lines = ["demand 1 2 3 4", "identify", "arm", "load", "identify", "stop 1", "arm", "arm",
             "pace 5000 0", "burn 1 2", "watched", "load", "watched",
             "watch 0", "watched", "watch 1", "jam 9 0", "pace 0 0", "counters 23",
             "belief", *["pass 5000"] * 3, "check 9999", "check 3000", "checked",
             *["pass 5000"] * 9, "checked", "watch 0", "check 3000", "burn 1 2", "disarm",
             *["pass 20000"] * 9, "check -2500", "start", "belief", "burn 0 0"]  # fmt: skip
    lines.remove("stop 1")
    for _ in range(cycles):
        size = source.choice((100_000, 900_000, 5_000_000, 2_000_000_000))
        numbers = [source.randint(-size, size) for _ in range(2)] + [source.randint(-9999, 9999)]
        pressure_pa = source.choice((2_000_000, 1_500_000, -7, 99_000_000))
        lines.append(f"demand {' '.join(map(str, numbers))} {pressure_pa}")
        lines += source.choice((
            [], [], [], [], [], ["forces"],
            [f"jam {source.randint(1, 4)} {source.randint(-99999, 99999)}"],
            [f"free {source.randint(1, 4)}"], [f"pass {source.randint(1, 30000)}"],
            ["counters 0", "counters 15"], ["start", "belief"], ["watch 0", "watched", "watch 1"],
            ["pass 150000", "pass 1", "burn 9000000 5000000", "arm"],
        ))  # fmt: skip
    return [*lines, "disarm", "burn 1000000 3000000", "arm", "demand 50000 0 0 2000000", "disarm",
            "counters 0", "stop"]  # fmt: skip


def by_python(node: NodeLink, lines: list[str]) -> list[Answer]:
    """The last answer of each exchange, the same requests sent by the Python end."""
    blob = flight_tables(VEHICLE).to_bytes()
    found: list[Answer] = []
    ask = node.request

    def kept(kind: int, contents: bytes = b"") -> Answer:
        answer = ask(kind, contents)
        last.append(answer)
        return answer

    node.request = kept
    for text in lines:
        last: list[Answer] = []
        what, *rest = text.split()
        numbers = [int(number) for number in rest]
        try:
            if what == "load":
                node.load_tables(blob)
            elif what == "counters":
                kept(p.COUNTERS, numbers[0].to_bytes(3, "little"))
            elif what == "forces":
                kept(p.FORCES)
            elif what == "pass":
                node.let_pass(numbers[0])
            elif what == "pace":
                node.pace(numbers[0], forces=bool(numbers[1]))
            else:
                getattr(node, what)(*numbers)
        except BoardError:
            assert last
        found.append(last[-1])
    return found


def without_cost(answer: Answer) -> Answer:
    if answer.kind not in (p.DEMAND, p.PASS):
        return answer
    contents = answer.contents[: COST.start] + answer.contents[COST.stop :]
    return Answer(answer.kind, answer.sequence, answer.state, answer.verdict, contents)


def compared(lines: list[str], wanted: list[Answer], identified: bool = True) -> None:
    assert "silent" not in lines
    got = answers_in(lines)
    for mine, other in zip(got, wanted, strict=True):
        if other.kind != p.IDENTIFY or identified:
            assert without_cost(mine) == without_cost(other)
    watched = [text.split()[1:] for text in lines if text.startswith("watched ")]
    further = bytes((p.WATCHED,))
    asked = [a for a in got if a.kind == p.FURTHER and a.taken and a.contents[:1] == further]
    for told_numbers, answer in zip(watched, asked, strict=True):
        assert [int(number) for number in told_numbers] == list(read_numbers(answer.contents[1:]))
    believed = [text.split()[1:] for text in lines if text.startswith(("belief ", "checked "))]
    asked = [answer for answer in got if answer.kind in (p.BELIEF, p.CHECKED)]
    for told_numbers, answer in zip(believed, asked, strict=True):
        width = 4 if answer.kind == p.BELIEF else 3
        numbers = read_numbers(answer.contents[: 3 * width], width)
        numbers += read_numbers(answer.contents[3 * width :])
        assert [int(number) for number in told_numbers] == list(numbers)
    cycles = [text.split()[1:] for text in lines if text.startswith("cycle ")]
    stepped = [answer for answer in got if answer.kind in (p.DEMAND, p.PASS)]
    for told_cycle, answer in zip(cycles, stepped, strict=True):
        if told_cycle == ["none"]:
            assert answer.verdict == p.NO_TABLES
            continue
        cycle = read_cycle(answer.contents)
        numbers = (cycle.flags, *cycle.deflection_mdeg, *cycle.pulse_ns, *cycle.moment_mnm)
        assert [int(number) for number in told_cycle] == list(numbers)


def test_the_node_in_this_process_is_told_the_same_and_answers_the_same(line: Path) -> None:
    lines = script(SEED, 400)
    with pumped(Loopback()) as pump:
        came = told(line, pump.port, lines)
    wanted = by_python(NodeLink(Loopback()), lines)
    compared(came, wanted)
    verdicts = {answer.verdict for answer in wanted}
    assert {p.TAKEN, p.OUT_OF_RANGE, p.NO_TABLES, p.NOT_NOW} <= verdicts
    assert {answer.state for answer in wanted} == {p.SAFE, p.ARMED, p.LINK_LOST, p.CHECKING}
    assert {answer.kind for answer in answers_in(came, "said")} == {p.STATE}
    assert came[-1] == "counts 0 0 0"


def test_a_board_is_told_the_same_and_answers_the_same(line: Path, quick_board_name: str) -> None:
    lines = script(SEED + 1, 60 if quick_board_name == "unix" else 12)  # emulated: slow as bytecode
    with open_board(quick_board_name) as board, node_on(board) as there:
        with pumped(there.start("rehearse", "free")) as pump:
            came = told(line, pump.port, lines)
        there.link.finish()
    compared(came, by_python(NodeLink(Loopback()), lines), identified=False)


def test_numbers_on_the_line_are_held_where_the_board_holds_them() -> None:
    out = bytearray(4)
    for value in (LARGEST_ON_THE_LINE + 1, -LARGEST_ON_THE_LINE - 1):
        pack([value], 0, 1, 4, out, 0)
        held = int.from_bytes(out, "little", signed=True)
        assert abs(held) == LARGEST_ON_THE_LINE


# ---- a bad line ----------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(SEED, SEED + 4))
def test_of_damaged_answers_the_same_are_heard_as_in_python(line: Path, seed: int) -> None:
    """Answers of a node, most of them damaged, in pieces of every size."""
    source, answers, sent = random.Random(seed), [], bytearray()
    body = bytes(range(40))
    for number in range(1500):
        frame = wire_frame(
            p.ANSWER | source.randrange(p.KINDS),
            number,
            bytes(source.choices(body, k=source.randrange(1, 53))),
        )
        if source.random() < 0.05:
            frame = wire_frame(p.ANSWER | p.DEMAND, number, bytes(9), version=2)
        elif source.random() < 0.05:
            frame = wire_frame(p.DEMAND, number, bytes(9))
        elif source.random() < 0.05:
            frame = bytes(source.choices(range(1, 256), k=source.choice((59, 60, 61)))) + b"\0"
        answers = [*answers[-30:], frame]
        sent += damaged(source, frame, answers) if source.random() < 0.7 else frame
        if source.random() < 0.02:
            sent += source.randbytes(source.choice((3, 70, 400))).replace(b"\0", b"\1")
    heard = [parse_answer(frame) for frame in bytes(sent).split(b"\0")[:-1]]
    wanted = [answer for answer in heard if answer is not None]
    out = run(line, "-", input=bytes(sent)).stdout.decode().splitlines()
    assert answers_in(out, "said") == wanted
    assert len(wanted) > 400
    assert int(out[-1].split()[1]) > 400


@pytest.mark.parametrize("ways", ["to the node", "from the node", "both"])
def test_behind_a_bad_line_nothing_false_is_heard_and_the_end_is_reached(
    line: Path, ways: str
) -> None:
    """Requests are sent again and again; every answer heard is one that the node gave."""
    source, sent = random.Random(ways), [b"\1\0"]

    def spoil(frame: bytes) -> bytes:
        sent.append(frame)
        return damaged(source, frame, sent[-30:]) if source.random() < 0.2 else frame

    changes = {}
    if ways != "from the node":
        changes["to_node"] = spoil
    if ways != "to the node":
        changes["from_node"] = spoil
    loopback = Loopback()
    NodeLink(loopback).load_tables(flight_tables(VEHICLE).to_bytes())
    loopback.node.handlers[p.STOP] = None
    loopback.node.running = True
    lines = ["arm"] * 12 + [f"demand {i * 1000} {-i * 900} {i} 2000000" for i in range(150)]
    lines += ["disarm"] * 12 + ["counters 0"] * 6
    with pumped(loopback, **changes) as pump:
        came = told(line, pump.port, lines, 20_000)
        heard = {answer for answer in pump.heard if answer is not None}
    answers = answers_in(came)
    assert {*answers, *answers_in(came, "said")} <= heard
    damage, silent, replaced = map(int, came[-1].split()[1:])
    assert silent == came.count("silent") > 0
    assert replaced == 0
    assert damage > 0 or ways == "to the node"
    assert any(answer.state == p.ARMED for answer in answers)
    assert sum(answer.kind == p.DEMAND and answer.verdict == p.TAKEN for answer in answers) > 50
    assert answers[-1].state == p.SAFE


def test_nobody_at_the_other_end_is_said_after_the_time_given(line: Path) -> None:
    with pumped(Loopback(), to_node=lambda frame: b"") as pump:
        assert told(line, pump.port, ["arm", "load", "demand 1 1 1 1"], 30_000) == [
            "silent",
            "silent",
            "silent",
            "counts 0 3 0",
        ]


def test_a_restarted_flight_computer_arms_anew_once_the_link_is_lost(line: Path) -> None:
    """Sequence numbers begin again at 1; a token makes them count."""
    loopback = Loopback()
    with pumped(loopback) as pump:
        demands = [f"demand {i} 0 0 2000000" for i in range(1, 40)]
        told(line, pump.port, ["load", "arm", *demands])
        came = told(line, pump.port, ["demand 5 5 5 2000000", "arm", "pass 150000", "pass 1", "arm",
                                      "demand 7 0 0 2000000", "disarm"])  # fmt: skip
    states = [(answer.kind, answer.verdict, answer.state) for answer in answers_in(came)]
    assert states == [
        (p.DEMAND, p.STALE, p.ARMED), (p.ARM, p.NOT_NOW, p.ARMED), (p.PASS, p.TAKEN, p.ARMED),
        (p.PASS, p.TAKEN, p.LINK_LOST),
        (p.ARM, p.TAKEN, p.ARMED), (p.DEMAND, p.TAKEN, p.ARMED), (p.DISARM, p.TAKEN, p.SAFE),
    ]  # fmt: skip


def test_a_request_takes_the_place_of_one_that_is_not_answered_yet(line: Path) -> None:
    """And the first ones' answers, when they come, are nobody's."""
    with pumped(Loopback()) as pump:
        came = told(line, pump.port, ["load", "+identify", "+counters 15", "counters 0"])
    assert [answer.kind for answer in answers_in(came, "said")] == [p.IDENTIFY, p.COUNTERS]
    assert [answer.kind for answer in answers_in(came)] == [p.TABLES_COMMIT, p.COUNTERS]
    assert came[-1] == "counts 0 0 2"


def emptied(frame: bytes) -> bytes:
    """An answer that ends after its verdict."""
    answer = parse_answer(frame[:-1])
    assert answer is not None
    return wire_frame(p.ANSWER | answer.kind, answer.sequence, b"\0")


def test_a_token_that_is_none_is_not_brought_back(line: Path) -> None:
    with pumped(Loopback(), from_node=emptied) as pump:
        came = told(line, pump.port, ["arm"])
    assert [(answer.kind, answer.contents) for answer in answers_in(came)] == [(p.ASK, b"")]


def test_of_answers_that_are_cut_short_nothing_is_read(line: Path) -> None:
    with pumped(Loopback(), from_node=emptied) as pump:
        came = told(line, pump.port, ["belief", "checked", "watched"])
    assert [answer.kind for answer in answers_in(came)] == [p.BELIEF, p.CHECKED, p.FURTHER]
    assert not [text for text in came if text.startswith(("belief ", "checked ", "watched "))]


def of_another_further_kind(frame: bytes) -> bytes:
    answer = parse_answer(frame[:-1])
    assert answer is not None
    contents = bytes((answer.state << 4 | answer.verdict, p.RECORD)) + answer.contents[1:]
    return wire_frame(p.ANSWER | answer.kind, answer.sequence, contents)


def test_of_another_further_kind_no_jam_watch_is_read(line: Path) -> None:
    loopback = Loopback()
    NodeLink(loopback).load_tables(flight_tables(VEHICLE).to_bytes())
    with pumped(loopback, from_node=of_another_further_kind) as pump:
        came = told(line, pump.port, ["watched"])
    assert [answer.kind for answer in answers_in(came)] == [p.FURTHER]
    assert not [text for text in came if text.startswith("watched ")]


def test_every_branch_of_the_line_is_taken(tmp_path: Path) -> None:
    needs("gcov")
    line = built(tmp_path, "--coverage", "-O0")
    with pumped(Loopback()) as pump:
        told(line, pump.port, script(SEED, 60))
    test_of_damaged_answers_the_same_are_heard_as_in_python(line, SEED)
    test_nobody_at_the_other_end_is_said_after_the_time_given(line)
    test_a_request_takes_the_place_of_one_that_is_not_answered_yet(line)
    test_a_token_that_is_none_is_not_brought_back(line)
    test_of_answers_that_are_cut_short_nothing_is_read(line)
    test_of_another_further_kind_no_jam_watch_is_read(line)
    assert uncovered(tmp_path, "fourvane_link") == []
