"""Where a kernel turns at a limit: to the last integer on either side of it."""

from array import array
from fractions import Fraction
from itertools import product

import pytest

from mixer.flight import commands
from mixer.flight import layout as at
from mixer.flight.boxes import set_boxes
from mixer.flight.deflect import held_by_slew
from mixer.flight.wanted import counts
from mixer.ground.tables.build import words_of
from tests.support.vehicles import vehicle

WORDS = words_of(vehicle())
LARGEST = 1 << 28


@pytest.fixture
def w() -> array:
    words = array("i", WORDS)
    commands.reset(words)
    return words


# ---- a demand in counts --------------------------------------------------------------------------


@pytest.mark.parametrize("e", [24, 27, 28])
def test_a_demand_becomes_whole_counts_rounded_down_where_few_bits_are_dropped(e: int) -> None:
    for demand, gain in product((0, 1, -1, 12_345, -12_345, LARGEST, -LARGEST), (1, 3, LARGEST)):
        assert counts(demand, gain, e) == demand * gain >> e


@pytest.mark.parametrize("e", [29, 30, 31, 40, 56])
def test_a_demand_becomes_the_nearest_whole_count_where_more_bits_are_dropped(e: int) -> None:
    """What lies in the last 28 bits may turn no more than a half."""
    for whole, more in product((0, 1, -1, 7, -7), (-1, 0)):
        demand = (2 * whole + 1 << e - 29) + more  # about a half of a count
        nearest = Fraction(demand << 28, 1 << e)
        assert counts(demand, LARGEST, e) == int((nearest + Fraction(1, 2)).__floor__())


# ---- windows that the slew makes -----------------------------------------------------------------


@pytest.mark.parametrize("end", [at.LIMIT_LO, at.LIMIT_HI])
@pytest.mark.parametrize(("away", "held"), [(999, 0), (1000, 0), (1001, 1)])
def test_the_slew_holds_nothing_back_where_31_of_its_32_parts_reach_the_end_of_travel(
    w: array, end: int, away: int, held: int
) -> None:
    sign = -1 if end == at.LIMIT_LO else 1
    for vane in range(at.VANES):
        w[at.STEP + vane] = 20_000  # all of the other vanes' travel
        w[at.KAPPA + vane] = 16_384
    w[at.STEP + 2] = 1033  # ⌊31/32⌋ of it: 1000
    w[at.DEFLECTION + 2] = w[end + 2] - sign * away
    w[at.LIMIT_LO + 2 if sign > 0 else at.LIMIT_HI + 2] = w[at.DEFLECTION + 2]
    assert set_boxes(w) == held


@pytest.mark.parametrize("flags", [0, at.ROLL_LIMITED])
def test_a_vane_is_held_by_the_slew_at_an_end_of_its_window_or_a_64th_from_it_if_roll_gave_way(
    w: array, flags: int
) -> None:
    w[at.FLAGS] = flags
    near = 10 if flags else 0
    w[at.WINDOW_LO + 1], w[at.WINDOW_HI + 1] = 1000, 1000 + 64 * 10 + 63
    for distance in range(25):
        held = int(distance <= near)
        assert held_by_slew(w, 1, w[at.WINDOW_LO + 1] + distance) == held
        assert held_by_slew(w, 1, w[at.WINDOW_HI + 1] - distance) == held


@pytest.mark.parametrize("end", [-1, 1])
def test_a_vane_at_the_end_of_its_travel_is_not_held_by_the_slew(w: array, end: int) -> None:
    lo, hi = w[at.LIMIT_LO + 1], w[at.LIMIT_HI + 1]
    w[at.WINDOW_LO + 1], w[at.WINDOW_HI + 1] = (lo, lo + 2000) if end < 0 else (hi - 2000, hi)
    assert held_by_slew(w, 1, lo if end < 0 else hi) == 0
