"""Flight tables with words changed under a right CRC do no harm: in C, in Python, on the node."""

import random
from binascii import crc32
from collections.abc import Callable
from pathlib import Path

import pytest

from firmware_port import protocol as p
from firmware_port.table_store import TableStore
from hil.node.errors import BoardError
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink, read_numbers
from mixer.flight import FlightTables, TablesError
from mixer.flight import layout as at
from mixer.flight.unfit import unfit_word
from mixer.ground.tables.build import flight_tables
from tests.support.c_library import exported
from tests.support.strict_words import Checked, Word, checked_steering
from tests.support.vehicles import vehicle
from tests.tools.table_mutants import built, flown, mutate, vehicles

MUTANTS = {"long": 1_000_000, "ci": 100_000, "laptop": 10_000}
IN_PYTHON = {"long": 20_000, "ci": 2_000, "laptop": 150}
EVERY = {"long": 1, "ci": 1, "laptop": 7}  # of the vehicles
LONGEST = (1 << 31) - 1
TABLES = flight_tables(vehicle())


@pytest.fixture(scope="module")
def unlike(size: str) -> list[FlightTables]:
    return vehicles(every=EVERY[size])


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return exported(tmp_path_factory.mktemp("c"))


def test_tables_that_the_ground_builds_are_taken(unlike: list[FlightTables]) -> None:
    for tables in unlike:
        assert unfit_word(tables.words, len(tables.words)) == 0


def test_no_mutant_that_is_taken_does_harm(
    library: Path,
    unlike: list[FlightTables],
    size: str,
    record_property: Callable[[str, object], None],
) -> None:
    """In C, under sanitizers; fv_init says what the check says."""
    found = flown(built(library), unlike, MUTANTS[size], 1)
    assert found.harmful == -1
    assert found.refused > found.mutants // 3
    assert found.cycles > found.mutants
    record_property("shown", str(found))


@pytest.mark.usefixtures("campaign")
def test_without_the_check_mutants_do_harm(library: Path, unlike: list[FlightTables]) -> None:
    """So that the campaign can fail."""
    program = built(library, "-DCHECK(w,count)=0")
    with pytest.raises(AssertionError, match=r"at mutant|runtime error"):
        flown(program, unlike, 5000, 1)


