"""The test vectors and worked frames for who writes a flight computer's end of the line."""

import json
import re
from zlib import crc32

import pytest

from firmware_port import protocol as p
from firmware_port.frames import cobs_decode, cobs_encode, crc16
from hil.node.node_link import parse_answer, read_cycle, wire_frame
from tests.tools.frame_vectors import CHECK, CYCLE, FILE, REQUESTS, text

VECTORS = json.loads(FILE.read_text(encoding="utf-8"))
PAGE = (FILE.parent / "FRAMES.md").read_text(encoding="utf-8")
BY_NAME = {exchange["name"]: exchange for exchange in VECTORS["exchanges"]}


def test_the_file_is_what_a_node_answers_now() -> None:
    """Where this fails on purpose, `python -m tests.tools.frame_vectors` writes it anew."""
    assert FILE.read_text(encoding="utf-8") == text()


def test_the_crc_of_the_catalogue_s_check_is_among_them() -> None:
    """CRC-16/IBM-3740 of "123456789" is 29b1 (catalogue of parametrised CRC algorithms)."""
    assert {"data": CHECK.hex(), "crc": "29b1"} in VECTORS["crc"]


@pytest.mark.parametrize("vector", VECTORS["crc"], ids=lambda vector: vector["crc"])
def test_the_codec_gives_each_crc(vector: dict[str, str]) -> None:
    data = bytes.fromhex(vector["data"])
    assert f"{crc16(data, len(data)):04x}" == vector["crc"]


@pytest.mark.parametrize("vector", VECTORS["cobs"], ids=lambda vector: vector["wire"][:8])
def test_the_codec_gives_each_cobs_frame_both_ways(vector: dict[str, str]) -> None:
    data, wire = bytes.fromhex(vector["data"]), bytes.fromhex(vector["wire"])
    out = bytearray(len(data) + 2)
    assert bytes(out[: cobs_encode(data, len(data), out)]) == wire
    back = bytearray(wire)
    assert bytes(back[: cobs_decode(back, len(back))]) == data


@pytest.mark.parametrize("exchange", VECTORS["exchanges"], ids=lambda exchange: exchange["name"])
def test_a_flight_computer_s_end_sends_and_reads_each_exchange(exchange: dict) -> None:
    body = bytes.fromhex(exchange["request"]["body"])
    assert (
        wire_frame(body[0] & 31, exchange["sequence"], body[p.HEADER :]).hex()
        == (exchange["request"]["wire"])
    )
    answer = parse_answer(bytes.fromhex(exchange["answer"]["wire"])[:-1])
    assert answer is not None
    assert p.STATE_NAMES[answer.state] == exchange["state"]
    assert p.VERDICT_NAMES[answer.verdict] == exchange["verdict"]


def test_a_stated_cycle_reads_back_from_its_answer() -> None:
    answer = parse_answer(bytes.fromhex(VECTORS["answer"]["wire"])[:-1])
    assert answer is not None and answer.state == p.ARMED
    cycle = read_cycle(answer.contents)
    assert cycle.flags == CYCLE["flags"]
    for name in ("deflection_mdeg", "pulse_ns", "moment_mnm"):
        assert list(getattr(cycle, name)) == CYCLE[name]
    assert cycle.cost == CYCLE["cost"]


def test_every_request_of_the_protocol_has_a_vector_and_arming_works_in_them() -> None:
    assert {name for name, _, _, _ in REQUESTS} == set(BY_NAME)
    assert BY_NAME["ARM"]["state"] == "armed"
    assert BY_NAME["TABLES_COMMIT"]["verdict"] == "bad-tables"


def test_the_page_s_worked_frames_are_those_of_the_file() -> None:
    """Each `name: bytes` line in a block is a wire of the file; rows of a table add up to it."""
    wires = dict(re.findall(r"^    (\w+ (?:sent|told)): ([0-9a-f ]+)$", PAGE, re.MULTILINE))
    assert len(wires) >= 6
    for label, shown in wires.items():
        name, way = label.split()
        side = "request" if way == "sent" else "answer"
        exchange = next(e for e in VECTORS["exchanges"] if e["name"] == name)
        assert shown.replace(" ", "") == exchange[side]["wire"], label
    for section in PAGE.split("\n## ")[1:]:
        rows = re.findall(r"^\| `([0-9a-f ]+)` \|", section, re.MULTILINE)
        if rows:
            first = re.search(r"^    \w+ \w+: ([0-9a-f ]+)$", section, re.MULTILINE)
            assert first and "".join(rows).replace(" ", "") == first[1].replace(" ", "")


def test_the_page_names_the_crc_of_tables_as_python_has_it() -> None:
    assert f"{crc32(CHECK):08x}" in PAGE  # CRC-32/ISO-HDLC, check value cbf43926


def test_the_page_tells_of_every_further_kind_by_its_number() -> None:
    rows = re.findall(r"^\| (\d+) \| ([A-Z_]+) \|", PAGE, re.MULTILINE)
    further = {
        exchange["name"]: int(exchange["request"]["body"][2 * p.HEADER :][:2], 16)
        for exchange in VECTORS["exchanges"]
        if exchange["request"]["body"].startswith("40") and exchange["name"] != "FURTHER"
    }
    assert {name: int(number) for number, name in rows} == further
    assert all(getattr(p, name) == number for name, number in further.items())
