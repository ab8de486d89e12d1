"""The head of flight tables: each of its words between two limits, which the check takes, and
nothing beyond them; and the order in which they are looked at."""

from array import array
from collections.abc import Callable

import pytest

from mixer.flight import layout as at
from mixer.flight.unfit import allocation, control, edges, largest_gain, pairs
from mixer.ground.tables.build import words_of
from tests.support.vehicles import vehicle

WORDS = words_of(vehicle())
LOWEST, MOST = -(1 << 31), (1 << 31) - 1
Check = Callable[[array, int], int]
Limits = list[tuple[int, int, int, int]]  # first word, how many, the least and the most of each


CONTROL: Limits = [
    (at.POLICY, 1, 0, 1),
    (at.PERIOD_US, 1, 500, 50_000),
    (at.TIMEOUT_US, 1, 500, 5_000_000),
    (at.PA_SHIFT, 1, 0, 15),
    (at.PA_MAX, 1, 1, 0xFFFFFF),
    (at.PA_MANT, 1, 1, MOST // (WORDS[at.PA_MAX] >> WORDS[at.PA_SHIFT])),
    (at.PA_MIN, 1, 1, 0xFFFFFF),
    (at.BELIEVED_LOW, 2, 0, 3 * 16_384),
    (at.TRUST_US, 1, 0, 1_000_000_000),
    (at.WATCH_BAND, 4, 0, 90_000),
    (at.WATCH_WAIT_US, 4, 0, 16_000_000),
    (at.MNM_MAX, 2, 0, 1 << 29),
    (at.GAIN_EXP, 1, 22, 58),
    (at.MOMENT_EXP, 1, 0, 31),
    (at.ROLL_GAIN_EXP, 1, 22, 58),
    (at.ROLL_GAIN, 1, 0, largest_gain(WORDS[at.ROLL_MNM_MAX], WORDS[at.ROLL_GAIN_EXP])),
    (at.ROLL_MOMENT, 1, 0, 16_500),
    (at.ROLL_MOMENT_EXP, 1, 0, 31),
    (at.PULSE_Q, 1, 0, 16),
    (at.TRAVEL_LO, 4, -45_000, 0),
    (at.TRAVEL_HI, 4, 0, 45_000),
    (at.SLEW_HIGH, 4, 0, 2000),
    (at.SLEW_LOW, 4, 0, 999),
]
ALLOCATION: Limits = [
    (at.COS, 8, -16_384, 16_384),
    (at.COS_LOW, 8, -8192, 8192),
    (at.ROW_X, 12, -32_767, 32_767),
    (at.ROW_Q, 4, 8, 14),
    (at.WIDTH, 4, 0, 131_071),
    (at.NULL, 8, -16_384, 16_384),
]
STEEPEST = 2_147_483_647 // 511  # where the excess is below 2^18, as in these tables
OF_PAIR: Limits = [
    (0, 2, 0, 3),
    (2, 1, -524_288, 524_288),
    (3, 1, 9, 30),
    (5, 1, 9, 30),
    (6, 1, 0, 1_048_576),
    (4, 1, -STEEPEST, STEEPEST),
]
OF_EDGE: Limits = [
    (0, 2, -16_384, 16_384),
    (at.EDGE_LOW, 2, -8192, 8192),
    (at.EDGE_SUPPORT, 4, 0, 16_384),
    (at.EDGE_MIDDLE, 4, -16_384, 16_384),
    (at.EDGE_HALF, 4, 0, 16_384),
    (at.EDGE_ACROSS, 4, -16_384, 16_384),
    (at.EDGE_ACROSS_LOW, 4, -8192, 8192),
]


def each(of_one: Limits, first: int, stride: int, times: int) -> Limits:
    return [
        (first + n * stride + place, count, least, most)
        for n in range(times)
        for place, count, least, most in of_one
    ]


PAIRS = [(at.N_PAIRS, 1, 0, 6), *each(OF_PAIR, at.PAIRS, at.PAIR_STRIDE, WORDS[at.N_PAIRS])]
EDGES = [(at.N_EDGES, 1, 1, 4), *each(OF_EDGE, at.EDGES, at.EDGE_STRIDE, WORDS[at.N_EDGES])]
CHECKS: dict[str, tuple[Check, Limits]] = {
    "control": (control, CONTROL),
    "allocation": (allocation, ALLOCATION),
    "pairs": (pairs, PAIRS),
    "edges": (edges, EDGES),
}


@pytest.fixture
def w() -> array:
    """Rows of x and y alone: they share what they may be."""
    words = array("i", WORDS)
    for vane in range(at.VANES):
        words[at.ROW_X + vane] = words[at.ROW_Y + vane] = 0
    return words


def places(limits: Limits) -> list[int]:
    return [word for first, count, _, _ in limits for word in range(first, first + count)]


@pytest.mark.parametrize("name", CHECKS)
def test_the_words_are_looked_at_in_their_order_and_the_first_that_cannot_be_is_named(
    w: array, name: str
) -> None:
    """And no other word of the head is looked at: each of them cannot be."""
    check, limits = CHECKS[name]
    w[at.COS : at.BODY] = array("i", [LOWEST] * (at.BODY - at.COS))
    for word in places(limits):
        assert check(w, 0) == word
        w[word] = WORDS[word]
    assert check(w, 0) == 0


@pytest.mark.parametrize("name", CHECKS)
def test_each_word_may_be_its_least_and_its_most_and_nothing_beyond(w: array, name: str) -> None:
    check, limits = CHECKS[name]
    for first, count, least, most in limits:
        for word in range(first, first + count):
            kept = w[word]
            for value in (least - 1, most + 1):
                w[word] = value
                assert check(w, 0) == word, (word, value)
            for value in (least, most):
                w[word] = value
                # Of a normal its length is looked at too, and named by its first word.
                assert check(w, 0) != word or is_normal(word), (word, value)
            w[word] = kept


def is_normal(word: int) -> bool:
    return at.EDGES <= word < at.EDGES + 96 and (word - at.EDGES) % at.EDGE_STRIDE < 2


@pytest.mark.parametrize("name", CHECKS)
def test_what_was_bad_before_stays_so(w: array, name: str) -> None:
    check, limits = CHECKS[name]
    w[limits[0][0]] = LOWEST
    assert check(w, 7) == 7


def test_words_whose_limits_hang_on_others_are_held_to_those(w: array) -> None:
    """Each with what makes it narrow: alone among the vanes, and of the second pair."""
    o = at.PAIRS + at.PAIR_STRIDE
    mant = MOST // 1000
    for check, given, word, most in (
        (control, {at.PA_MAX: 4000, at.PA_SHIFT: 2}, at.PA_MANT, mant),
        (control, {at.PA_MAX: 4, at.PA_SHIFT: 2}, at.PA_MANT, MOST),
        (control, {at.PA_MAX: 4, at.PA_SHIFT: 5}, at.PA_MANT, MOST),
        (control, {at.ROLL_MNM_MAX: 1 << 29, at.ROLL_GAIN_EXP: 22}, at.ROLL_GAIN, (31 << 14) - 1),
        (allocation, {at.ROW_X + 2: 30_000}, at.ROW_Y + 2, 2767),
        (allocation, {at.ROW_X + 2: -30_000}, at.ROW_Y + 2, 2767),
        (allocation, {at.ROW_X: 30_000}, at.ROW_Y, 2767),
        (allocation, {at.ROW_X + 2: 30_000}, at.ROW_Y + 1, 32_767),
        (allocation, {at.ROW_X + 2: 30_000}, at.ROW_Y + 3, 32_767),
        (allocation, {at.WIDTH + 2: 131_071, at.ROW_Q + 2: 8}, at.NULL + 2, 256),
        (allocation, {at.WIDTH + 2: 131_071, at.ROW_Q + 2: 8}, at.NULL + 3, 16_384),
        (allocation, {at.WIDTH + 3: 131_071, at.ROW_Q + 3: 8}, at.NULL + 3, 256),
        (allocation, {at.WIDTH + 1: 0}, at.NULL + 1, 16_384),
        (pairs, {o + 6: 0}, o + 4, MOST // 511),
        (pairs, {o + 6: 508 << 9}, o + 4, MOST // 511),
        (pairs, {o + 6: 509 << 9}, o + 4, MOST // 512),
        (pairs, {o + 6: 1_048_576}, o + 4, MOST // 2051),
        (pairs, {o + 5: 30, o + 6: 0}, o + 4, MOST // 511),
    ):
        trial = array("i", w)
        trial[at.NULL : at.NULL + 4] = array("i", [0, 0, 0, 0])
        for place, value in given.items():
            trial[place] = value
        trial[word] = most
        assert check(trial, 0) == 0, word
        if most < MOST:
            trial[word] = most + 1
            assert check(trial, 0) == word


@pytest.mark.parametrize(
    ("highest", "exponent", "gain"),
    [
        (0, 22, (16_386 << 14) - 1),
        (1 << 29, 22, (31 << 14) - 1),
        (1 << 29, 30, (8191 << 14) - 1),
        (1 << 29, 31, (16_383 << 14) - 1),
        (1 << 29, 32, (16_386 << 14) - 1),
        (1 << 29, 58, (16_386 << 14) - 1),
        (100 * 16_384 - 1, 22, (10_485 << 14) - 1),
        (100 * 16_384, 22, (10_381 << 14) - 1),
        (MOST, 32, (8192 << 14) - 1),
        (MOST, 58, (8192 << 14) - 1),
    ],
)
def test_no_demand_becomes_more_than_2_to_26_eighths_of_a_count(
    highest: int, exponent: int, gain: int
) -> None:
    assert largest_gain(highest, exponent) == gain
    assert highest * gain >> exponent < 1 << 26


def test_a_normal_s_length_is_1_but_for_rounding(w: array) -> None:
    """Of squares that miss 2^28 by 2^15 there are none, by one more there are."""
    for x, y, fits in ((256, 16_383, False), (-16_272, 1921, False), (16_384, 181, True),
                       (16_383, 181, True), (16_384, 182, False), (16_383, 0, True),
                       (16_382, 0, False), (16_383, 181, True)):  # fmt: skip
        o = at.EDGES + at.EDGE_STRIDE
        w[o], w[o + 1] = x, y
        assert edges(w, 0) == (0 if fits else o), (x, y)


def test_of_no_pairs_none_is_looked_at(w: array) -> None:
    w[at.N_PAIRS], w[at.PAIRS] = 0, LOWEST
    assert pairs(w, 0) == 0
