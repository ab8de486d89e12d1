"""Policy "direction": of all edges that a segment crosses the one that leaves least of it counts.

The kernel finds it by products that are cut short; here each edge is divided, without rounding.
"""

import math
from array import array
from random import Random

import pytest

from mixer.flight import commands
from mixer.flight import layout as at
from mixer.flight.direction import WHOLE, across_edge, fine, last_on_segment, support_from_rest
from tests.support.unlike_vehicles import unlike_tables

SEED = 5
NEAR_ENOUGH = 1 << 17
DRAWS = {"long": 20_000, "ci": 2_000, "laptop": 50}  # for each vehicle
EVERY = {"long": 1, "ci": 1, "laptop": 5}  # of the vehicles


def put_box(w: array, rng: Random) -> None:
    """T_τ down to a few counts wide; a demand inside or far outside, but near enough not to be
    halved."""
    size = 1 << rng.randrange(1, 17)
    for vane in range(at.VANES):
        ends = sorted(rng.randint(-size, size) for _ in range(2))
        w[at.TARGET_BOX + vane], w[at.TARGET_BOX + at.VANES + vane] = ends
    reach = min(size << rng.randrange(1, 8), NEAR_ENOUGH)
    w[at.WANT], w[at.WANT + 1] = rng.randint(-reach, reach), rng.randint(-reach, reach)


def least_share(w: array, gap: tuple[int, int]) -> int:
    """The smallest share of the segment that an edge leaves, WHOLE where none cuts it."""
    shares = [WHOLE]
    for o in range(at.EDGES, at.EDGES + w[at.N_EDGES] * at.EDGE_STRIDE, at.EDGE_STRIDE):
        rise = across_edge(w, o, *gap)
        support = support_from_rest(w, o, 1 if rise > 0 else -1)
        if abs(rise) > support:
            shares.append(support * WHOLE // abs(rise))
    return min(shares)


def test_the_point_stands_at_the_least_share_of_any_edge(size: str) -> None:
    rng, cut = Random(SEED), 0
    print(f"seed {SEED}")
    for name, tables in unlike_tables(EVERY[size]):
        w = array("i", tables.words)
        commands.reset(w)
        w[at.UNIT] = 1
        for _ in range(DRAWS[size]):
            put_box(w, rng)
            cut += is_cut_at_the_least_share(w, name)
    assert cut > DRAWS[size]


def is_cut_at_the_least_share(w: array, name: str) -> int:
    w[at.POINT] = w[at.POINT + 1] = 0
    moved = last_on_segment(w)
    gap, rest = segment(w)
    share = least_share(w, gap)
    assert moved == (share < WHOLE), name
    if moved:
        assert [w[at.POINT], w[at.POINT + 1]] == [
            (along * share // WHOLE + start + 16) >> 5
            for along, start in zip(gap, rest, strict=True)
        ], name
    return moved


def test_nothing_crosses_an_edge_that_no_force_stands_on_however_it_grazes(size: str) -> None:
    """Demands almost along an edge of Z through a0, up to 1/128 of a count across it."""
    grazed = 0
    for name, tables in unlike_tables(EVERY[size]):
        w = array("i", tables.words)
        commands.reset(w)
        w[at.UNIT] = 1
        o = at.EDGES
        for vane in range(at.VANES):  # all of Z is on the inner side of this edge
            inwards = 1 if w[o + at.EDGE_ACROSS + vane] < 0 else -1
            w[at.TARGET_BOX + vane] = min(inwards << 14, 0)
            w[at.TARGET_BOX + at.VANES + vane] = max(inwards << 14, 0)
        for along in range(1, 300):
            w[at.WANT], w[at.WANT + 1] = (-w[o + 1] * along) >> 14, (w[o] * along) >> 14
            cut = is_cut_at_the_least_share(w, name)
            if across_edge(w, o, *segment(w)[0]) == 1:
                grazed += 1
                assert cut and [w[at.POINT], w[at.POINT + 1]] == [0, 0]
    assert grazed > 10


# ---- its parts, by the numbers that their words stand for ----------------------------------------

HALF_Q28 = 1 << 27


def halves(number_q28: int) -> tuple[int, int]:
    return number_q28 >> 14, number_q28 & 16383


@pytest.mark.parametrize("force", [1, -1, 3, -3, 1000])
def test_a_force_along_an_axis_is_rounded_to_the_nearest_128th(force: int) -> None:
    """Weights about those at which weight·force is a half, in 1/128 of a count."""
    for nearest in (-3, 0, 1, 2):
        weight = (2 * nearest + 1) * (1 << 23) // force
        for off in (-1, 0, 1):
            exact = (weight + off) * force * 16 / (1 << 28)  # a float has room for all of it
            assert fine(*halves(weight + off), force) == math.floor(exact + 0.5)


def test_across_an_edge_the_last_bit_of_a_gap_counts_and_is_rounded() -> None:
    """A gap of 1/128 of a count along one axis is the normal's own part along it, rounded."""
    w = array("i", bytes(4 * at.STATE_WORDS))
    for part_q28 in range(-(1 << 28), 1 << 28, (1 << 28) // 500):
        for axis in range(2):
            w[axis], w[at.EDGE_LOW + axis] = halves(part_q28)
            w[1 - axis] = w[at.EDGE_LOW + 1 - axis] = 0
            gap = (1 - axis, axis)
            assert across_edge(w, 0, *gap) == (part_q28 + HALF_Q28) >> 28


@pytest.mark.parametrize(
    ("across_q28", "side"),
    [(1 << 14, 1), (1 << 14, -1), (-(1 << 14), 1), (-(1 << 14), -1), (16383, -1), (0, 1), (0, -1)],
)
@pytest.mark.parametrize("vane", range(at.VANES))
def test_an_edge_stands_where_each_vane_gives_most_across_it(
    across_q28: int, side: int, vane: int
) -> None:
    """A vane all but parallel to the edge, too: 1/16384 and less of its force is across it."""
    w = array("i", bytes(4 * (at.STATE_WORDS + at.EDGE_STRIDE)))
    o = at.STATE_WORDS
    w[o + at.EDGE_ACROSS + vane], w[o + at.EDGE_ACROSS_LOW + vane] = halves(across_q28)
    ends = w[at.FROM_REST + vane], w[at.FROM_REST + at.VANES + vane] = -(1 << 16), 1 << 15
    most = max(side * across_q28 * end >> 24 for end in ends)
    assert support_from_rest(w, o, side) == pytest.approx(most, abs=1)


def test_an_edge_that_a0_stands_on_stands_at_nothing() -> None:
    w = array("i", bytes(4 * (at.STATE_WORDS + at.EDGE_STRIDE)))
    for side in (-1, 1):
        assert support_from_rest(w, at.STATE_WORDS, side) == 0


def segment(w: array) -> tuple[tuple[int, int], tuple[int, int]]:
    """From a0 to the demand, and a0, 1/128 of a count: by the directions in Q28."""
    rest = []
    for high, low in ((at.COS, at.COS_LOW), (at.SIN, at.SIN_LOW)):
        total = 0
        for vane in range(at.VANES):
            lo, hi = w[at.TARGET_BOX + vane], w[at.TARGET_BOX + at.VANES + vane]
            weight = (w[high + vane] << 14) + w[low + vane]
            total += ((min(max(0, lo), hi) * weight >> 14) + 512) >> 10
        rest.append(total)
    return ((w[at.WANT] << 4) - rest[0], (w[at.WANT + 1] << 4) - rest[1]), (rest[0], rest[1])
