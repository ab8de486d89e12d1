"""The body of flight tables: rates of burn load, and what is read over time."""

from array import array

import pytest

from mixer.flight import layout as at
from mixer.flight.unfit import largest_gain, rates, unfit_word
from mixer.ground.tables.build import words_of
from tests.support.vehicles import vehicle

WORDS = words_of(vehicle())
LOWEST = -(1 << 31)


@pytest.fixture
def w() -> array:
    return array("i", WORDS)


def test_the_rates_of_burn_load_are_looked_at_one_by_one_and_then_their_rises(w: array) -> None:
    first = w[at.RATE_OFF]
    for word in range(first, first + 128):
        w[word] = LOWEST
    for word in range(first, first + 128):
        assert rates(w, 0, len(w)) == word
        w[word] = WORDS[word]
    assert rates(w, 0, len(w)) == 0


@pytest.mark.parametrize("n", [0, 1, 62, 63])
def test_a_rate_and_its_rise_together_stay_below_2(w: array, n: int) -> None:
    rate, rise = w[at.RATE_OFF] + n, w[at.RATE_OFF] + 64 + n
    w[rise] = 0
    for value, named in ((-1, rate), (0, 0), (32_767, 0), (32_768, rate)):
        w[rate] = value
        assert rates(w, 0, len(w)) == named
    w[rate] = 30_000
    for value, named in ((-1, rise), (0, 0), (2767, 0), (2768, rise)):
        w[rise] = value
        assert rates(w, 0, len(w)) == named


def test_the_rates_stand_in_the_body_to_its_last_word(w: array) -> None:
    moved = array("i", [*w, *w[w[at.RATE_OFF] : w[at.RATE_OFF] + 128]])
    moved[at.RATE_OFF] = len(w)
    assert rates(moved, 0, len(moved)) == 0
    assert rates(moved, 0, len(moved) - 1) == at.RATE_OFF
    w[at.RATE_OFF] = at.BODY
    assert rates(w, 0, len(w)) != at.RATE_OFF
    w[at.RATE_OFF] = at.BODY - 1
    assert rates(w, 0, len(w)) == at.RATE_OFF


def test_tables_are_as_long_as_their_head_at_the_least(w: array) -> None:
    assert unfit_word(w, at.BODY - 1) == at.BODY - 1
    assert unfit_word(w, at.BODY) == at.RATE_OFF


@pytest.mark.parametrize(
    ("offset", "stride"),
    [
        (at.CURVE_OFF, at.CURVE_STRIDE),
        (at.SERVO_OFF, at.SERVO_STRIDE),
        (at.WEAR_OFF, at.WEAR_STRIDE),
        (at.EXPECTED_OFF, at.EXPECTED_STRIDE),
        (at.LEVER_OFF, at.LEVER_STRIDE),
    ],
)
def test_in_no_table_of_the_body_a_record_begins_before_the_last_one(
    w: array, offset: int, stride: int
) -> None:
    second = w[offset] + stride
    w[second] = -at.END - 1
    assert unfit_word(w, len(w)) == second


GAIN = largest_gain(WORDS[at.MNM_MAX], WORDS[at.GAIN_EXP])
COLUMNS = [
    *((at.WEAR_OFF, at.WEAR_STRIDE, 2 * vane + 1, 16, 32_767) for vane in range(at.VANES)),
    (at.EXPECTED_OFF, at.EXPECTED_STRIDE, 1, 15, 32_767),
    (at.LEVER_OFF, at.LEVER_STRIDE, 1, 0, GAIN),
    (at.LEVER_OFF, at.LEVER_STRIDE, 3, 15, 16_500),
]


@pytest.mark.parametrize(("offset", "stride", "place", "shift", "most"), COLUMNS)
def test_what_is_read_over_time_stays_within_its_limits_to_the_end_of_a_piece(
    w: array, offset: int, stride: int, place: int, shift: int, most: int
) -> None:
    o = w[offset] + stride
    value, slope = o + place, o + place + 1
    w[o + stride] = w[o] + 5  # a short piece: of 4 steps from its first
    w[slope] = 0
    for given, named in ((-1, value), (0, 0), (most, 0), (most + 1, value)):
        w[value] = given
        assert unfit_word(w, len(w)) == named
    steps = 4
    rise = max((1 << shift) // steps, 1)
    more = rise * steps >> shift  # 1, but for a slope without fraction bits
    for given, by, named in (
        (most - more, rise, 0),
        (most - more + 1, rise, slope),
        (more, -rise, 0),
        (more - 1, -rise, slope),
    ):
        w[value], w[slope] = given, by
        assert unfit_word(w, len(w)) == named, (given, by)
