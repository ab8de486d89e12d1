"""The point of Z nearest to another, on edges put down by hand: what is crossed, how the walk along
the boundary goes and ends, how its place is rounded."""

from array import array
from collections.abc import Iterator

import pytest

from mixer.flight import layout as at
from mixer.flight import zonotope
from mixer.flight.zonotope import most_crossed, nearest
from mixer.ground.tables.build import words_of
from tests.support.strict_words import Checked, Word
from tests.support.vehicles import vehicle

WORDS = words_of(vehicle())
ONE = 16_384
NEAR = 32_767  # units: the farthest gap that is judged to its last bit


@pytest.fixture
def w() -> array:
    """Four edges that support nothing, about a centre at 0."""
    words = array("i", WORDS)
    words[at.N_EDGES] = 4
    for o in edges():
        words[o : o + at.EDGE_STRIDE] = array("i", [0] * at.EDGE_STRIDE)
    return words


def edges() -> Iterator[int]:
    yield from (at.EDGES + k * at.EDGE_STRIDE for k in range(4))


# ---- which edge is crossed -----------------------------------------------------------------------


@pytest.mark.parametrize("k", range(4))
def test_an_edge_is_crossed_by_the_least_that_can_be_told_and_on_either_side(
    w: array, k: int
) -> None:
    """In 1/16384 of a unit: the gap stands 1 from the middle, or 3 where a vane supports 2."""
    o = at.EDGES + k * at.EDGE_STRIDE
    w[o], w[o + at.EDGE_SUPPORT], w[at.HALF] = 1, 2, 0
    assert (most_crossed(w, 1, 0), most_crossed(w, -1, 0), most_crossed(w, 0, 9)) == (k, k + 4, -1)
    w[at.HALF] = 1
    assert (most_crossed(w, 2, 0), most_crossed(w, -2, 0)) == (-1, -1)
    assert (most_crossed(w, 3, 0), most_crossed(w, -3, 0)) == (k, k + 4)


@pytest.mark.parametrize("axis", [0, 1])
@pytest.mark.parametrize("sign", [-1, 1])
def test_up_to_32767_units_the_last_bit_of_a_gap_counts_and_beyond_it_the_gap_is_halved(
    w: array, axis: int, sign: int
) -> None:
    """The other part of the gap is 3, and half of it, rounded down, 1: what is missing weighs more
    than the least that the edge is crossed by."""
    o = at.EDGES + at.EDGE_STRIDE
    weight = 2 * ONE
    w[o + axis], w[o + 1 - axis] = sign * ONE, weight
    w[o + at.EDGE_SUPPORT], w[o + at.EDGE_SUPPORT + 1] = ONE, 1
    gap = [0, 0]
    for far, crossed in ((NEAR, 1), (NEAR + 1, -1)):
        w[at.HALF], w[at.HALF + 1] = far, 3 * weight - 1
        gap[axis], gap[1 - axis] = sign * far, 3
        assert most_crossed(w, *gap) == crossed


@pytest.mark.parametrize("gap", [(1 << 24, 3), (-(1 << 24), 3), (5, 1 << 24), (5, -(1 << 24))])
def test_a_gap_however_far_stays_in_its_word(gap: tuple[int, int]) -> None:
    words = Checked(map(Word, WORDS))
    for vane in range(at.VANES):
        words[at.HALF + vane] = ONE
    assert most_crossed(words, *map(Word, gap)) >= 0


# ---- the walk ------------------------------------------------------------------------------------


def test_the_walk_turns_eight_edges_at_the_most_whatever_the_tables_say(w: array) -> None:
    """Each edge says that the foot lies further on, so that it comes by all of both sides: the last
    of the eight is the one before it began, and its normal leads to the point."""
    for k, o in enumerate(edges()):
        w[o + at.EDGE_MIDDLE] = -ONE
        w[o], w[o + 1] = 0, ONE + k
    w[at.HALF] = 20_000
    w[at.POINT], w[at.POINT + 1] = 0, 1000
    turns = []
    along_edge = zonotope.along_edge

    def counted(*arguments) -> int:
        turns.append(arguments[1])
        assert len(turns) <= 8
        return along_edge(*arguments)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(zonotope, "along_edge", counted)
        assert nearest(w)
    first = 3  # the longest normal
    order = [at.EDGES + (first + n) % 4 * at.EDGE_STRIDE for n in range(8)]
    assert turns == order
    last = ONE + 2
    assert w[at.POINT] == (last * 20_000 + 8192 >> 14)
    assert w[at.POINT + 1] == 0


@pytest.mark.parametrize("sign", [-1, 1])
def test_no_place_on_an_edge_is_farther_out_than_four_vanes_reach(w: array, sign: int) -> None:
    w[at.N_EDGES] = 1
    o = at.EDGES
    w[o + 1] = ONE
    w[o + at.EDGE_HALF], w[at.HALF] = ONE, 200_000
    w[at.POINT], w[at.POINT + 1] = sign * 100_000, 1000
    nearest(w)
    assert (abs(w[at.POINT]), w[at.POINT + 1]) == (65_536, 0)


# ---- where the point is --------------------------------------------------------------------------


@pytest.mark.parametrize("more", [8191, 8192])
@pytest.mark.parametrize("normal", [(9001, 13_691), (-9001, 13_691), (13_691, -9001)])
def test_each_part_of_the_point_is_rounded_to_the_nearest_unit(
    w: array, normal: tuple[int, int], more: int
) -> None:
    """Heights above the middle, and places along the edge, at whose products with the normal the
    half stands that rounding turns on, or just below it."""
    w[at.N_EDGES] = 1
    o = at.EDGES
    w[o], w[o + 1] = normal
    w[o + at.EDGE_SUPPORT], w[o + at.EDGE_MIDDLE + 1] = ONE, ONE
    for factor in normal:
        turning = more * pow(factor, -1, ONE) % ONE
        for height, place in ((turning, 0), (turning, 777), (1234, turning), (turning, turning)):
            w[at.HALF], w[at.HALF + 1] = height, place
            w[at.POINT], w[at.POINT + 1] = 4 * normal[0], 4 * normal[1]
            assert nearest(w)
            x = nearest_unit(normal[0] * height) - nearest_unit(normal[1] * place)
            y = nearest_unit(normal[1] * height) + nearest_unit(normal[0] * place)
            assert (w[at.POINT], w[at.POINT + 1]) in ((x, y), (-x, -y))


def nearest_unit(product: int) -> int:
    whole, rest = divmod(product, ONE)
    return whole + (rest >= ONE // 2)
