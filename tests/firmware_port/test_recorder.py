"""The node's record: replayed it gives the same integers, whatever was told, however full."""

import re
from array import array
from pathlib import Path

import pytest

from firmware_port import protocol as p
from firmware_port import record_cycle, record_log, recorder
from firmware_port.recorder import Recorder
from hil.node.errors import BoardError
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink, numbers
from hil.node.record_fetch import clear, fetch, held_by
from mixer.flight import Steering, commands
from mixer.ground.flight_record import record_layout as r
from mixer.ground.flight_record.record_file import RecordError, read_record
from mixer.ground.flight_record.replay import Replayed, replay
from mixer.ground.tables.build import flight_tables
from tests.support.recorded_flights import fly
from tests.support.unlike_vehicles import UNLIKE
from tests.support.vehicles import vehicle

TABLES = flight_tables(vehicle())


def node_with(blocks: int) -> NodeLink:
    link = NodeLink(Loopback(recorder=Recorder(blocks)))
    link.load_tables(TABLES.to_bytes())
    return link


def replayed(link: NodeLink, path: Path) -> Replayed:
    fetch(link, path)
    return replay(read_record(path), TABLES)


@pytest.mark.parametrize("name", ["eighth turns", "unequal", "slow", "quick"])
def test_what_was_recorded_replays_to_the_integer(tmp_path: Path, size: str, name: str) -> None:
    """Four unlike vehicles: also with unequal worn vanes, and with cycles of 2 ms and 20 ms."""
    cycles = {"laptop": 150, "ci": 1250}.get(size, 100_000)
    tables = flight_tables(vehicle(**UNLIKE[name]))
    link = node_with(cycles)
    link.load_tables(tables.to_bytes())
    fly(link, tables, 1, cycles)
    path = tmp_path / "flight.record"
    fetch(link, path)
    found = replay(read_record(path), tables)
    assert found.cycles > 0.9 * cycles
    assert (found.differing, found.lost, found.skipped) == (0, 0, 0), found.first_words


def test_a_log_that_does_not_run_keeps_nothing_of_its_cycles() -> None:
    recorder, plain = Recorder(8), Steering(TABLES)
    recorder.open()
    log, words = list(recorder.log), array("i", plain.core[1])
    for each in (plain.core[1], words):
        commands.demand(each, 90_000, 0, 0)
    flags = record_cycle.recorded(words, recorder.log, 2_000_000, 5000)
    assert flags == plain.step(2_000_000, 5000)
    assert words == plain.core[1]
    assert list(recorder.log) == log


@pytest.mark.parametrize("seed", range(8))
def test_a_record_that_is_full_in_a_burn_ends_and_what_it_holds_is_right(
    tmp_path: Path, seed: int, size: str
) -> None:
    for each in range(seed * 100, seed * 100 + (1 if size == "laptop" else 5)):
        link = node_with(16)
        fly(link, TABLES, each, 330)
        path = tmp_path / f"{each}.record"
        found = replayed(link, path)
        assert found.lost > 0
        assert found.differing == 0, (each, found.first_words)
        assert found.states[-1][1] == p.SAFE


def test_on_the_pad_the_oldest_is_written_over_and_the_flight_is_kept(tmp_path: Path) -> None:
    link = node_with(40)
    fly(link, TABLES, 5, 1500, burn_at=1300)
    found = replayed(link, tmp_path / "flight.record")
    assert (found.differing, found.lost) == (0, 0)
    burning = found.columns["time_us"] > 0
    assert int(burning.sum()) >= 200
    assert not burning[:25].any()  # some of the wait is there too


def test_a_second_arming_is_recorded_behind_the_first(tmp_path: Path) -> None:
    link = node_with(200)
    fly(link, TABLES, 1, 200)
    for _ in range(40):
        link.let_pass(5000)
    fly(link, TABLES, 2, 200)
    found = replayed(link, tmp_path / "flight.record")
    assert found.differing == 0
    assert [state for _, state in found.states if state != p.LINK_LOST].count(p.SAFE) == 2


def test_a_fetch_that_was_killed_goes_on_where_it_was(tmp_path: Path) -> None:
    link = node_with(200)
    fly(link, TABLES, 1, 300)
    whole = tmp_path / "whole.record"
    held, _ = fetch(link, whole)
    content = whole.read_bytes()
    torn = tmp_path / "torn.record"

    class KilledError(Exception):
        pass

    def killed(share: float) -> None:
        if share * held.blocks >= 7:
            raise KilledError

    with pytest.raises(KilledError):
        fetch(link, torn, killed)
    with torn.open("ab") as file:
        file.write(b"\x01\x02\x03")  # of a block that was being written
    again, before = fetch(link, torn)
    assert (again, before) == (held, 6)
    assert torn.read_bytes() == content