def test_in_python_too_no_word_is_left_and_no_place_is_outside(
    unlike: list[FlightTables], size: str
) -> None:
    """On integers that check themselves; the check itself runs on them as well."""
    seed = 3
    print(f"seed {seed}")
    source = random.Random(seed)
    taken = 0
    for _ in range(IN_PYTHON[size]):
        mutant = mutate(source.choice(unlike), source)
        words = Checked(map(Word, mutant.words))
        if unfit_word(words, len(words)):
            continue
        taken += 1
        steering = checked_steering(mutant)
        for _ in range(6):
            if source.random() < 0.3:
                steering.jam(source.randint(1, 4), source.randint(-90_000, 90_000))
            most = (at.MNM_MAX, at.MNM_MAX, at.ROLL_MNM_MAX)
            steering.demand(*(source.choice((-1, 0, 1)) * mutant.words[word] for word in most))
            steering.step(
                source.choice((0, mutant.words[at.PA_MAX] // 2, LONGEST)),
                source.choice((0, 5000, LONGEST)),
            )
            pulses = steering._w[at.PULSE : at.PULSE + 4]
            assert all(400_000 <= pulse <= 2_600_000 for pulse in pulses)
    assert taken > IN_PYTHON[size] // 5


def changed(word: int, value: int) -> FlightTables:
    tables = FlightTables(TABLES.words)
    tables.words[word] = value
    return tables


HEAD_FAULTS = {
    "policy": (at.POLICY, 2),
    "period": (at.PERIOD_US, 0),
    "timeout": (at.TIMEOUT_US, -1),
    "shift of the pressure": (at.PA_SHIFT, 32),
    "negative shift": (at.MOMENT_EXP, -1),
    "shift of the pulse": (at.PULSE_Q, 40),
    "no vane has it": (at.N_EDGES, 5),
    "too many pairs": (at.N_PAIRS, 7),
    "a pair of no vane": (at.PAIRS + 1, 4),
    "slew": (at.SLEW_HIGH + 2, 1 << 20),
    "travel": (at.TRAVEL_HI + 3, 1 << 20),
    "place of a curve": (at.CURVE_OFF + 1, len(TABLES.words)),
    "place of the lever arm": (at.LEVER_OFF, at.BODY - 1),
    "points of the wear": (at.WEAR_N, 1 << 30),
    "cells of a curve, below the body": (at.CURVE_CELLS, at.BODY),
    "a normal that is not of length 1": (at.EDGES, 5),
    "cells of a servo": (at.SERVO_CELLS, LONGEST),
}


@pytest.mark.parametrize(("word", "value"), HEAD_FAULTS.values(), ids=list(HEAD_FAULTS))
def test_the_first_word_that_cannot_be_is_named(word: int, value: int) -> None:
    assert unfit_word(changed(word, value).words, len(TABLES.words)) == word


BODY_FAULTS = {
    "a curve that falls": (TABLES.words[at.CURVE_OFF] + 2 * at.CURVE_STRIDE + 1, -at.END),
    "a curve without end": (
        TABLES.words[at.CURVE_OFF] + (TABLES.words[at.CURVE_N] + 1) * at.CURVE_STRIDE,
        0,
    ),
    "a pulse of 3 ms": (TABLES.words[at.SERVO_OFF] + 1, 3_000_000),
    "a pulse that leaves its range": (TABLES.words[at.SERVO_OFF] + 2, 1 << 27),
    "wear without end": (
        TABLES.words[at.WEAR_OFF] + (TABLES.words[at.WEAR_N] + 1) * at.WEAR_STRIDE,
        at.END - 1,
    ),
    "a lever arm that begins late": (TABLES.words[at.LEVER_OFF], 0),
    "a cell that leads nowhere": (TABLES.words[at.FORCE_CELLS], at.BODY),
    "a cell that leads between records": (
        TABLES.words[at.FORCE_CELLS],
        TABLES.words[at.CURVE_OFF] + 1,
    ),
    "a cell that leads past its angle": (
        TABLES.words[at.CURVE_CELLS] + (TABLES.words[at.TRAVEL_LO] >> at.ANGLE_CELL),
        TABLES.words[at.CURVE_OFF] + TABLES.words[at.CURVE_N] * at.CURVE_STRIDE,
    ),
    "a rate of twice and more": (TABLES.words[at.RATE_OFF] + 127, 32767),
}


@pytest.mark.parametrize(("word", "value"), BODY_FAULTS.values(), ids=list(BODY_FAULTS))
def test_a_fault_in_the_body_is_found_there_or_where_it_is_used(word: int, value: int) -> None:
    found = unfit_word(changed(word, value).words, len(TABLES.words))
    assert found >= at.BODY
    assert abs(found - word) <= at.WEAR_STRIDE


def test_tables_shorter_than_their_head_are_refused() -> None:
    assert unfit_word(TABLES.words, at.BODY - 1) == at.BODY - 1


@pytest.fixture
def loop() -> Loopback:
    return Loopback()


@pytest.fixture
def link(loop: Loopback) -> NodeLink:
    link = NodeLink(loop)
    link.load_tables(TABLES.to_bytes())
    return link


def test_the_node_names_the_word_and_keeps_the_old_tables(link: NodeLink) -> None:
    bad = changed(at.MOMENT_EXP, -1)
    with pytest.raises(BoardError, match=f"word {at.MOMENT_EXP} cannot stand"):
        link.load_tables(bad.to_bytes())
    assert link.identify()[2] == crc32(TABLES.to_bytes())
    link.arm()


def test_the_answer_that_takes_tables_blames_no_word(link: NodeLink, loop: Loopback) -> None:
    blob = TABLES.to_bytes()
    crc = crc32(blob)
    store = loop.node.store
    store.begin(len(blob), crc >> 16, crc & 0xFFFF)
    store.piece(0, blob, 0, len(blob))
    for _ in range(3):
        link.let_pass(5000)
    answer = link.request(p.TABLES_COMMIT)
    assert (answer.taken, read_numbers(answer.contents)) == (True, (0,))


def test_stored_tables_that_cannot_be_do_not_fly(tmp_path: Path) -> None:
    path = tmp_path / "tables.bin"
    path.write_bytes(changed(at.PERIOD_US, 0).to_bytes())
    store = TableStore(str(path))
    assert (store.tables, store.bad_word) == (None, at.PERIOD_US)


def test_a_mutant_is_one_by_its_words_alone() -> None:
    """Its bytes are whole, of this version, with a right CRC."""
    source = random.Random(1)
    for _ in range(20):
        mutant = mutate(TABLES, source)
        try:
            read = FlightTables.from_bytes(mutant.to_bytes())
        except TablesError as error:
            pytest.fail(str(error))
        assert read.words == mutant.words
