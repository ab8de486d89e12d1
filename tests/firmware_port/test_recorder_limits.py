"""The node's record at its ends: no memory, no room, no such block, a line that falls silent."""

import gc
from array import array
from collections.abc import Sequence
from pathlib import Path

import pytest

from firmware_port import protocol as p
from firmware_port import record_cycle, record_log, recorder
from firmware_port.control import Control
from firmware_port.paced import PacedClock
from firmware_port.record_log import BLOCK_WORDS
from firmware_port.recorder import Recorder
from hil.node.answers import Answer
from hil.node.errors import BoardError
from hil.node.loopback import Loopback, NoMeter, Pulses
from hil.node.node_link import NodeLink, numbers
from hil.node.record_fetch import fetch, held_by
from mixer.flight import Steering, commands
from mixer.flight import layout as at
from mixer.ground.flight_record import record_layout as r
from mixer.ground.flight_record.entries import Block, Counts, Cycle, Told, read_block
from mixer.ground.flight_record.record_file import read_record
from mixer.ground.flight_record.replay import replay
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

TABLES = flight_tables(vehicle())
LOG_HEAD = 15  # words
FULL = 150  # cycles of a burn, more than LEAST blocks hold
LEAST = 8  # blocks that are worth a record


def node_with(blocks: int) -> NodeLink:
    link = NodeLink(Loopback(recorder=Recorder(blocks)))
    link.load_tables(TABLES.to_bytes())
    return link


def demands(link: NodeLink, cycles: int) -> list[Answer]:
    return [link.demand(90_000, -40_000, 1000, 0) for _ in range(cycles)]


def fall_silent(link: NodeLink) -> None:
    for _ in range(100_000 // 5000 + 2):
        link.let_pass(5000)


def states(link: NodeLink, path: Path) -> list[int]:
    """The states that the record tells, once it has replayed to the integer."""
    fetch(link, path)
    found = replay(read_record(path), TABLES)
    assert found.differing == 0, found.first_words
    return [state for _, state in found.states]


# ---- memory --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("whole", "room"), [(16, 16), (15, 12), (12, 12), (11, 9), (9, 9), (8, 0), (0, 0)]
)
def test_where_memory_is_in_pieces_three_quarters_are_tried_down_to_the_least(
    monkeypatch: pytest.MonkeyPatch, whole: int, room: int
) -> None:
    def scarce(code: str, values: Sequence[int]) -> array:
        if len(values) > LOG_HEAD + whole * BLOCK_WORDS:
            raise MemoryError
        return array(code, values)

    recording = Recorder(16)
    monkeypatch.setattr(recorder, "array", scarce)
    recording.open()
    assert recording.blocks == room
    assert len(recording.log) == LOG_HEAD + room * BLOCK_WORDS


@pytest.mark.parametrize(
    ("free_bytes", "room"),
    [
        (4096 + 4 * BLOCK_WORDS * 100, 100),
        (4096 + 4 * BLOCK_WORDS * 100 - 1, 99),
        (4096 + 4 * BLOCK_WORDS * LEAST - 1, 0),
        (1000, 0),
        (8_000_000, 2048),
    ],
)
def test_a_board_s_free_memory_becomes_the_record_but_for_4_kib(
    monkeypatch: pytest.MonkeyPatch, free_bytes: int, room: int
) -> None:
    monkeypatch.setattr(gc, "mem_free", lambda: free_bytes, raising=False)
    recording = Recorder()
    recording.open()
    assert recording.blocks == room


def test_a_node_without_memory_for_a_record_flies_the_same_and_holds_nothing() -> None:
    without, recording = node_with(LEAST - 1), node_with(LEAST)
    for link in (without, recording):
        link.arm()
    assert demands(without, 30) == demands(recording, 30)
    for link in (without, recording):
        link.disarm()
    held = held_by(without)
    assert (held.room, held.blocks, held.cycles) == (0, 0, 0)
    assert held_by(recording).cycles >= 30


