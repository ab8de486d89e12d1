"""Searches in the flight tables end at the record they seek, from wherever they begin."""

from itertools import product

import pytest

from mixer.flight import layout as at
from mixer.flight.commands import reset
from mixer.flight.interpolate import deflection_at, piece
from mixer.ground.tables.build import words_of
from tests.support.vehicles import vehicle


@pytest.fixture
def words() -> list[int]:
    words = words_of(vehicle())
    reset(words)
    return words


@pytest.mark.parametrize(
    ("hint", "offset", "points", "stride"),
    [
        (at.WEAR_HINT, at.WEAR_OFF, at.WEAR_N, at.WEAR_STRIDE),
        (at.LEVER_HINT, at.LEVER_OFF, at.LEVER_N, at.LEVER_STRIDE),
    ],
)
def test_a_time_is_found_from_every_record(
    words: list[int], hint: int, offset: int, points: int, stride: int
) -> None:
    """Forwards by leaps, and backwards, though time never falls in flight."""
    records = [words[offset] + n * stride for n in range(words[points] + 1)]
    for wanted, begin in product(records, repeat=2):
        ticks = max(words[wanted], -1)
        words[hint] = begin
        assert piece(words, hint, stride, ticks) == wanted
        assert words[hint] == wanted


def test_a_force_is_found_from_every_record_that_its_cell_may_name(words: list[int]) -> None:
    """Flight tables are taken whose cells lead to any record of their curve."""
    first, points = words[at.CURVE_OFF], words[at.CURVE_N]
    forces = range(-40_000, 40_001, 5_000)
    wanted = [deflection_at(words, 0, force) for force in forces]
    for n in range(points + 1):
        for cell in range(at.FORCE_CELLS_MASK + 1):
            words[words[at.FORCE_CELLS] + cell] = first + n * at.CURVE_STRIDE
        assert [deflection_at(words, 0, force) for force in forces] == wanted
