"""Which rolls are right for a primary known only to within a few counts.

Over the primaries q in a square S around the delivered one, cut with Z, the policy gives
clamp(r, L(q), U(q)), where L is the least and U the largest reachable roll over q. Both come from
projecting the box, so L is convex, U is concave, and both are continuous on the convex set S n Z.
Hence the given rolls fill one interval [m, M]. Since L <= U,

    M = max_q max(L, min(r, U)) = max(max L, min(r, max U))
    m = min_q min(U, max(r, L)) = min(min U, max(r, min L))

max U and min L are linear programs in f (the largest and least sum f with |B f - p| <= reach).
The convex max L and the concave min U lie at corners of the polygon S n Z, where the closed form
gives L and U.
"""

from collections.abc import Sequence

import numpy as np
from scipy.optimize import linprog

from .policy import roll_range
from .primary import Point, Zonotope

CORNER_SLACK = 1e-9  # counts by which a corner cut by rounding may lie outside Z


def fair_roll_interval(
    b: Sequence[Point],
    lo: Sequence[float],
    hi: Sequence[float],
    p: Point,
    roll: float,
    reach: float,
) -> tuple[float, float] | None:
    """(m, M) over all primaries within `reach` counts per axis of p; None where none exists."""
    corners = cut_to_square(Zonotope(b, lo, hi).vertices, p, reach + CORNER_SLACK)
    if not corners:
        return None
    ends = [roll_range(b, lo, hi, corner) for corner in corners]
    least_most, most_least = min(most for _, most in ends), max(least for least, _ in ends)
    most = max(most_least, min(roll, sum_over_square(b, lo, hi, p, reach, -1)))
    least = min(least_most, max(roll, sum_over_square(b, lo, hi, p, reach, 1)))
    return float(least), float(most)


def sum_over_square(b, lo, hi, p, reach: float, sign: int) -> float:
    """The least (sign 1) or largest (sign -1) sum f over the box with B f in the square."""
    moment = np.asarray(b, dtype=float).T
    centre, reach = np.asarray(p, dtype=float), reach + CORNER_SLACK
    result = linprog(
        [sign] * 4,
        A_ub=np.vstack([moment, -moment]),
        b_ub=np.concatenate([centre + reach, reach - centre]),
        bounds=[*zip(lo, hi, strict=True)],
        method="highs",
    )
    if result.status != 0:
        raise RuntimeError(f"roll over the square around {p}: {result.message}")
    return float(np.sum(result.x))


def cut_to_square(polygon: Sequence[Point], centre: Point, reach: float) -> list[Point]:
    """The corners of a convex polygon cut with |x - centre| <= reach per axis.

    One half-plane after the other (Sutherland and Hodgman 1974 [from memory]); a segment and a
    point count as polygons with two corners and one.
    """
    corners = list(polygon)
    for axis, sign in ((0, 1), (0, -1), (1, 1), (1, -1)):
        limit = sign * centre[axis] + reach
        kept: list[Point] = []
        for index, here in enumerate(corners):
            before = corners[index - 1]
            depth, depth_before = limit - sign * here[axis], limit - sign * before[axis]
            if (depth < 0) != (depth_before < 0):
                t = depth_before / (depth_before - depth)
                kept.append(
                    (before[0] + t * (here[0] - before[0]), before[1] + t * (here[1] - before[1]))
                )
            if depth >= 0:
                kept.append(here)
        corners = kept
    return corners
