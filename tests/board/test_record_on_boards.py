"""A flight recorded by a board, fetched over its line, replays here to the integer; and how the
commands tell of it.
"""

import json
from pathlib import Path
from zlib import crc32

import numpy as np
import pytest
import serial
from click.testing import CliRunner

from firmware_port.recorder import Recorder
from hil.boards.board import Board
from hil.boards.deploy import compile_for, deploy
from hil.boards.link import BAUD, Link
from hil.boards.node_on_board import serve_on
from hil.boards.open_board import open_board
from hil.commands.record import record
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink
from hil.node.record_fetch import clear, fetch, held_by
from mixer.ground.evidence.evidence import tables_of
from mixer.ground.evidence.on_page import on_page
from mixer.ground.flight_record.kept_record import kept_beside
from mixer.ground.flight_record.record_file import BLOCK_BYTES, CRC, STRIDE, read_record
from mixer.ground.flight_record.replay import replay
from mixer.ground.tables.build import flight_tables
from tests.support.recorded_flights import fly
from tests.support.unlike_vehicles import UNLIKE
from tests.support.vehicles import vehicle, vehicle_text

TABLES = flight_tables(vehicle())
CYCLES = {"laptop": 50, "ci": 150, "long": 10_000}  # of each vehicle
A_FLIGHT = {"laptop": 50, "ci": 150, "long": 150}  # which every board has room for


@pytest.mark.parametrize("name", ["quarter turns", "quick", "slow"])
def test_what_a_board_recorded_without_heap_replays_to_the_integer(
    quick_board_name: str, name: str, tmp_path: Path, size: str
) -> None:
    """Each flight is fetched and cleared before the next, since a small board holds few.

    Tables of over 1 000 words find no room beside the record on the emulated board, whose files
    lie in its memory.
    """
    tables = flight_tables(vehicle(**UNLIKE[name]))
    cycles = flight = 0
    with open_board(quick_board_name) as board, Link(board.port) as line:
        deploy(line, line.facts(), compile_for(line.facts(), record=True))
        node = NodeLink(
            line.start(
                f"from firmware_port.boards import {board.wiring} as wiring\n"
                "from firmware_port.start import rehearse\nrehearse(wiring, 'locked', True)\n"
            )
        )
        node.load_tables(tables.to_bytes())
        while cycles < CYCLES[size]:
            fly(node, tables, flight, A_FLIGHT[size])
            path = tmp_path / f"{flight}.record"
            held, _ = fetch(node, path)
            found = replay(read_record(path), tables)
            assert found.differing == 0, (flight, found.first_words)
            assert found.compared >= found.cycles > 0.5 * A_FLIGHT[size]
            clear(node, held)
            assert held_by(node).blocks == 0
            cycles += found.cycles
            flight += 1
        node.stop()


def test_a_node_in_real_time_is_fetched_by_the_command_and_again_after_a_cut(
    unix_board: Board, tmp_path: Path, campaign: None
) -> None:
    serve_on(unix_board, TABLES.to_bytes())
    out = tmp_path / "flight.record"
    arguments = ["fetch", "--board", unix_board.port, "--out", str(out), "--json"]
    with serial.serial_for_url(unix_board.port, BAUD, timeout=0.2) as line:
        node = NodeLink(line)
        node.arm()
        node.start()
        for n in range(200):
            node.demand(100_000, 1000 * n, 0, 2_000_000)
        node.disarm()
    first = CliRunner().invoke(record, arguments)
    assert first.exit_code == 0, first.output
    whole = out.read_bytes()
    out.write_bytes(whole[:2000])
    again = json.loads(CliRunner().invoke(record, [*arguments, "--clear"]).stdout)
    assert again["blocks_from_before"] > 0
    assert out.read_bytes() == whole
    found = replay(read_record(out), TABLES)
    assert (found.differing, found.cycles) == (0, again["cycles"])


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    """A folder with a vehicle file and the record of a flight with it."""
    link = NodeLink(Loopback(recorder=Recorder(200)))
    link.load_tables(TABLES.to_bytes())
    fly(link, TABLES, 1, 200)
    fetch(link, tmp_path / "flight.record")
    (tmp_path / "vehicle.toml").write_text(vehicle_text(), encoding="utf-8")
    return tmp_path


def run_replay(
    folder: Path, vehicle_file: str = "vehicle.toml", *more: str
) -> tuple[int, str, object]:
    files = [str(folder / name) for name in ("flight.record", vehicle_file, "replay.html")]
    arguments = ["replay", files[0], "--vehicle", files[1], "--report", files[2], "--json"]
    done = CliRunner().invoke(record, [*arguments, *more])
    return done.exit_code, done.stdout, done.exception