# ---- states --------------------------------------------------------------------------------------


def test_a_line_that_falls_silent_is_told_in_the_record(tmp_path: Path) -> None:
    link = node_with(50)
    link.arm()
    demands(link, 5)
    fall_silent(link)
    demands(link, 5)
    link.disarm()
    told = states(link, tmp_path / "flight.record")
    assert told == [p.ARMED, p.LINK_LOST, p.ARMED, p.SAFE]


def test_what_a_node_is_told_between_cycles_stands_in_its_record_as_it_was_told(
    tmp_path: Path,
) -> None:
    """On a silent line all of it is taken."""
    link = node_with(50)
    link.arm()
    demands(link, 5)
    fall_silent(link)
    link.jam(2, -3000)
    link.free(3)
    link.burn(7_000_000, 6_000_000)
    link.burn(0, 5_000_000)
    link.start()
    link.watch(False)
    link.watch(True)
    link.see([p.NO_ANGLE] * 4, followed=0b101)
    link.disarm()
    path = tmp_path / "flight.record"
    assert states(link, path) == [p.ARMED, p.LINK_LOST, p.SAFE]
    assert [each for each in read_record(path).entries if isinstance(each, Told)] == [
        Told(r.JAM, 2, -3000),
        Told(r.FREE, 3, 0),
        Told(r.START, 7_000_000, 6_000_000),
        Told(r.START, 0, 5_000_000),
        Told(r.BEGIN, 0, 0),
        Told(r.WATCH, at.WATCH_OFF, 0),
        Told(r.WATCH, at.WATCH_WAITING, 0),
        Told(r.TRUST, 0b101, 0),
    ]


def test_a_node_s_record_counts_the_frames_that_came_damaged(tmp_path: Path) -> None:
    link = node_with(50)
    link.arm()
    for _ in range(3):
        link.stream.write(b"\x02damaged\0")
    link.disarm()
    path = tmp_path / "flight.record"
    fetch(link, path)
    counts = [each for each in read_record(path).entries if isinstance(each, Counts)]
    assert [each.values[p.DAMAGED] for each in counts] == [0, 3]


def test_arming_again_on_a_silent_line_goes_on_with_the_record(tmp_path: Path) -> None:
    link = node_with(50)
    link.arm()
    demands(link, 5)
    fall_silent(link)
    link.arm()
    link.disarm()
    path = tmp_path / "flight.record"
    assert states(link, path) == [p.ARMED, p.LINK_LOST, p.ARMED, p.SAFE]
    counts = [each for each in read_record(path).entries if isinstance(each, Counts)]
    assert len(counts) == 2  # one at its begin, one at its end


def test_a_full_record_leaves_out_a_silent_line_but_not_its_end(tmp_path: Path) -> None:
    link = node_with(LEAST)
    link.arm()
    link.start()
    demands(link, FULL)
    fall_silent(link)
    assert held_by(link).lost
    link.disarm()
    # That it was armed stood before the snapshot which everything is kept from.
    assert states(link, tmp_path / "flight.record") == [p.SAFE]


def test_the_end_of_a_record_fits_behind_a_block_that_cycles_have_filled(tmp_path: Path) -> None:
    """Behind a block's head is room for 14 entries of a cycle and one word."""
    link = node_with(LEAST)
    link.arm()
    link.start()
    demands(link, FULL)
    link.disarm()
    path = tmp_path / "flight.record"
    assert states(link, path)[-1] == p.SAFE
    last = read_record(path).blocks[-1]
    assert len(last.entries) == (r.BLOCK_WORDS - r.FIRST) // r.CYCLE_WORDS + 1


def test_a_control_without_a_node_records_its_counters_as_they_are() -> None:
    recording = Recorder(LEAST)
    control = Control(Pulses(), PacedClock(), NoMeter(), TABLES, None, recording)
    control.counters[p.DAMAGED] = 7
    control.arm()
    control.make_safe()
    starts = [recording.start_of(number) for number in range(1, recording.newest + 1)]
    blocks = [read_block(recording.log[start : start + BLOCK_WORDS]) for start in starts]
    counts = [each for block in blocks for each in block.entries if isinstance(each, Counts)]
    assert [each.values[p.DAMAGED] for each in counts] == [7, 7]


