"""Where a record's words go: whether an entry fits its block, what a new block begins with, what a
short entry has bits for."""

from array import array

import pytest

from firmware_port import record_cycle as c
from firmware_port import record_log as r
from mixer.flight import commands
from mixer.flight import layout as at
from mixer.ground.tables.build import words_of
from tests.support.vehicles import vehicle

WORDS = words_of(vehicle())
BLOCKS = 3
SIZE = r.LOG_HEAD + BLOCKS * r.BLOCK_WORDS
FIRST, SECOND, THIRD = (r.LOG_HEAD + n * r.BLOCK_WORDS for n in range(BLOCKS))
EMPTY = 777  # in every word that has not been written
HEAD = 3  # words that a block begins with
DT_US, PRESSURE_PA = 5000, 2_000_000


@pytest.fixture
def w() -> array:
    words = array("i", WORDS)
    commands.reset(words)
    commands.demand(words, 90_000, -40_000, 1000)
    return words


def log_in(block: int, left: int) -> array:
    """A log with so many words left in this block, but for the last one."""
    log = array("i", [0] * r.LOG_HEAD + [EMPTY] * (SIZE - r.LOG_HEAD))
    log[r.LOG_SIZE] = SIZE
    log[r.LOG_BLOCK] = block
    log[r.LOG_END] = block + r.BLOCK_WORDS - 1
    log[r.LOG_AT] = log[r.LOG_END] - left
    log[r.LOG_NUMBER] = 7
    log[r.LOG_CYCLES] = 1000
    log[r.LOG_EVERY] = 2
    log[r.LOG_RUNS] = 1
    return log


def written(log: array) -> list[int]:
    return [place for place in range(r.LOG_HEAD, SIZE) if log[place] != EMPTY]


# ---- room ----------------------------------------------------------------------------------------


def test_what_fits_before_the_last_word_of_a_block_goes_there(w: array) -> None:
    log = log_in(FIRST, 5)
    before = array("i", log)
    assert r.room(w, log, 5) == FIRST + r.BLOCK_WORDS - 1 - 5
    assert log == before


@pytest.mark.parametrize(("block", "after"), [(FIRST, SECOND), (THIRD, FIRST)])
def test_what_does_not_begins_the_next_block_with_its_number_its_cycles_and_the_answer_s_check(
    w: array, block: int, after: int
) -> None:
    log = log_in(block, 5)
    here = log[r.LOG_AT]
    assert r.room(w, log, 6) == after + HEAD
    assert (log[r.LOG_BLOCK], log[r.LOG_AT]) == (after, after + HEAD)
    assert log[r.LOG_END] == after + r.BLOCK_WORDS - 1
    assert log[after : after + HEAD] == array("i", [8, 1000, r.answer_check(w)])
    assert log[here] == 0  # the block before ends there
    assert written(log) == sorted([here, after, after + 1, after + 2])


def test_behind_a_block_that_is_full_to_its_last_word_nothing_is_written(w: array) -> None:
    """Full so is only the block that a record has ended in; at its end is that of all memory."""
    log = log_in(THIRD, -1)
    assert log[r.LOG_AT] == SIZE
    assert r.room(w, log, 1) == FIRST + HEAD
    assert written(log) == [FIRST, FIRST + 1, FIRST + 2]


@pytest.mark.parametrize("burn", [at.WAITING, at.STARTED, at.SAID, at.BELIEVED])
def test_from_a_burn_that_is_said_or_believed_all_behind_the_last_but_one_snapshot_is_kept(
    w: array, burn: int
) -> None:
    log = log_in(FIRST, 0)
    log[r.LOG_SNAPSHOT] = THIRD
    w[at.BURN] = burn
    r.room(w, log, 1)
    assert log[r.LOG_KEPT] == (THIRD if burn in (at.SAID, at.BELIEVED) else 0)
    log[r.LOG_SNAPSHOT] = SECOND
    log[r.LOG_AT] = log[r.LOG_END]
    found = r.room(w, log, 1)
    if burn in (at.SAID, at.BELIEVED):
        assert (found, log[r.LOG_END], log[r.LOG_NUMBER]) == (0, 0, 8)
        assert r.room(w, log, 1) == 0
    else:
        assert found == THIRD + HEAD


@pytest.mark.parametrize("burn", [at.WAITING, at.STARTED, at.SAID, at.BELIEVED])
def test_a_snapshot_is_due_every_so_many_blocks_until_a_burn_is_said_or_believed(
    w: array, burn: int
) -> None:
    log = log_in(FIRST, 0)
    w[at.BURN] = burn
    due = []
    for _ in range(3):
        log[r.LOG_AT] = log[r.LOG_END]
        r.room(w, log, 1)
        due.append(log[r.LOG_DUE] != 0)
    assert due == ([False, False, False] if burn >= at.SAID else [False, True, True])


# ---- snapshots -----------------------------------------------------------------------------------


def test_each_half_of_the_state_goes_where_it_fits_with_one_word_before_it(w: array) -> None:
    half = r.SNAPSHOT_PIECE
    for left, begins in ((half + 1, SECOND - 2 - half), (half, SECOND + HEAD)):
        log = log_in(FIRST, left)
        assert r.keep_state(w, log, half) == begins
        assert log[begins] == r.LOG_STATE_KIND | half << 4 | half << 12
        assert log[begins + 1 : begins + 1 + half] == w[half : 2 * half]
        assert log[r.LOG_AT] == begins + 1 + half


