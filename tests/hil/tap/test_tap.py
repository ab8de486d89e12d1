"""The tap: what passes on the line is heard as it was said, whole, matched and in order."""

import os
import pty
import time
import tty
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firmware_port import protocol as p
from hil.node.errors import BoardError
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink, demand_contents, read_cycle, wire_frame
from hil.tap.exchanges import EARLY_S, WAITING_MOST, Pairing
from hil.tap.frames_heard import HeardFrame, Wire
from hil.tap.heard_csv import COLUMNS, write_heard
from hil.tap.kept_bytes import KeptBytes, read_kept
from hil.tap.listener import Listener, TappedStream, heard_again, silence
from hil.tap.serial_wires import listening
from mixer.ground.inputs.csv_files import InputError
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

TABLES = flight_tables(vehicle()).to_bytes()
DEMANDS = [(1000 * k, -700 * k, 10 * k, 2_000_000 - k) for k in range(1, 30)]


class Times:
    """A clock that goes on by 5 ms each time it is read."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def __call__(self) -> float:
        self.now_s = round(self.now_s + 0.005, 6)
        return self.now_s


class Chunks(Listener):
    """A listener that also tells how the bytes came: wire, bytes, time."""

    def __init__(self) -> None:
        super().__init__(2)
        self.came: list[tuple[int, bytes, float]] = []

    def hear(self, port: int, data: bytes, at_s: float) -> None:
        self.came.append((port, data, at_s))
        super().hear(port, data, at_s)


def flown(listener: Listener) -> list[tuple[int, ...]]:
    """A flight computer that loads tables, arms and demands; the deflections it was answered."""
    here = Loopback()
    NodeLink(here).load_tables(TABLES)
    link = NodeLink(TappedStream(here, listener, Times()))
    link.pace(5000)
    link.arm()
    return [read_cycle(link.demand(*each).contents).deflection_mdeg for each in DEMANDS]


def test_every_demand_is_heard_with_the_cycle_that_answered_it() -> None:
    listener = Listener()
    answered = flown(listener)
    heard = [each for each in listener.end() if each.kind == p.DEMAND]
    told = [(*each.demand.moment_mnm, each.demand.pressure_pa) for each in heard if each.demand]
    assert told == DEMANDS
    assert [each.cycle.deflection_mdeg for each in heard if each.cycle] == answered
    assert listener.damaged == 0


def test_one_wire_that_carries_both_directions_tells_the_same() -> None:
    two, one = Chunks(), Listener(1)
    flown(two)
    for _, data, at_s in two.came:
        one.hear(0, data, at_s)
    both = [[(e.demand, e.cycle) for e in each.end() if e.demand] for each in (two, one)]
    assert both[0] == both[1]


def test_answers_alone_are_told_without_their_demands() -> None:
    both, alone = Chunks(), Listener(1)
    answered = flown(both)
    for port, data, at_s in both.came:
        if port == 1:
            alone.hear(0, data, at_s)
    heard = [e for e in alone.end() if e.kind == p.DEMAND]
    assert [e.cycle.deflection_mdeg for e in heard if e.cycle] == answered
    assert all(e.demand is None for e in heard)


FRAMES = [wire_frame(p.DEMAND, n, demand_contents(n * 1000, -n, 5 * n, n)) for n in range(1, 9)]


@settings(deadline=None, max_examples=60)
@given(st.lists(st.integers(1, 70), min_size=1, max_size=60))
def test_how_the_bytes_are_cut_into_chunks_changes_nothing(cuts: list[int]) -> None:
    stream, wire, heard = b"\0" + b"".join(FRAMES), Wire(0), []
    while stream:
        size = cuts[len(stream) % len(cuts)]
        heard += wire.hear(stream[:size], 0.0)
        stream = stream[size:]
    assert [frame.sequence for frame in heard] == list(range(1, 9))
    assert wire.damaged == 0


@pytest.mark.parametrize("at", range(len(FRAMES[0]) - 2))
def test_a_listener_that_begins_within_a_frame_loses_that_one_alone(at: int) -> None:
    wire = Wire(0)
    heard = wire.hear(b"".join(FRAMES)[at + 1 :], 0.0)
    assert [frame.sequence for frame in heard] == list(range(2, 9))
    assert wire.damaged == 0


@pytest.mark.parametrize("bit", range(8))
def test_a_listener_that_begins_on_a_quiet_line_loses_nothing(bit: int) -> None:
    assert [frame.sequence for frame in Wire(0).hear(FRAMES[bit], 0.0)] == [bit + 1]


@pytest.mark.parametrize("bit", range(8))
def test_a_flipped_bit_costs_one_frame_and_is_counted(bit: int) -> None:
    wire, damaged = Wire(0), bytearray(FRAMES[2])
    damaged[5] ^= 1 << bit
    heard = wire.hear(b"\0" + FRAMES[0] + FRAMES[1] + damaged + FRAMES[3], 0.0)
    assert [frame.sequence for frame in heard][:2] == [1, 2]
    assert 3 not in [frame.sequence for frame in heard]
    assert wire.damaged >= 1


def frame(sequence: int, at_s: float = 0.0, *, answer: bool = False, kind: int = 1) -> HeardFrame:
    return HeardFrame(0, at_s, kind, sequence, answer, 1, 0, b"")


def numbers(exchanges: list) -> list[tuple[int | None, int | None]]:
    return [(e.request and e.request.sequence, e.answer and e.answer.sequence) for e in exchanges]


def test_a_demand_that_was_overtaken_has_no_answer() -> None:
    pairing = Pairing()
    told = [pairing.take(frame(n)) for n in (1, 2)]
    assert told == [[], []]
    assert numbers(pairing.take(frame(2, answer=True))) == [(1, None), (2, 2)]


def test_an_answer_that_came_to_us_before_its_request_is_matched() -> None:
    pairing = Pairing()
    assert pairing.take(frame(7, 0.0, answer=True)) == []
    assert numbers(pairing.take(frame(7, 0.001))) == [(7, 7)]


def test_an_answer_whose_request_never_comes_is_told_alone() -> None:
    pairing = Pairing()
    pairing.take(frame(7, 0.0, answer=True))
    assert numbers(pairing.take(frame(8, 2 * EARLY_S, answer=True))) == [(None, 7)]
    assert numbers(pairing.rest()) == [(None, 8)]


def test_requests_that_nobody_answers_do_not_pile_up() -> None:
    pairing = Pairing()
    told = [each for n in range(2 * WAITING_MOST) for each in pairing.take(frame(n))]
    assert numbers(told) == [(n, None) for n in range(WAITING_MOST)]


def test_kept_bytes_are_heard_again_as_before(tmp_path: Path) -> None:
    with KeptBytes(tmp_path / "heard.txt") as kept:
        listener = Listener(2, kept)
        flown(listener)
    before = listener.end()
    assert heard_again(read_kept(tmp_path / "heard.txt")).exchanges == before


def test_a_file_torn_at_any_byte_is_read_up_to_its_last_whole_line(tmp_path: Path) -> None:
    with KeptBytes(tmp_path / "heard.txt") as kept:
        for n, each in enumerate(FRAMES[:4]):
            kept.add(n % 2, each, 0.1 * n)
    whole = (tmp_path / "heard.txt").read_bytes()
    torn = tmp_path / "torn.txt"
    for end in range(whole.index(b"\n") + 1, len(whole)):
        torn.write_bytes(whole[:end])
        assert len(read_kept(torn)) == whole[:end].count(b"\n") - 1


@pytest.mark.parametrize("line", ["0.1 2 00", "0.1 0 0g", "x 0 00", "0.1 0", ""])
def test_a_line_that_cannot_be_is_named(tmp_path: Path, line: str) -> None:
    path = tmp_path / "heard.txt"
    path.write_text(f"heard bytes: time_s wire hex\n0.1 0 00\n{line}\n0.2 1 00\n")
    with pytest.raises(InputError, match=r"line 3: .*must be a time in s, a wire 0 or 1"):
        read_kept(path)


def test_the_table_of_what_was_heard_has_a_row_a_demand(tmp_path: Path) -> None:
    listener = Listener()
    flown(listener)
    with (tmp_path / "heard.csv").open("w") as stream:
        rows = write_heard(stream, listener.end())
    lines = (tmp_path / "heard.csv").read_text().splitlines()
    assert rows == len(DEMANDS) == len(lines) - 1
    first = dict(zip(COLUMNS, lines[1].split(","), strict=True))
    assert (first["pitch_nm"], first["chamber_pressure_bar"]) == ("1.000", "19.99999")
    assert (first["state"], first["verdict"]) == ("armed", "taken")


@pytest.fixture
def wires() -> Iterator[tuple[tuple[int, str], tuple[int, str]]]:
    """Two pseudo-terminals: where we write, and the name of the port to listen to."""
    pairs = [pty.openpty() for _ in range(2)]
    for _, inner in pairs:
        tty.setraw(inner)
    yield tuple((outer, os.ttyname(inner)) for outer, inner in pairs)  # type: ignore[misc]
    for pair in pairs:
        for end in pair:
            os.close(end)


def test_two_serial_ports_hear_a_flight(wires: tuple[tuple[int, str], tuple[int, str]]) -> None:
    said, listener = Chunks(), Listener(2)
    flown(said)
    chunks = [(0, b"\0"), (1, b"\0"), *((port, data) for port, data, _ in said.came)]
    until_s = time.monotonic() + 10.0
    with listening([name for _, name in wires], listener):
        for port, data in chunks:
            os.write(wires[port][0], data)
        while listener.bytes_heard < sum(len(data) for _, data in chunks):
            assert time.monotonic() < until_s
            time.sleep(0.005)
    said.end()
    heard = [e.demand for e in listener.end() if e.demand and e.cycle]
    assert heard == [e.demand for e in said.exchanges if e.demand]


def test_a_port_that_vanishes_is_said(wires: tuple[tuple[int, str], tuple[int, str]]) -> None:
    outer, name = wires[0]
    until_s = time.monotonic() + 10.0
    with listening([name], Listener(1)) as opened:
        os.dup2(os.open(os.devnull, os.O_RDWR), outer)  # the other end is closed
        while not opened.fault:
            assert time.monotonic() < until_s
            time.sleep(0.005)
    assert "the port is gone" in opened.fault


def test_a_port_that_is_not_there_is_named() -> None:
    gone = pytest.raises(BoardError, match=r"/dev/no-such-port: cannot listen there")
    with gone, listening(["/dev/no-such-port"], Listener(1)):
        pass


def test_silence_says_what_to_look_at() -> None:
    listener = Listener(1)
    assert silence(listener).startswith("nothing came")
    listener.hear(0, b"Hello\n" * 40, 0.0)
    assert "wrong baud rate" in silence(listener)
    listener.hear(0, b"\0" + FRAMES[0], 0.0)
    assert silence(listener) == ""
