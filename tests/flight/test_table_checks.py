"""Tables that a cycle searches: which of their words the check reads, to the last one."""

import pytest

from mixer.flight import layout as at
from mixer.flight.checked import STEEP, cell, column, leaped, placed, rising, straight

# ---- a piece of a table --------------------------------------------------------------------------


@pytest.mark.parametrize("slope", [-1, 1])
def test_a_slope_times_its_piece_stays_below_steep(slope: int) -> None:
    least, most = -(1 << 20), 1 << 20
    for reach, steepest in ((1, STEEP), (2, STEEP // 2), (1000, STEEP // 1000), (0, STEEP)):
        for more, named in ((0, 0), (1, 1)):
            words = [0, slope * (steepest + more)]
            assert straight(words, 0, reach, 0, 16, least, most) == named
    assert STEEP == 3 << 29


@pytest.mark.parametrize("reach", [-1, 0])
def test_where_the_next_piece_begins_at_the_same_place_a_slope_says_nothing(reach: int) -> None:
    for value, slope in ((0, 1 << 20), (0, -(1 << 20)), (9, 1 << 20), (9, -(1 << 20))):
        assert straight([value, slope], 0, reach, 0, 4, 0, 9) == 0


def test_a_piece_stays_in_its_range_to_its_last_step() -> None:
    for value, slope, named in ((0, 3, 0), (1, 3, 1), (9, -3, 0), (8, -3, 1), (-1, 0, 0)):
        expected = named if value >= 0 else 5
        words = [0] * 5 + [value, slope]
        found = straight(words, 0, 3, 5, 0, 0, 9)
        assert found == (expected + 5 if named else expected)


# ---- tables that are searched by leaps -----------------------------------------------------------

OFFSET, N, FIRST, STRIDE = 3, 4, at.BODY, 2


def table(*starts: int) -> list[int]:
    """These and their ends, with values of 5; where it stands, and its length."""
    words = [0] * at.BODY
    words[OFFSET], words[N] = FIRST, len(starts)
    for start in (-at.END, *starts, *[at.END] * at.LEAP):
        words += [start, 5]
    return words


def looked_at(words: list[int]) -> int:
    return leaped(words, 0, len(words), OFFSET, N, STRIDE)


def test_a_table_of_leaps_begins_before_everything_rises_and_ends_in_its_ends() -> None:
    words = table(0, 10, 10, 20)
    assert looked_at(words) == 0
    ends = FIRST + (words[N] + 1) * STRIDE
    for place, value in (
        (FIRST, -at.END + 1),
        (FIRST, -at.END - 1),
        (FIRST + 2 * STRIDE, -1),
        (FIRST + 3 * STRIDE, 9),
        (ends, at.END - 1),
        (ends, 19),
        *((ends + n * STRIDE, at.END - 1) for n in range(1, at.LEAP)),
        (ends + (at.LEAP - 1) * STRIDE, at.END + 1),
    ):
        bad = [*words]
        bad[place] = value
        assert looked_at(bad) == place, (place - FIRST, value)


def test_a_table_lies_inside_the_tables_to_its_last_word() -> None:
    words = table(0, 10)
    assert looked_at(words) == 0
    assert leaped(words, 0, len(words) - 1, OFFSET, N, STRIDE) == OFFSET
    words[OFFSET] = at.BODY - 1
    assert looked_at(words) == OFFSET
    assert placed([0, at.BODY, 1], 0, 10_000, 1, 2, 0, 3) == 2
    assert placed([0, at.BODY, 2], 0, 10_000, 1, 2, 0, 3) == 0


def columns(*rows: tuple[int, int, int]) -> int:
    """What is said of records from -END on, each a start, a value from 0 to 9 and a slope."""
    words = [0] * at.BODY
    words[OFFSET], words[N] = FIRST, len(rows) - 1
    for row in (*rows, *[(at.END, -7, 0)] * at.LEAP):
        words += row
    return column(words, 0, OFFSET, N, 3, 1, 0, 0, 9)


@pytest.mark.parametrize("record", range(3))
def test_a_column_is_looked_at_in_each_record_but_the_ends(record: int) -> None:
    place = FIRST + 3 * record + 1
    for value, slope, named in ((-1, 0, place), (0, 0, 0), (9, 0, 0), (10, 0, place)):
        rows = [(-at.END, 5, 0), (0, 5, 0), (10, 5, 0)]
        rows[record] = (rows[record][0], value, slope)
        assert columns(*rows) == named


def test_the_last_step_of_a_piece_is_one_before_the_next() -> None:
    """Of 7, so that it rises by 6."""
    for value, named in ((3, 0), (4, FIRST + 5)):
        assert columns((-at.END, 5, 0), (3, value, 1), (10, 5, 0)) == named


# ---- cells ---------------------------------------------------------------------------------------


def test_a_cell_lies_inside_the_tables_and_leads_to_a_record() -> None:
    at_cells, count = 3, at.BODY + 20
    words = [at.BODY + 6] * (count + 5)

    def led(cells: int, number: int, leads_to: int | None = None) -> int:
        trial = [*words]
        trial[at_cells] = cells
        if leads_to is not None:
            trial[cells + number] = leads_to
        return cell(trial, 0, count, at_cells, number, at.BODY + 6, at.BODY + 12, 3)

    for cells, number, named in (
        (at.BODY, 0, 0),
        (at.BODY - 1, 1, at_cells),
        (count - 1, -3, 0),
        (count, -3, at_cells),
        (count + 1, -3, at_cells),
        (at.BODY + 3, -3, 0),
        (at.BODY + 3, -4, at_cells),
        (count - 2, 1, 0),
        (count - 2, 2, at_cells),
        (count - 2, 3, at_cells),
    ):
        assert led(cells, number) == named, (cells, number)
    place = at.BODY + 1
    for leads_to, fits in ((5, False), (6, True), (7, False), (9, True), (12, True), (15, False)):
        assert led(at.BODY, 1, at.BODY + leads_to) == (0 if fits else place)


def test_of_two_faults_the_first_is_named() -> None:
    assert rising([0, 5, 4, 3], 0, 1, 2, 1) == 2
    assert rising([0, 5, 4, 3], 9, 1, 2, 1) == 9
