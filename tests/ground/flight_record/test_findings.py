"""What a replayed record tells of a flight: late cycles, silence, bad frames, doubted pressure."""

from pathlib import Path
from typing import Any

import pytest

from firmware_port import protocol as p
from firmware_port.recorder import Recorder
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink, demand_contents, wire_frame
from hil.node.record_fetch import fetch
from mixer.ground.flight_record.findings import facts
from mixer.ground.flight_record.record_file import header_bytes, read_record
from mixer.ground.flight_record.replay import replay
from mixer.ground.flight_record.report import page
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

VEHICLE = vehicle(engine={"believed_pressure": [0.5, 1.5]})
TABLES = flight_tables(VEHICLE)
REFERENCE_PA = 2_000_000
PACE_US = 5000


def flown(path: Path) -> dict[str, Any]:
    """A burn with one of everything: what its record tells."""
    loop = Loopback(recorder=Recorder(100))
    link = NodeLink(loop)
    link.load_tables(TABLES.to_bytes())
    link.burn(0, 3_000_000)
    link.arm()
    link.start()
    slips = -link.counters()["slips"]
    demands = [(100_000, 0, 0, REFERENCE_PA)] * 100
    demands[60:70] = [(100_000, 0, 0, 3 * REFERENCE_PA)] * 10  # doubted
    for n, demand in enumerate(demands):
        if n == 20:
            link.pace(3 * PACE_US)
        if n == 23:
            link.pace(PACE_US)
        if n == 40:
            wire = bytearray(wire_frame(p.DEMAND, 9, demand_contents(*demand)))
            wire[5] ^= 0x10
            loop.write(bytes(wire))
        if n == 41:
            loop.write(wire_frame(p.DEMAND, link.sequence, demand_contents(*demand)))  # repeated
        link.demand(*demand)
        if n == 80:
            for _ in range(30):
                link.let_pass(PACE_US)
    slips += link.counters()["slips"]
    link.disarm()
    fetch(link, path)
    found = replay(read_record(path), TABLES)
    assert found.differing == 0, found.first_words
    assert "0 integers differ" in page("invented", found, facts(found, TABLES), TABLES)
    return {"slips": slips, **facts(found, TABLES)}


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    return flown(tmp_path_factory.mktemp("record") / "flight.record")


def test_cycles_that_came_late_are_counted_as_the_node_counts_them(told: dict[str, Any]) -> None:
    """Three by the pace, and one that the repeated frame, which begins no cycle, took time of."""
    assert told["late_cycles"] == told["slips"] == 4
    assert told["longest_cycle_ms"] == 15.0


def test_silence_and_a_lost_link_are_told(told: dict[str, Any]) -> None:
    assert told["longest_silence_ms"] == 150.0
    assert told["times_link_lost"] == 1


def test_damaged_and_refused_frames_are_counted(told: dict[str, Any]) -> None:
    assert told["frames_damaged"] == 1
    assert told["frames_refused"] == {"repeated": 1}


def test_doubted_pressure_is_counted(told: dict[str, Any]) -> None:
    assert told["doubted_pressure_cycles"] == 10


def test_the_wear_that_was_believed_is_told(told: dict[str, Any]) -> None:
    """Three seconds before and less than one of this burn, from 1 to 0.98 in 13 s."""
    expected = 1.0 - 0.02 * told["burn_load_s"] / 13.0
    assert told["effectiveness"] == pytest.approx([expected] * 4, abs=2e-4)
    assert 3.0 < told["burn_load_s"] < 4.0


def test_burns_told_while_the_link_is_lost_replay_too(tmp_path: Path) -> None:
    link = NodeLink(Loopback(recorder=Recorder(100)))
    link.load_tables(TABLES.to_bytes())
    link.arm()
    for burn in ((5_000_000, 4_000_000), (0, 6_000_000)):
        for n in range(30):
            link.demand(100_000, 5000 * n, 0, REFERENCE_PA)
        for _ in range(3):
            link.let_pass(60_000)
        link.burn(*burn)
    link.demand(0, 0, 0, REFERENCE_PA)
    link.disarm()
    path = tmp_path / "flight.record"
    fetch(link, path)
    found = replay(read_record(path), TABLES)
    assert (found.differing, found.cycles) == (0, 67), found.first_words


def test_a_record_of_no_cycle_has_a_page_too(tmp_path: Path) -> None:
    path = tmp_path / "flight.record"
    path.write_bytes(header_bytes({"source": "node", "tables_crc": 0, "board": ""}))
    found = replay(read_record(path), TABLES)
    assert "Nothing could be compared" in page("invented", found, facts(found, TABLES), TABLES)