def test_a_good_record_tells_0_integers_and_what_the_flight_was(kept: Path) -> None:
    status, said, _ = run_replay(kept)
    told = json.loads(said)
    assert status == 0
    assert told["integers_that_differ"] == 0
    assert told["cycles"] >= 200
    assert set(told["vanes_behind"]) == {"1", "2", "3", "4"}
    page = (kept / "replay.html").read_text(encoding="utf-8")
    assert "0 integers differ" in page
    assert page.count("<svg") == 3
    assert told["evidence"] == json.loads(on_page(page)[0])
    assert (told["evidence"]["kind"], told["evidence"]["verdict"]) == ("record replay", "pass")
    assert told["evidence"]["tables"] == tables_of(vehicle()).model_dump()


def test_a_torn_record_is_not_called_whole_by_its_replay(kept: Path) -> None:
    path = kept / "flight.record"
    path.write_bytes(path.read_bytes()[:-7])
    status, said, _ = run_replay(kept)
    evidence = json.loads(said)["evidence"]
    assert (status, evidence["verdict"], evidence["word"]) == (0, "open", "torn")
    assert "torn: what came after is not known" in (kept / "replay.html").read_text("utf-8")


def test_evidence_of_a_record_says_whose_board_it_was_and_refuses_other_tables(kept: Path) -> None:
    read = read_record(kept / "flight.record")
    mine = kept_beside("record fetch", vehicle(), read)
    assert (mine["verdict"], mine["rehearsal"]) == ("pass", None)  # nobody told the board's name
    other = kept_beside("record fetch", vehicle(servos={"slew_deg_s": 100.0}), read)
    assert other["verdict"] == "fail" and "the record is of flight tables" in other["says"]
    read.header["board"] = "unix"
    assert kept_beside("record fetch", vehicle(), read)["rehearsal"] is True
    read.header["board"] = "rp2"
    assert kept_beside("record fetch", vehicle(), read)["rehearsal"] is False
    beside = json.loads((kept / "flight.evidence.json").read_text(encoding="utf-8"))
    assert beside["evidence"]["board"] == "rp2"


def test_one_cycle_that_was_answered_otherwise_ends_with_status_1(kept: Path) -> None:
    """The bytes are made whole again, so that only the arithmetic is in doubt."""
    path = kept / "flight.record"
    content = bytearray(path.read_bytes())
    start = (len(content) % STRIDE) + 6 * STRIDE
    content[start + 8] ^= 1  # the check of what was answered before block 7
    body = bytes(content[start : start + BLOCK_BYTES])
    content[start + BLOCK_BYTES : start + STRIDE] = CRC.pack(crc32(body))
    path.write_bytes(content)
    status, said, _ = run_replay(kept)
    told = json.loads(said)
    assert status == 1
    assert told["integers_that_differ"] == 1
    cycles_before = read_record(path).blocks[6].cycles_before
    assert told["first_cycle_that_differs"] == cycles_before


def test_angles_of_another_logger_tell_which_servo_fell_behind(kept: Path) -> None:
    """Read 2 ms after each cycle; vane 3 stands still, the others are where they were told to be.
    The logger's clock had run for 40 s."""
    found = replay(read_record(kept / "flight.record"), TABLES)
    times_s = np.cumsum(found.columns["dt_us"]) / 1e6
    rows = found.columns["deflection_mdeg"] / 1e3
    rows[:, 2] = 3.0
    log = np.column_stack((times_s - times_s[0] + 40.002, rows))
    head = "time_s,vane1_deg,vane2_deg,vane3_deg,vane4_deg"
    np.savetxt(kept / "log.csv", log, "%.4f", ",", header=head, comments="")
    angles = ("--angles", str(kept / "log.csv"))
    status, said, _ = run_replay(kept, "vehicle.toml", *angles, "--angles-began", "40")
    behind = json.loads(said)["vanes_behind"]
    assert status == 0
    assert behind["3"]["outside_its_band"] > 0.5 * behind["3"]["readings"] > 50
    assert [behind[vane]["outside_its_band"] for vane in "124"] == [0, 0, 0]
    assert "Vane 3 fell behind most often." in (kept / "replay.html").read_text(encoding="utf-8")
    _, _, error = run_replay(kept, "vehicle.toml", *angles)
    assert "no row falls within the record, 0 s to" in str(error)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("time_s\n0\n", "no angles; name at least one of vane1_deg"),
        ("time_s,vane2_deg\n0,1\n0,1\n", "line 3, column time_s: 0.0; must be later"),
        ("time_s,vane2_deg\n0,91\n", "line 2, column vane2_deg: 91.0; must be within 90"),
    ],
)
def test_angles_that_are_none_are_refused_by_their_place(
    kept: Path, text: str, message: str
) -> None:
    (kept / "log.csv").write_text(text, encoding="utf-8")
    _, _, error = run_replay(kept, "vehicle.toml", "--angles", str(kept / "log.csv"))
    assert message in str(error)


def test_another_vehicles_record_is_refused_in_words(kept: Path) -> None:
    other = vehicle_text(servos={"slew_deg_s": 100.0})
    (kept / "other.toml").write_text(other, encoding="utf-8")
    _, _, error = run_replay(kept, "other.toml")
    assert "name the vehicle file that flew" in str(error)
    assert not (kept / "replay.html").exists()
