"""What each kind of frame does in each state: the table in firmware_port/README.md, row by row."""

import re
from collections.abc import Callable
from pathlib import Path
from zlib import crc32

import pytest

import firmware_port
from firmware_port import protocol as p
from firmware_port.bench import protocol as b
from firmware_port.bench.motion import Bench
from firmware_port.recorder import Recorder
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink, demand_contents, numbers
from mixer.ground.tables.build import flight_tables
from tests.support.damage import REFERENCE_PA
from tests.support.vehicles import vehicle

README = Path(firmware_port.__file__).with_name("README.md")
TABLES = flight_tables(vehicle())
BLOB = TABLES.to_bytes()
PERIOD_US = 5000
NOBODYS = p.STATE  # a kind of frame that nobody takes
STILL_NS = 1000  # the last count's unrest of a held demand
HEAD = "| frame, whole and in order |"
MOVING = ("follow", "go to neutral", "is led", "plays", "turns")
STATES = {name: number for number, name in enumerate(p.STATE_NAMES)}


class Played:
    """A node in one of its states, with a bench, and frames that are whole and in order."""

    def __init__(self, state: str):
        self.recorder = Recorder(8)
        self.loop = Loopback(recorder=self.recorder)
        self.node = self.loop.node
        self.link = NodeLink(self.loop)
        Bench(self.node)
        self.link.load_tables(BLOB)
        if state == "checking":
            self.let_pass(22)
            self.link.check(3000)
            self.let_pass(10)
        elif state != "safe":
            self.link.arm()
            self.demand()
            self.let_pass(6)
        if state == "link-lost":
            self.let_pass(60)
        assert self.node.control.state == STATES[state]

    def send(self, kind: int, contents: bytes = b"") -> str:
        """The verdict on a frame, in words."""
        return p.VERDICT_NAMES[self.link.request(kind, contents).verdict]

    def demand(self, pitch: int = 200_000) -> str:
        return self.send(p.DEMAND, demand_contents(pitch, -100_000, 3000, REFERENCE_PA))

    def token(self) -> bytes:
        return self.link.ask(p.ASK).contents

    def let_pass(self, cycles: int) -> None:
        for _ in range(cycles):
            self.link.let_pass(PERIOD_US)

    def jammed(self) -> None:
        self.send(p.JAM, numbers((2, 8000)))
        self.let_pass(10)

    def declared(self) -> None:
        """The jam watch holds vane 2 to be jammed where its sensor says, away from its command."""
        if self.node.control.state == STATES["checking"]:
            return
        while self.link.watched().declared != (2,):
            self.link.see([p.NO_ANGLE, 8000, p.NO_ANGLE, p.NO_ANGLE], followed=0b10)
            self.let_pass(1)
            if self.node.control.state == STATES["armed"]:
                self.demand()
        self.let_pass(9)

    def recorded(self) -> None:
        """The record has something to tell, from an arming before."""
        if self.node.control.state == p.SAFE:
            self.link.arm()
            self.link.disarm()
            self.let_pass(10)

    def tables(self, pieces: int) -> None:
        """A set begun, and so many pieces of it taken; refused where the state is not safe."""
        self.send(p.TABLES_BEGIN, numbers((len(BLOB), crc32(BLOB) >> 16, crc32(BLOB) & 0xFFFF)))
        for start in list(range(0, len(BLOB), p.PIECE))[:pieces]:
            self.send(p.TABLES_PIECE, numbers((start,)) + BLOB[start : start + p.PIECE])

    def recording(self, filled: int) -> None:
        """A recording begun, and so many of its pulses given."""
        self.send(b.PLAY_BEGIN, numbers((1, 4, 1000)))
        if filled:
            self.send(b.PLAY_FILL, numbers((0, filled, 32_000)))

    def pulses(self) -> list[int]:
        return list(self.loop.outputs.pulse_ns or self.node.control.pulses.pulse_ns)


def nothing(node: Played) -> None:
    return None


def quiet(node: Played) -> None:
    """So long after the last demand that a check may begin."""
    if node.node.control.state == p.SAFE:
        node.let_pass(22)


def framed(kind: int, contents: bytes = b"") -> Callable[[Played], str]:
    return lambda node: node.send(kind, contents)


def further(kind: int, contents: bytes = b"") -> Callable[[Played], str]:
    return framed(p.FURTHER, bytes((kind,)) + contents)