def test_a_snapshot_is_found_by_its_block_and_the_one_before_it_too(w: array) -> None:
    log = log_in(FIRST, 0)
    log[r.LOG_SINCE], log[r.LOG_DUE] = 5, 1
    r.snapshot(w, log)
    assert (log[r.LOG_SINCE], log[r.LOG_DUE]) == (0, 0)
    first = log[r.LOG_LAST_SNAPSHOT]
    assert log[r.LOG_SNAPSHOT] == first == SECOND
    r.snapshot(w, log)
    assert (log[r.LOG_SNAPSHOT], log[r.LOG_LAST_SNAPSHOT]) == (SECOND, FIRST)


def test_a_snapshot_that_finds_no_room_is_not_one_to_begin_a_replay_with(w: array) -> None:
    log = log_in(FIRST, 0)
    log[r.LOG_KEPT] = SECOND
    log[r.LOG_SNAPSHOT], log[r.LOG_LAST_SNAPSHOT] = SECOND, THIRD
    r.snapshot(w, log)
    assert (log[r.LOG_SNAPSHOT], log[r.LOG_LAST_SNAPSHOT]) == (SECOND, THIRD)
    assert log[r.LOG_DUE] == 0


# ---- cycles --------------------------------------------------------------------------------------


def watched(w: array) -> None:
    """The jam watch begins, and all four sensors have read."""
    commands.sensed(w, 100, -200, 300, -400)


@pytest.mark.parametrize("watch", [False, True])
@pytest.mark.parametrize(("wide", "words"), [(False, 4), (True, 6)])
@pytest.mark.parametrize("fits", [True, False])
def test_a_cycle_stays_within_its_block_with_all_that_may_stand_before_it(
    w: array, wide: bool, words: int, watch: bool, fits: bool
) -> None:
    if wide:
        w[at.AGE] = 5000
    if watch:
        watched(w)
        words += 3 + at.VANES
    log = log_in(FIRST, words if fits else words - 1)
    c.keep(w, log, PRESSURE_PA, DT_US)
    begins = SECOND - 1 - words if fits else SECOND + HEAD
    entry = list(range(begins, begins + words))
    assert log[r.LOG_AT] == begins + words
    if fits:
        assert written(log) == entry
    else:
        assert written(log) == [SECOND - words, *range(SECOND, SECOND + HEAD), *entry]
    assert log[SECOND - 1] == EMPTY


def test_of_a_jam_watch_that_is_as_it_was_only_the_readings_are_kept(w: array) -> None:
    watched(w)
    w[at.WATCH_READING + 1] = at.NO_READING
    log = log_in(FIRST, 40)
    log[r.LOG_WATCH] = w[at.WATCH_STATE]
    here = log[r.LOG_AT]
    c.keep(w, log, PRESSURE_PA, DT_US)
    assert log[here : here + 3] == array(
        "i",
        [
            c.KEPT_READING | vane << 4 | reading << 6
            for vane, reading in ((0, 100), (2, 300), (3, -400))
        ],
    )
    assert log[r.LOG_AT] == here + 3 + c.SHORT_WORDS


PITCH, YAW, ROLL = at.DEMAND, at.DEMAND + 1, at.DEMAND + 2
MOMENT, ROLL_MOMENT = 1 << 27, 1 << 23
EDGES = [
    *((axis, value, False) for axis in (PITCH, YAW) for value in (MOMENT - 1, -MOMENT)),
    *((axis, value, True) for axis in (PITCH, YAW) for value in (MOMENT, -MOMENT - 1)),
    *((ROLL, value, False) for value in (ROLL_MOMENT - 1, -ROLL_MOMENT)),
    *((ROLL, value, True) for value in (ROLL_MOMENT, -ROLL_MOMENT - 1)),
    *((ROLL, value, True) for value in (MOMENT, -MOMENT - 1, 1 << 29, -(1 << 29))),
    *((word, 1, True) for word in (at.AGE, at.BAD)),
]


@pytest.mark.parametrize(("word", "value", "wide"), EDGES)
def test_a_cycle_takes_a_wide_entry_only_where_its_demand_does_not_fit_a_short_one(
    w: array, word: int, value: int, wide: bool
) -> None:
    w[word] = value
    is_kept(w, PRESSURE_PA, DT_US, wide)


@pytest.mark.parametrize(
    ("pressure_pa", "dt_us", "wide"),
    [
        ((1 << 23) - 1, (1 << 15) - 1, False),
        (0, 0, False),
        (1 << 23, 0, True),
        (0, 1 << 15, True),
        (-1, 0, True),
        (0, -1, True),
    ],
)
def test_nor_where_pressure_and_time_do(w: array, pressure_pa: int, dt_us: int, wide: bool) -> None:
    is_kept(w, pressure_pa, dt_us, wide)


def is_kept(w: array, pressure_pa: int, dt_us: int, wide: bool) -> None:
    """In an entry of this width, and nothing of it is cut."""
    log = log_in(FIRST, 40)
    here = log[r.LOG_AT]
    c.keep(w, log, pressure_pa, dt_us)
    assert log[r.LOG_AT] - here == (c.WIDE_WORDS if wide else c.SHORT_WORDS)
    first = log[here]
    assert first & 1 == (0 if wide else 1)
    if wide:
        assert log[here + 1 : here + 6] == array("i", [dt_us, pressure_pa, *w[PITCH : ROLL + 1]])
        return
    _, pitch, yaw, roll = log[here : here + 4]
    assert (pitch >> 4, yaw >> 4, roll >> 8) == tuple(w[PITCH : ROLL + 1])
    assert (first >> 8, (first >> 1 & 0x7F) << 8 | roll & 0xFF) == (pressure_pa, dt_us)