def test_a_file_with_another_record_is_never_gone_on_with(tmp_path: Path) -> None:
    path = tmp_path / "flight.record"
    one, other = node_with(100), node_with(100)
    fly(one, TABLES, 1, 200)
    fly(other, TABLES, 2, 200)
    fetch(one, path)
    before = path.read_bytes()
    with pytest.raises(RecordError, match="another record"):
        fetch(other, path)
    assert path.read_bytes() == before


def test_an_armed_node_gives_nothing_of_its_record(tmp_path: Path) -> None:
    link = node_with(100)
    link.arm()
    link.demand(0, 0, 0, 0)
    with pytest.raises(BoardError, match="not-now"):
        fetch(link, tmp_path / "flight.record")
    with pytest.raises(BoardError, match="not-now"):
        link.ask_further(p.RECORD_CLEAR, numbers((1,)))


def test_a_cleared_record_has_all_its_room_and_new_numbers() -> None:
    link = node_with(16)
    fly(link, TABLES, 1, 400)
    held = held_by(link)
    assert held.lost
    clear(link, held)
    after = held_by(link)
    assert (after.oldest, after.newest, after.lost) == (held.newest + 1, held.newest, 0)


def test_new_tables_begin_a_new_record() -> None:
    link = node_with(100)
    fly(link, TABLES, 1, 100)
    for _ in range(100):
        link.let_pass(5000)
    for vane in range(1, 5):
        link.free(vane)
    for _ in range(100):
        link.let_pass(5000)
    link.load_tables(TABLES.to_bytes())
    assert held_by(link).blocks == 0


def test_a_record_made_with_other_tables_is_refused(tmp_path: Path) -> None:
    link = node_with(100)
    fly(link, TABLES, 1, 50)
    path = tmp_path / "flight.record"
    fetch(link, path)
    other = flight_tables(vehicle(servos={"slew_deg_s": 251.0}))
    with pytest.raises(RecordError, match=r"flight tables of CRC-32 [0-9a-f]{8}, this vehicle's"):
        replay(read_record(path), other)


def test_another_arithmetic_is_found_at_its_first_cycle(tmp_path: Path) -> None:
    """Servo tables a little apart, of a record that does not tell whose it is."""
    link = node_with(200)
    fly(link, TABLES, 1, 200, burn_at=0)
    path = tmp_path / "flight.record"
    fetch(link, path)
    record = read_record(path)
    record.header["tables_crc"] = 0
    other = flight_tables(vehicle(servos={"us_per_deg": 10.001}))
    found = replay(record, other)
    assert found.differing > 0
    assert found.first_cycle is not None
    assert found.first_cycle <= 3


def test_the_numbers_on_the_board_are_those_of_the_record() -> None:
    text = Path(str(recorder.__file__)).read_text(encoding="utf-8")
    consts = dict(re.findall(r"^_([A-Z_]+) = const\((\w+)\)", text, re.MULTILINE))
    for name, ours in (
        ("STATE", r.STATE),
        ("TOLD", r.TOLD),
        ("COUNTS", r.COUNTS),
        ("TOLD_WORDS", r.TOLD_WORDS),
    ):
        assert int(consts[name], 0) == ours, name
    board = record_cycle
    assert (record_log.BLOCK_WORDS, record_log.LOG_STATE_KIND) == (r.BLOCK_WORDS, r.WORDS)
    assert (board.KEPT_READING, board.KEPT_WIDE) == (r.READING, r.WIDE)
    assert board.KEPT_WATCH == r.TOLD | r.WATCH << 4
    assert (board.SHORT_WORDS, board.WIDE_WORDS) == (r.CYCLE_WORDS, r.WIDE_WORDS)
    bits = (board.KEPT_PRESSURE_BITS, board.KEPT_DT_BITS)
    bits += (board.KEPT_MOMENT_BITS, board.KEPT_ROLL_BITS)
    assert bits == (r.PRESSURE_BITS, r.DT_BITS, r.MOMENT_BITS, r.ROLL_BITS)
    assert (p.JAM, p.FREE, p.BURN, p.START, p.SEE) == (r.JAM, r.FREE, r.START, r.BEGIN, r.TRUST)