Row = tuple[int, Callable[[Played], object], Callable[[Played], str]]
FRAMES: dict[str, Row] = {  # kind, what goes before, the frame
    "DEMAND": (p.DEMAND, nothing, lambda node: node.demand(-400_000)),
    "DEMAND out of range": (p.DEMAND, nothing, lambda node: node.demand(2**30 - 1)),
    "ASK": (p.ASK, nothing, framed(p.ASK)),
    "ARM with the token": (p.ARM, nothing, lambda node: node.send(p.ARM, node.token())),
    "ARM with another number": (p.ARM, Played.token, framed(p.ARM, numbers((4711,)))),
    "DISARM with the token": (p.DISARM, nothing, lambda node: node.send(p.DISARM, node.token())),
    "DISARM with 0": (p.DISARM, nothing, framed(p.DISARM, numbers((0,)))),
    "JAM": (p.JAM, nothing, framed(p.JAM, numbers((2, 8000)))),
    "FREE, of a vane declared jammed": (p.FREE, Played.jammed, framed(p.FREE, numbers((2,)))),
    "BURN": (p.BURN, nothing, framed(p.BURN, numbers((5_000_000, 5_000_000), 4))),
    "START": (p.START, nothing, framed(p.START)),
    "CHECK with the token": (
        p.CHECK,
        quiet,
        lambda node: node.send(p.CHECK, node.token() + numbers((3000,))),
    ),
    "CHECK with another number": (p.CHECK, Played.token, framed(p.CHECK, numbers((4711, 3000)))),
    "CHECKED": (p.CHECKED, nothing, framed(p.CHECKED)),
    "BELIEF": (p.BELIEF, nothing, framed(p.BELIEF)),
    "COUNTERS": (p.COUNTERS, nothing, framed(p.COUNTERS, numbers((0,)))),
    "IDENTIFY": (p.IDENTIFY, nothing, framed(p.IDENTIFY)),
    "FORCES": (p.FORCES, nothing, framed(p.FORCES)),
    "TABLES_BEGIN": (p.TABLES_BEGIN, nothing, framed(p.TABLES_BEGIN, numbers((100, 1, 2)))),
    "TABLES_PIECE": (
        p.TABLES_PIECE,
        lambda node: node.tables(1),
        framed(p.TABLES_PIECE, numbers((p.PIECE,)) + b"abc"),
    ),
    "TABLES_COMMIT": (
        p.TABLES_COMMIT,
        lambda node: (node.let_pass(2), node.tables(10_000)),
        framed(p.TABLES_COMMIT),
    ),
    "STOP": (p.STOP, nothing, framed(p.STOP)),
    "PACE, of a rehearsal": (p.PACE, nothing, framed(p.PACE, numbers((PERIOD_US, 0)))),
    "PASS, of a rehearsal": (p.PASS, nothing, framed(p.PASS, numbers((PERIOD_US,)))),
    "SEE, of a rehearsal": (p.SEE, nothing, framed(p.SEE, numbers((0, 0, 0, 0, 15)))),
    "MOVE, of the bench": (b.MOVE, nothing, framed(b.MOVE, numbers((1, 1_600_000, 2000)))),
    "TURN, of the bench": (b.TURN, nothing, framed(b.TURN, numbers((1, 9000, 2000)))),
    "LOOK, of the bench": (b.LOOK, nothing, framed(b.LOOK, numbers((1, 1)))),
    "PLAY_BEGIN, of the bench": (
        b.PLAY_BEGIN,
        nothing,
        framed(b.PLAY_BEGIN, numbers((1, 4, 1000))),
    ),
    "PLAY_PIECE, of the bench": (
        b.PLAY_PIECE,
        lambda node: node.recording(0),
        framed(b.PLAY_PIECE, numbers((0,)) + (32_000).to_bytes(2, "little")),
    ),
    "PLAY_FILL, of the bench": (
        b.PLAY_FILL,
        lambda node: node.recording(0),
        framed(b.PLAY_FILL, numbers((0, 4, 32_000))),
    ),
    "PLAY_RUN, of the bench": (b.PLAY_RUN, lambda node: node.recording(4), framed(b.PLAY_RUN)),
    "PLAY_DATA, of the bench": (
        b.PLAY_DATA,
        lambda node: node.recording(4),
        framed(b.PLAY_DATA, numbers((0, 0))),
    ),
    "END, of the bench": (b.END, nothing, framed(b.END)),
    "WATCH with 0, the jam watch off": (
        p.FURTHER,
        Played.declared,
        further(p.WATCH, numbers((0,))),
    ),
    "WATCH with 1, the jam watch on": (p.FURTHER, nothing, further(p.WATCH, numbers((1,)))),
    "WATCHED": (p.FURTHER, nothing, further(p.WATCHED)),
    "RECORD": (p.FURTHER, nothing, further(p.RECORD)),
    "RECORD_BLOCK": (p.FURTHER, Played.recorded, further(p.RECORD_BLOCK, numbers((1,)))),
    "RECORD_PIECE": (p.FURTHER, Played.recorded, further(p.RECORD_PIECE, numbers((1, 2)))),
    "RECORD_CLEAR": (
        p.FURTHER,
        Played.recorded,
        lambda node: further(p.RECORD_CLEAR, numbers((node.recorder.newest,)))(node),
    ),
    "FURTHER, of a kind that nobody takes": (p.FURTHER, nothing, framed(p.FURTHER, b"\x1f")),
    "any other kind": (NOBODYS, nothing, framed(NOBODYS)),
}


