"""Rows shared out among threads."""

from unittest.mock import patch

from hypothesis import given
from hypothesis import strategies as st

from mixer.ground.batch import cores

NUMBERS = st.integers(1, 100_000), st.integers(1, 9_000), st.integers(1, 40)


@given(*NUMBERS)
def test_parts_follow_one_another_shrink_and_none_is_too_short(rows, least, shares):
    parts = cores.shrinking_parts(rows, least, shares)
    assert [0, *(part.stop for part in parts)] == [*(part.start for part in parts), rows]
    lengths = [part.stop - part.start for part in parts]
    assert min(lengths) >= min(least, rows)
    assert sorted(lengths[:-1], reverse=True) == lengths[:-1]
    assert lengths[-1] < 2 * least or shares == 1  # what the last one keeps the others waiting


@given(*NUMBERS)
def test_each_row_is_worked_out_once_however_many_threads_there_are(rows, least, threads):
    with patch.object(cores, "core_count", lambda: threads):
        parts = cores.in_parts(rows, least, lambda part: part)
    parts.sort(key=lambda part: part.start)
    assert [0, *(part.stop for part in parts)] == [*(part.start for part in parts), rows]


def test_few_rows_are_one_part():
    assert cores.in_parts(0, 5, lambda part: part) == [slice(0, 0)]
    assert cores.in_parts(9, 5, lambda part: part) == [slice(0, 9)]