def begun(blocks: int) -> tuple[Recorder, array]:
    """A record that runs, and a steering's words whose burn has begun."""
    recording, words = Recorder(blocks), array("i", Steering(TABLES).core[1])
    recording.open()
    recording.begin(words, [0] * p.COUNTER_COUNT)
    commands.begin(words)
    return recording, words


def blocks_of(recording: Recorder) -> list[Block]:
    starts = map(recording.start_of, range(recording.oldest, recording.newest + 1))
    return [read_block(recording.log[start : start + BLOCK_WORDS]) for start in starts]


def test_each_block_tells_the_cycles_before_it_and_the_lost_are_those_without_an_entry() -> None:
    recording, words = begun(LEAST)
    for _ in range(FULL):
        commands.demand(words, 90_000, -40_000, 1000)
        record_cycle.recorded(words, recording.log, 0, 5000)
    recording.end(words, [0] * p.COUNTER_COUNT)
    kept = 0
    for block in blocks_of(recording):
        assert block.cycles_before == kept
        kept += sum(isinstance(entry, Cycle) for entry in block.entries)
    assert 0 < kept < FULL
    assert (recording.cycles, recording.lost) == (FULL, FULL - kept)


@pytest.mark.parametrize("snapshot", [0, 1])
def test_a_watch_that_begins_by_readings_that_say_nothing_is_told_once(snapshot: int) -> None:
    """By a snapshot that comes between, or by an entry."""
    recording, words = begun(LEAST)
    for n in range(3):
        commands.sensed(words, *[at.NO_READING] * at.VANES)
        if n == 0 and snapshot:
            record_log.snapshot(words, recording.log)
        record_cycle.recorded(words, recording.log, 0, 5000)
    recording.end(words, [0] * p.COUNTER_COUNT)
    entries = [entry for block in blocks_of(recording) for entry in block.entries]
    told = [entry for entry in entries if isinstance(entry, Told)]
    assert told == ([] if snapshot else [Told(r.WATCH, at.WATCH_ON, 0)])


# ---- requests ------------------------------------------------------------------------------------


def gone_round() -> NodeLink:
    """A node whose oldest blocks have been written over, on the pad."""
    link = node_with(LEAST)
    link.arm()
    demands(link, 100)
    link.disarm()
    assert held_by(link).oldest > 1
    return link


@pytest.mark.parametrize("behind", [(), (0,)], ids=["block", "piece"])
def test_a_block_that_is_not_held_is_out_of_range(behind: tuple[int, ...]) -> None:
    link = gone_round()
    held = held_by(link)
    kind = p.RECORD_PIECE if behind else p.RECORD_BLOCK
    for number in (-1, 0, held.oldest - 1, held.newest + 1):
        with pytest.raises(BoardError, match="out-of-range"):
            link.ask_further(kind, numbers((number, *behind)))
    for number in (held.oldest, held.newest):
        link.ask_further(kind, numbers((number, *behind)))


@pytest.mark.parametrize("piece", [-1, r.BLOCK_WORDS // p.RECORD_WORDS, 100])
def test_a_piece_that_a_block_does_not_have_is_out_of_range(piece: int) -> None:
    link = gone_round()
    with pytest.raises(BoardError, match="out-of-range"):
        link.ask_further(p.RECORD_PIECE, numbers((held_by(link).newest, piece)))


@pytest.mark.parametrize("beside", [-1, 1])
def test_a_record_is_not_cleared_by_the_number_of_another_block(beside: int) -> None:
    link = gone_round()
    held = held_by(link)
    with pytest.raises(BoardError, match="out-of-range"):
        link.ask_further(p.RECORD_CLEAR, numbers((held.newest + beside,)))
    assert held_by(link) == held
