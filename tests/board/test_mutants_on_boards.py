"""Flight tables with changed words under a right CRC do a board no harm: it answers as the laptop's
node does, refuses the same ones by the same word, and flies the others."""

import random
from binascii import crc32
from collections.abc import Callable

import pytest

from firmware_port import protocol as p
from hil.node.node_link import NodeLink, numbers
from hil.verify.rehearsal import Exchange, Recorder
from mixer.flight import FlightTables
from mixer.flight import layout as at
from mixer.ground.tables.build import flight_tables
from tests.board.test_fuzz import rehearsals
from tests.support.vehicles import vehicle
from tests.tools.table_mutants import mutate

MUTANTS = {True: 30, False: 8}  # at full size, and not
CYCLES = 6
SEED = 5
TABLES = flight_tables(vehicle())


def record(count: int) -> tuple[list[Exchange], int]:
    """What loads mutants and flies those that are taken, and how many those are."""
    source = random.Random(SEED)
    recorder = Recorder()
    link = NodeLink(recorder)
    link.load_tables(TABLES.to_bytes())
    taken = 0
    for _ in range(count):
        mutant = mutate(TABLES, source)
        link.let_pass(5000)
        link.let_pass(5000)
        if offered(link, mutant.to_bytes()):
            taken += 1
            fly(link, mutant, source)
            link.load_tables(TABLES.to_bytes())
    link.stop()
    return recorder.record, taken


def offered(link: NodeLink, blob: bytes) -> bool:
    """Load tables; whether they were taken. Any other verdict than a bad word is a fault."""
    crc = crc32(blob)
    link.ask(p.TABLES_BEGIN, numbers((len(blob), crc >> 16, crc & 0xFFFF)))
    for start in range(0, len(blob), p.PIECE):
        link.ask(p.TABLES_PIECE, numbers((start,)) + blob[start : start + p.PIECE])
    answer = link.request(p.TABLES_COMMIT)
    assert answer.verdict in (p.TAKEN, p.BAD_TABLES)
    return answer.taken


def fly(link: NodeLink, tables: FlightTables, source: random.Random) -> None:
    """Far demands, a jam, gaps; then at rest."""
    link.arm()
    most = [tables.words[word] for word in (at.MNM_MAX, at.MNM_MAX, at.ROLL_MNM_MAX)]
    for _ in range(CYCLES):
        link.demand(*(source.choice((-1, 0, 1)) * limit for limit in most), 2_000_000)
        if source.random() < 0.2:
            link.jam(source.randint(1, 4), source.randint(-20_000, 20_000))
        link.let_pass(source.choice((5000, 400_000)))
    for vane in range(1, 5):
        link.free(vane)
    link.disarm()
    for _ in range(12):
        link.let_pass(500_000)


@pytest.fixture
def mutants(full_size: bool) -> int:
    return MUTANTS[full_size]


def test_mutants_do_a_board_no_harm(
    quick_board_name: str, mutants: int, record_property: Callable[[str, object], None]
) -> None:
    exchanges, taken = record(mutants)
    assert 0 < taken < mutants
    with rehearsals(quick_board_name) as play_to_board:
        played = play_to_board(exchanges)
    assert played.mismatches == 0, played.first_mismatch
    record_property(
        "shown",
        f"{quick_board_name}, seed {SEED}: {mutants} mutants of flight tables, {taken} taken and "
        f"flown, {played.exchanges} exchanges, all answered alike",
    )
