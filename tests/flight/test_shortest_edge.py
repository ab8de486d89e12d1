"""Policy "direction": of all edges that a segment crosses the one that leaves least of it counts.

The kernel finds it by products that are cut short; here each edge is divided, without rounding.
"""

from array import array
from random import Random

from mixer.flight import commands
from mixer.flight import layout as at
from mixer.flight.direction import WHOLE, across_edge, last_on_segment, support_from_rest
from tests.support.unlike_vehicles import unlike_tables

SEED = 5
NEAR_ENOUGH = 1 << 17
DRAWS = {"long": 20_000, "ci": 2_000, "laptop": 25}  # for each vehicle


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
    for name, tables in unlike_tables():
        w = array("i", tables.words)
        commands.reset(w)
        w[at.UNIT] = 1
        for _ in range(DRAWS[size]):
            put_box(w, rng)
            w[at.POINT] = w[at.POINT + 1] = 0
            moved = last_on_segment(w)
            gap, rest = segment(w)
            share = least_share(w, gap)
            assert moved == (share < WHOLE), name
            if moved:
                cut += 1
                assert [w[at.POINT], w[at.POINT + 1]] == [
                    (along * share // WHOLE + start + 16) >> 5
                    for along, start in zip(gap, rest, strict=True)
                ], name
    assert cut > DRAWS[size]


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
