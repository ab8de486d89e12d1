"""Branches that only a refusal, a lack or a fault of the board takes, one each."""

import errno
import os
from pathlib import Path
from zlib import crc32

import pytest

from firmware_port import protocol as p
from firmware_port import table_loading, table_store
from firmware_port.bench import protocol as b
from firmware_port.bench.motion import Bench
from firmware_port.table_store import TableStore
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink, demand_contents, numbers, read_numbers, wire_frame
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

TABLES = flight_tables(vehicle())
BLOB = TABLES.to_bytes()


class Setup:
    """A node in this process with a bench, with tables or without."""

    def __init__(self, store: TableStore | None = None, tables: bool = True):
        self.loop = Loopback(store=store)
        self.node = self.loop.node
        self.bench = Bench(self.node)
        self.link = NodeLink(self.loop)
        if tables:
            self.link.load_tables(BLOB)

    def said(self, kind: int, contents: bytes = b"") -> str:
        return p.VERDICT_NAMES[self.link.request(kind, contents).verdict]

    def send_tables(self) -> None:
        """All but the commit."""
        crc = crc32(BLOB)
        self.said(p.TABLES_BEGIN, numbers((len(BLOB), crc >> 16, crc & 0xFFFF)))
        for start in range(0, len(BLOB), p.PIECE):
            self.said(p.TABLES_PIECE, numbers((start,)) + BLOB[start : start + p.PIECE])


@pytest.fixture
def setup() -> Setup:
    return Setup()


@pytest.fixture
def bare() -> Setup:
    return Setup(tables=False)


@pytest.mark.parametrize(
    ("kind", "contents"),
    [
        (p.DEMAND, demand_contents(0, 0, 0, 0)),
        (p.JAM, numbers((1, 0))),
        (p.FREE, numbers((1,))),
        (p.BURN, numbers((0, 0), 4)),
        (p.FORCES, b""),
        (p.FURTHER, bytes((p.WATCH,)) + numbers((0,))),
        (p.FURTHER, bytes((p.WATCHED,))),
        (p.SEE, numbers((0, 0, 0, 0, 0))),
        (b.MOVE, numbers((1, 1_500_000, 1000))),
    ],
)
def test_a_node_without_tables_says_so(bare: Setup, kind: int, contents: bytes) -> None:
    assert bare.said(kind, contents) == "no-tables"


def test_a_node_without_tables_runs_its_cycles_and_commits_its_first(bare: Setup) -> None:
    bare.link.request(p.PASS, numbers((5000,)))
    bare.link.load_tables(BLOB)
    assert bare.node.control.counters[p.CYCLES] == 1


@pytest.mark.parametrize(
    ("kind", "contents"),
    [
        (p.COUNTERS, numbers((-1,))),
        (p.COUNTERS, numbers((p.COUNTER_COUNT,))),
        (p.BURN, numbers((-1, 0), 4)),
        (p.BURN, numbers((0, -1), 4)),
        (p.PACE, numbers((0, 0))),
        (p.FURTHER, bytes((p.WATCH,)) + numbers((2,))),
        (p.FURTHER, bytes((p.WATCH,)) + numbers((-1,))),
        (p.PASS, numbers((0,))),
        (b.PLAY_BEGIN, numbers((1, 10, 100))),
        (b.PLAY_DATA, numbers((0, 0))),
    ],
)
def test_a_number_out_of_range_is_refused(setup: Setup, kind: int, contents: bytes) -> None:
    assert setup.said(kind, contents) == "out-of-range"


def test_the_counters_end_with_a_page_that_is_not_full(setup: Setup) -> None:
    answer = setup.link.ask(p.COUNTERS, numbers((p.COUNTER_COUNT - 1,)))
    assert len(read_numbers(answer.contents)) == 1


def test_a_bench_waits_until_the_vanes_rest(setup: Setup) -> None:
    setup.link.arm()
    setup.link.demand(900_000, 0, 0, 2_000_000)
    setup.link.disarm()
    setup.link.let_pass(5000)
    assert setup.said(b.MOVE, numbers((1, 1_500_000, 1000))) == "not-now"


def test_a_node_at_its_bench_is_not_armed(setup: Setup) -> None:
    assert setup.said(b.MOVE, numbers((1, 1_600_000, 1000))) == "taken"
    token = setup.link.ask(p.ASK).contents
    assert setup.said(p.ARM, token) == "not-now"


