"""Damage on the line to a board: the same bytes as on the laptop's node, the same answers."""

import random
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import pytest

from firmware_port import protocol as p
from hil.boards.node_on_board import node_on
from hil.boards.open_board import open_board
from hil.node.node_link import NodeLink, numbers, wire_frame
from hil.verify.rehearsal import Exchange, Played, Recorder, play
from mixer.ground.tables.build import flight_tables
from tests.support.damage import damaged, good_frame
from tests.support.vehicles import vehicle

# Runs, and frames to damage in each, which ends in the safe state: from that a node can be stopped.
RUNS = {"long": (6, 2000), "ci": (6, 2000), "laptop": (1, 600)}
REFUSED = 10_000 / 12_000  # of the damaged frames by the codec, at least; the others are whole
SEED = 21
TABLES = flight_tables(vehicle())


def damaged_record(seed: int, count: int) -> tuple[list[Exchange], int]:
    """What a sender behind a bad line puts a node through, and how many frames were damaged."""
    source = random.Random(seed)
    recorder = Recorder()
    link = NodeLink(recorder)
    link.load_tables(TABLES.to_bytes())
    link.arm()
    sequence = link.sequence
    sent: list[bytes] = []

    def make(kind: int, contents: bytes) -> bytes:
        nonlocal sequence
        sequence = (sequence + 1) % p.SEQUENCES
        return wire_frame(kind, sequence, contents)

    def send(data: bytes) -> None:
        recorder.write(data)
        recorder.read(recorder.in_waiting)

    interrupted = TABLES.to_bytes()
    for i in range(count):
        frame = good_frame(source, make)
        sent = [*sent[-30:], frame]
        send(damaged(source, frame, sent))
        if i % 7 == 0:
            send(good_frame(source, make))
        if i % 400 == 0:  # a table load that is broken off, one piece further each time
            send(make(p.TABLES_BEGIN, numbers((len(interrupted), 1, 2))))
            for start in range(0, 40 * (i // 400), p.PIECE):
                send(make(p.TABLES_PIECE, numbers((start,)) + interrupted[start : start + 40]))
            send(make(p.TABLES_COMMIT, b""))
    send(b"\0")
    refused = recorder.node.receiver.damaged
    link.sequence = sequence
    link.disarm()
    link.counters()
    link.arm()
    assert link.demand(100_000, 0, 0, 2_000_000).taken
    link.disarm()
    link.stop()
    return recorder.record, refused


@contextmanager
def rehearsals(quick_board_name: str) -> Iterator[Callable[[list[Exchange]], Played]]:
    """A board with the node on it; a function that plays a record to a fresh run of the node."""
    with open_board(quick_board_name) as board, node_on(board) as there:

        def play_to_board(record: list[Exchange]) -> Played:
            played = play(record, there.start("rehearse", "locked"))
            there.link.finish()
            return played

        yield play_to_board


def test_damage_does_to_a_board_what_it_does_to_the_laptops_node(
    quick_board_name: str, size: str, record_property: Callable[[str, object], None]
) -> None:
    """Bit for bit, counters and vanes; and afterwards the next good demand is taken."""
    refused = exchanges = 0
    runs, frames = RUNS[size]
    with rehearsals(quick_board_name) as play_to_board:
        for run in range(runs):
            record, damage = damaged_record(SEED + run, frames)
            played = play_to_board(record)
            assert played.mismatches == 0, played.first_mismatch
            refused += damage
            exchanges += played.exchanges
    record_property(
        "shown",
        f"{quick_board_name}, seeds {SEED} to {SEED + runs - 1}: {runs * frames} times damage, "
        f"{refused} frames refused by the codec, {exchanges} exchanges, all answered alike",
    )
    assert refused >= REFUSED * runs * frames


@pytest.mark.parametrize("times", [1, 3])
def test_a_long_silence_ends_in_a_lost_link_on_a_board_too(
    quick_board_name: str, times: int
) -> None:
    recorder = Recorder()
    node = NodeLink(recorder)
    node.load_tables(TABLES.to_bytes())
    node.arm()
    node.demand(300_000, 0, 0, 2_000_000)
    for _ in range(times):
        for _ in range(30):
            node.let_pass(5000)
        assert any(answer.state == p.LINK_LOST for answer in node.heard)
        assert node.demand(300_000, 0, 0, 2_000_000).state == p.ARMED
    node.disarm()
    node.stop()
    with rehearsals(quick_board_name) as play_to_board:
        played = play_to_board(recorder.record)
    assert played.mismatches == 0, played.first_mismatch