def rows() -> dict[str, list[str]]:
    """The cells for the states by what stands first in each row."""
    text = README.read_text(encoding="utf-8")
    table = text[text.index(HEAD) :].partition("\n\n")[0].splitlines()[2:]
    cells = [[cell.strip() for cell in re.split(r"\|", line)[1:-1]] for line in table]
    return {first: others for first, *others in cells}


@pytest.fixture(params=p.STATE_NAMES)
def state(request: pytest.FixtureRequest) -> str:
    return request.param


def read_cell(cell: str, state: str) -> tuple[str, str, bool]:
    """Verdict, state after it, and whether pulses move."""
    verdict = re.match(r"[a-z–-]+", cell)
    assert verdict, cell
    after = re.search(r"→ ([a-z-]+)", cell)
    return verdict[0], after[1] if after else state, any(word in cell for word in MOVING)


def moved(before: list[int], after: list[int]) -> bool:
    return any(abs(x - y) > STILL_NS for x, y in zip(before, after, strict=True))


@pytest.mark.parametrize("what", FRAMES)
def test_a_frame_does_in_each_state_what_readme_says(what: str, state: str) -> None:
    verdict, after, moves = read_cell(rows()[what][p.STATE_NAMES.index(state)], state)
    _, prepare, frame = FRAMES[what]
    node = Played(state)
    prepare(node)
    before = node.pulses()
    assert frame(node) == verdict
    assert p.STATE_NAMES[node.node.control.state] == after
    if what == "STOP":
        assert node.node.running == (verdict != "taken")
        return
    if what.startswith("PLAY_RUN") and verdict == "taken":
        assert moves  # it is over, and its last pulse stands
    else:
        node.let_pass(3)
        assert moved(before, node.pulses()) == moves


@pytest.mark.parametrize("what", FRAMES)
def test_a_frame_of_a_wrong_length_does_nothing_in_any_state(what: str, state: str) -> None:
    kind, _, _ = FRAMES[what]
    node = Played(state)
    before = node.pulses()
    verdict, after, _ = read_cell(
        rows()["any kind, of a wrong length"][p.STATE_NAMES.index(state)], state
    )
    said = node.send(kind, b"\x2a" * 50)
    assert said == (verdict if kind not in (NOBODYS, p.FURTHER) else "unknown-kind")
    assert p.STATE_NAMES[node.node.control.state] == after
    assert not moved(before, node.pulses())  # no cycle has run


def test_silence_does_in_each_state_what_readme_says(state: str) -> None:
    cell = rows()["no frame for `demand_timeout_ms`"][p.STATE_NAMES.index(state)]
    _, after, moves = read_cell(cell, state)
    node = Played(state)
    node.let_pass(1)
    before = node.pulses()
    node.let_pass(110 if state == "checking" else 60)
    assert p.STATE_NAMES[node.node.control.state] == after
    assert moved(before, node.pulses()) == moves


def test_the_table_has_every_kind_that_a_node_knows_and_no_row_that_is_not_played() -> None:
    node = Played("safe").node
    known = {kind for kind in range(p.KINDS) if node.handlers[kind] is not None}
    assert known == {kind for kind, _, _ in FRAMES.values()} - {NOBODYS}
    others = {"any kind, of a wrong length", "no frame for `demand_timeout_ms`"}
    assert set(rows()) == set(FRAMES) | others
    names = {what: re.split(r"[ ,]", what)[0] for what in FRAMES}
    for what, (kind, _, _) in FRAMES.items():
        if kind not in (NOBODYS, p.FURTHER):
            assert kind == getattr(p, names[what], getattr(b, names[what], None))
    taken = {kind for kind, handler in enumerate(node.further._handlers) if handler is not None}
    further = {names[what] for what, (kind, _, _) in FRAMES.items() if kind == p.FURTHER}
    assert taken == {getattr(p, name) for name in further - {"FURTHER"}}
