"""Roll and effort on boxes, rows and pairs put down by hand: how far roll gives way, and where a
number is held so that it stays in its word."""

from array import array

import pytest

from mixer.flight import layout as at
from mixer.flight.roll_and_effort import lift_of, raised, set_forces, yielding
from mixer.ground.tables.build import words_of
from tests.support.vehicles import vehicle

WORDS = words_of(vehicle())
ONE = 16_384
Q = 14
MOST_CHANGE, MOST_ROLL = 131_071, 65_535


@pytest.fixture
def w() -> array:
    """Strips that only roll moves, each by as much as roll; boxes of one force, 0; no pairs."""
    words = array("i", WORDS)
    words[: at.STATE_WORDS] = array("i", [0] * at.STATE_WORDS)
    words[at.UNIT] = 1
    words[at.N_PAIRS] = 0
    for vane in range(at.VANES):
        words[at.COS + vane] = words[at.SIN + vane] = words[at.NULL_EFFORT + vane] = 0
        words[at.ROW_X + vane] = words[at.ROW_Y + vane] = 0
        words[at.ROW_Q + vane] = Q
        words[at.ROW_ROLL + vane] = words[at.WIDTH + vane] = 1 << Q
        words[at.NULL + vane] = ONE
    return words


def box(w: array, lo: int, hi: int) -> None:
    for vane in range(at.VANES):
        w[at.SLEW_BOX + vane], w[at.SLEW_BOX + at.VANES + vane] = lo, hi


def pair(w: array, n: int, vanes: tuple[int, int], apart: int, back: int, most: int) -> None:
    """Roll moves the strips of two vanes apart by so many times itself, and so many times what they
    are apart by, up to `most`, is taken off it."""
    o = at.PAIRS + n * at.PAIR_STRIDE
    w[o : o + 7] = array("i", [*vanes, apart << 9, 9, back << 9, 9, most])
    w[at.N_PAIRS] = max(w[at.N_PAIRS], n + 1)


# ---- lifting -------------------------------------------------------------------------------------


def test_half_a_width_is_lifted_to_between_2_to_12_and_2_to_14() -> None:
    """Or by the most, 9, where it is 8 and less."""
    for half in range(ONE + 1):
        z = lift_of(half)
        assert half << z <= ONE
        assert half << z > ONE >> 2 or (half <= 8 and z == 9)


@pytest.mark.parametrize("shift", [1, 5, 10])
def test_what_is_lifted_stays_within_its_most(shift: int) -> None:
    for x in (0, 1, -1, 1000, 1023, 1024, 1025, 2**20, -1024, -1025, -(2**20)):
        held = min(max(x, -(1024 >> shift)), 1024 >> shift)
        assert raised(x, shift, 1024) == held << shift


# ---- roll that gives way -------------------------------------------------------------------------


@pytest.mark.parametrize("sign", [-1, 1])
@pytest.mark.parametrize("back", [-1000, 1000])
def test_a_change_of_roll_is_held_within_its_word_whatever_a_pair_says(
    w: array, sign: int, back: int
) -> None:
    pair(w, 0, (1, 2), 1, back, 1 << 20)
    w[at.ETA + 1] = sign * 5000
    assert yielding(w) == (MOST_CHANGE if sign * back < 0 else -MOST_CHANGE)


@pytest.mark.parametrize("first", [1, 2, -1])
def test_the_next_pair_is_as_far_apart_as_the_change_so_far_makes_it(w: array, first: int) -> None:
    """From the first pair on by `first`; of the second, four times as much, that is taken off."""
    pair(w, 0, (0, 1), 1, -first, 1)
    pair(w, 1, (2, 3), 4, 1, 1 << 20)
    w[at.ETA] = 100
    assert yielding(w) == first - 4 * first