def test_a_commit_waits_for_vanes_that_move_or_are_declared_jammed(setup: Setup) -> None:
    setup.send_tables()
    setup.link.jam(2, 3000)
    setup.link.let_pass(5000)
    assert setup.said(p.TABLES_COMMIT) == "not-now"
    setup.link.free(2)
    assert setup.said(b.MOVE, numbers((1, 1_600_000, 1000))) == "not-now"  # not at rest yet


def test_tables_that_leave_no_room_for_a_steering_are_refused(
    setup: Setup, monkeypatch: pytest.MonkeyPatch
) -> None:
    setup.send_tables()
    steering = setup.node.control.steering

    def full(tables: object, *, copy: bool) -> None:
        raise MemoryError

    monkeypatch.setattr(table_loading, "Steering", full)
    assert setup.said(p.TABLES_COMMIT) == "no-room"
    assert setup.node.control.steering is steering


@pytest.mark.parametrize("place", ["begin", "check"])
def test_a_board_without_room_for_a_set_says_so(
    monkeypatch: pytest.MonkeyPatch, place: str
) -> None:
    store = TableStore(None)

    def full(*args: object) -> None:
        raise MemoryError

    if place == "begin":
        monkeypatch.setattr(table_store, "bytearray", full, raising=False)
        assert store.begin(100, 0, 0) == p.NO_ROOM
        return
    crc = crc32(BLOB)
    store.begin(len(BLOB), crc >> 16, crc & 0xFFFF)
    store.piece(0, BLOB, 0, len(BLOB))
    monkeypatch.setattr(table_store.FlightTables, "from_bytes", full)
    assert store.check() == p.NO_ROOM


def test_a_right_crc_over_what_are_no_tables_is_refused() -> None:
    store = TableStore(None)
    blob = b"no flight tables at all"
    store.begin(len(blob), crc32(blob) >> 16, crc32(blob) & 0xFFFF)
    store.piece(0, blob, 0, len(blob))
    assert store.check() == p.BAD_TABLES


def test_tables_that_cannot_be_stored_do_not_fly(tmp_path: Path) -> None:
    setup = Setup(TableStore(str(tmp_path / "nowhere" / "tables.bin")), tables=False)
    setup.send_tables()
    assert setup.said(p.TABLES_COMMIT) == "not-stored"
    assert setup.node.control.steering is None


def test_storage_that_renames_onto_nothing_is_cleared_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """FAT."""
    rename = os.rename

    def fat(old: str, new: str) -> None:
        if os.path.exists(new):
            raise OSError(errno.EEXIST, "exists")
        rename(old, new)

    monkeypatch.setattr(table_store.os, "rename", fat)
    path = tmp_path / "tables.bin"
    path.write_bytes(b"old")
    Setup(TableStore(str(path)))
    assert path.read_bytes() == BLOB


def test_tables_are_refused_from_the_first_arming_on_where_storing_them_would_take_too_long(
    tmp_path: Path,
) -> None:
    class Runs:
        runs = False

        def feed(self, armed: bool) -> None:
            self.runs = self.runs or armed

    setup = Setup(TableStore(str(tmp_path / "tables.bin")))
    setup.node.watchdog = Runs()
    setup.link.load_tables(BLOB)
    setup.send_tables()
    setup.link.arm()
    setup.link.demand(0, 0, 0, 2_000_000)
    setup.link.disarm()
    setup.link.let_pass(5000)
    setup.link.let_pass(5000)
    assert setup.said(p.TABLES_BEGIN, numbers((100, 1, 2))) == "not-now"
    assert setup.said(p.TABLES_COMMIT) == "not-now"
    in_memory = Setup(TableStore(None))
    in_memory.node.watchdog = setup.node.watchdog
    in_memory.link.load_tables(BLOB)


# ---- recordings ----------------------------------------------------------------------------------


def begun(setup: Setup, count: int = 4) -> Setup:
    assert setup.said(b.PLAY_BEGIN, numbers((1, count, 1000))) == "taken"
    return setup


def test_a_recording_without_room_is_refused_and_gives_its_memory_back(
    setup: Setup, monkeypatch: pytest.MonkeyPatch
) -> None:
    from firmware_port.bench import play as bench_play

    made = bench_play.array

    def full(kind: str, *content: bytes):
        if content:
            raise MemoryError
        return made(kind)

    monkeypatch.setattr(bench_play, "array", full)
    assert setup.said(b.PLAY_BEGIN, numbers((1, 10, 1000))) == "no-room"
    monkeypatch.undo()
    assert setup.said(b.PLAY_RUN) == "out-of-order"


@pytest.mark.parametrize("unit", [-1, b.NO_COUNT])
def test_a_pulse_that_no_recording_holds_is_refused(setup: Setup, unit: int) -> None:
    assert begun(setup).said(b.PLAY_FILL, numbers((0, 4, unit))) == "out-of-range"