@pytest.mark.parametrize("given_way", [0, 1, -1, 7])
def test_roll_is_limited_where_it_gives_way_by_anything_and_not_where_it_does_not(
    w: array, given_way: int
) -> None:
    """Vane 1's strip stands 100 away from the others', all of them points."""
    w[at.ROW_ROLL] = 0
    box(w, -200, 200)
    for vane in range(at.VANES):
        w[at.WIDTH + vane] = 0
    if given_way:
        pair(w, 0, (1, 0), 1, -given_way, 1)
    w[at.WANT + 2] = 8  # 16 sixteenths, lifted by 8
    set_forces(w)
    roll = (16 << 8) >> 3
    assert list(w[at.ETA : at.ETA + 4]) == [0, *[roll + given_way] * 3]
    assert bool(w[at.FLAGS] & at.ROLL_LIMITED) == (given_way != 0)


@pytest.mark.parametrize("sign", [-1, 1])
def test_roll_itself_is_held_to_16_bits_and_a_sign(w: array, sign: int) -> None:
    box(w, -32_768, 32_768)
    w[at.WANT + 2] = sign * 1_000_000
    set_forces(w)
    assert list(w[at.ETA : at.ETA + 4]) == [sign * MOST_ROLL] * 4
    assert w[at.FLAGS] & at.ROLL_LIMITED


@pytest.mark.parametrize("sign", [-1, 1])
def test_so_is_what_it_gives_way_to(w: array, sign: int) -> None:
    w[at.ROW_ROLL] = 0
    box(w, -200, 200)
    for vane in range(at.VANES):
        w[at.WIDTH + vane] = 0
    pair(w, 0, (1, 0), 1, -sign * 1000, 1 << 20)
    w[at.WANT + 2] = 8
    set_forces(w)
    assert list(w[at.ETA : at.ETA + 4]) == [0, *[sign * MOST_ROLL] * 3]


# ---- what is left of pitch, yaw and effort about the middle of the box ---------------------------


@pytest.mark.parametrize(("row", "weight"), [(at.ROW_X, at.COS), (at.ROW_Y, at.SIN)])
def test_what_the_middle_of_the_box_gives_is_taken_off_to_the_last_bit_and_rounded_down(
    w: array, row: int, weight: int
) -> None:
    """Of 1024 parts of what is told, one more than none and one less than all make the same."""
    w[row + 1] = 1 << Q
    box(w, 2, 2)  # the middle of each is 1 unit
    for parts, taken in ((0, 0), (1, 1), (1023, 1), (1024, 1), (1025, 2)):
        w[weight] = parts
        set_forces(w)
        assert w[at.BASE + 1] == -taken << 4  # lifted by 10, less 6


@pytest.mark.parametrize(("row", "axis"), [(at.ROW_X, 0), (at.ROW_Y, 1)])
@pytest.mark.parametrize("sign", [-1, 1])
def test_a_primary_however_far_out_is_held_to_65536(
    w: array, row: int, axis: int, sign: int
) -> None:
    w[row + 2] = 1 << Q
    w[at.POINT + axis] = sign * 10_000_000
    set_forces(w)
    assert w[at.BASE + 2] == sign * 65_536


def without_roll(w: array) -> None:
    for vane in range(at.VANES):
        w[at.ROW_ROLL + vane] = 0


def test_the_least_effort_is_sought_to_the_last_bit(w: array) -> None:
    """One part more takes another eighth off each force."""
    without_roll(w)
    box(w, -6, 10)  # the middle of each is 1 unit
    for parts, force in ((4096, 2), (4097, 1)):
        w[at.NULL_EFFORT + 3] = parts
        set_forces(w)
        assert list(w[at.FORCE : at.FORCE + 4]) == [force] * 4


def test_an_effort_however_far_out_is_held_to_2_to_20(w: array) -> None:
    """By vanes that hardly count, with strips that reach farther: 256 halves of an eighth."""
    without_roll(w)
    box(w, -32_784, 32_751)
    for vane in range(at.VANES):
        w[at.WIDTH + vane], w[at.ROW_Q + vane], w[at.NULL + vane] = 131_071, 8, 1
        w[at.NULL_EFFORT + vane] = 1 << 30
    set_forces(w)
    assert w[at.STRIPS_END] > 1 << 20
    assert list(w[at.FORCE : at.FORCE + 4]) == [(256 - 33 + 1) >> 1] * 4