def test_a_piece_that_does_not_come_next_or_does_not_fit_is_refused(setup: Setup) -> None:
    pulses = (30_000).to_bytes(2, "little")
    assert setup.said(b.PLAY_PIECE, numbers((0,)) + pulses) == "not-now"  # no bench at work
    begun(setup)
    assert setup.said(b.PLAY_PIECE, numbers((1,)) + pulses) == "out-of-order"
    assert setup.said(b.PLAY_PIECE, numbers((0,)) + 5 * pulses) == "out-of-range"


def test_a_recording_is_ended_by_whatever_frame_comes(setup: Setup) -> None:
    class Fed:
        runs = False
        fed = 0

        def feed(self, armed: bool = False) -> None:
            self.fed += 1

    begun(setup)
    setup.said(b.PLAY_FILL, numbers((0, 4, 30_000)))
    setup.node.watchdog = Fed()
    answer = setup.link.ask(b.PLAY_RUN)
    assert read_numbers(answer.contents) == (4,)
    assert setup.node.watchdog.fed >= 4
    takes = setup.node.receiver.take
    setup.node.receiver.take = lambda: takes() or 3 * bool(setup.node.watchdog.fed > fed)
    fed = setup.node.watchdog.fed
    assert setup.bench._play._play() == 1


# ---- rare turns ----------------------------------------------------------------------------------


def test_a_demand_that_a_newer_one_replaces_before_its_cycle_is_counted(setup: Setup) -> None:
    setup.node.control.at_once = False
    setup.loop.clock.pace_us = 1
    for sequence in (700, 701):
        setup.loop.write(wire_frame(p.DEMAND, sequence, demand_contents(0, 0, 0, 0)))
    assert setup.node.control.counters[p.OVERTAKEN] == 1


def test_a_token_that_is_not_the_one_given_does_not_disarm(setup: Setup) -> None:
    setup.link.arm()
    token = read_numbers(setup.link.ask(p.ASK).contents)[0]
    assert setup.said(p.DISARM, numbers((token ^ 1,))) == "wrong-token"
    assert setup.node.control.state == p.ARMED


def test_a_piece_beyond_the_end_of_its_set_is_refused(setup: Setup) -> None:
    setup.said(p.TABLES_BEGIN, numbers((10, 1, 2)))
    assert setup.said(p.TABLES_PIECE, numbers((0,)) + bytes(11)) == "out-of-range"


def test_a_node_runs_until_it_is_told_to_stop_and_its_pulses_end_then(setup: Setup) -> None:
    setup.link.let_pass(5000)
    assert setup.loop.outputs.pulse_ns
    setup.loop.line.to_node += wire_frame(p.STOP, 800)
    setup.node.run()
    assert setup.loop.outputs.pulse_ns == []


class RunningClock:
    """Time that goes on by itself, a little at every look."""

    def __init__(self) -> None:
        self.now_us = 0

    def now(self) -> int:
        self.now_us += 130
        return self.now_us

    def between(self, then: int, now: int) -> int:
        return now - then

    def since(self, then: int) -> int:
        return self.now() - then


def test_a_recording_in_real_time_waits_for_each_pulse_s_turn() -> None:
    loop = Loopback(clock=RunningClock())
    Bench(loop.node)
    link = NodeLink(loop)
    for _ in range(100):
        loop.turn()
    link.load_tables(BLOB)
    link.ask(b.PLAY_BEGIN, numbers((1, 5, 2000)))
    link.ask(b.PLAY_FILL, numbers((0, 5, 30_000)))
    began_us = loop.clock.now_us
    assert read_numbers(link.ask(b.PLAY_RUN).contents) == (5,)
    assert 10_000 <= loop.clock.now_us - began_us < 13_000
    beyond = link.request(b.PLAY_DATA, numbers((b.PULSES, 5)))
    assert p.VERDICT_NAMES[beyond.verdict] == "out-of-range"


def test_new_tables_forget_what_was_declared_of_the_old_ones(setup: Setup) -> None:
    control = setup.node.control
    control.pulses.part(control.steering, 2)
    setup.link.let_pass(5000)
    control.pulses.part(control.steering, 2)
    control.fly(control.steering)
    neutral_ns = control.pulses.pulse_ns[1]
    control.steering.demand(200_000, 0, 0)
    control.steering.step(2_000_000, 5000)
    control.pulses.follow(control.steering, 5000, False)  # one that is led would stay at neutral
    assert control.pulses.pulse_ns[1] == control.steering.pulse_ns[1] != neutral_ns
