"""The steering policy, worked out exactly: target, primary, roll, then least effort.

Every function takes floats or fractions. Forces and moments are force counts: p = sum f_i b_i is
pitch and yaw divided by the lever arm, rho = sum f_i is roll divided by the roll arm.

Sources: the attainable set as convex image of the box, Durham, J. Guidance 16(4), 1993
[from memory]; zonotope facets lie along pairs of generators, Shephard, Canad. J. Math. 26, 1974.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations

import numpy as np

from .directions import directions
from .primary import PARALLEL, Number, Point, Zonotope

KEPT_BACK = 1 / 128  # the share of primary authority that is never used
Box = tuple[Sequence[float], Sequence[float]]  # least and largest force of each vane: (4,), (4,)


@dataclass(frozen=True)
class Exact:
    """What the policy gives: target (2,), p (2,), rho, f (4,), rho_range (2,), all in counts."""

    target: np.ndarray
    p: np.ndarray
    rho: float
    f: np.ndarray
    rho_range: np.ndarray


def exact_policy(
    clocking_deg: Sequence[float],
    lo: Sequence[float],
    hi: Sequence[float],
    demand_xy: Sequence[float],
    roll: float,
    policy: str,
    tau: float = KEPT_BACK,
    *,
    travel: Box | None = None,
    first: Box | None = None,
    exact: bool = False,
    weights: Sequence[float] | None = None,
    misalignment_deg: Sequence[float] = (0.0, 0.0, 0.0, 0.0),
) -> Exact:
    """The answer to one demand.

    clocking_deg, lo, hi (4,); demand_xy (2,) counts; policy "nearest" or "direction". lo and hi
    are the window W of this cycle, `travel` is T, from which the target is sought, `first` W', the
    window of the primary: what is not given is W, as where the slew holds no vane. `exact`
    works in fractions, without any rounding after the unit vectors. `weights` (4,) replaces the
    least sum f^2 by the least sum w f^2. `misalignment_deg` (4,) is added to the clocking, however
    small.
    """
    number = Fraction if exact else float
    b = [(number(x), number(y)) for x, y in directions(clocking_deg, misalignment_deg)]
    low, high = [number(x) for x in lo], [number(x) for x in hi]
    demand = (number(demand_xy[0]), number(demand_xy[1]))
    window = low, high
    far, near = (window if box is None else ends_of(box, number) for box in (travel, first))
    target = target_of(b, *far, demand, policy, number(tau))
    p = Zonotope(b, *near).nearest(target)
    least, most = roll_range(b, low, high, p)
    rho = min(max(number(roll), least), most)
    w = [number(x) for x in (weights if weights is not None else (1, 1, 1, 1))]
    f = least_effort(b, low, high, p, rho, w)
    return Exact(
        target=np.array([float(x) for x in target]),
        p=np.array([float(x) for x in p]),
        rho=float(rho),
        f=np.array([float(x) for x in f]),
        rho_range=np.array([float(least), float(most)]),
    )


def ends_of(box: Box, number: type) -> tuple[list[Number], list[Number]]:
    """A box in floats or fractions."""
    return [number(x) for x in box[0]], [number(x) for x in box[1]]


def target_of(
    b: Sequence[Point],
    lo: Sequence[Number],
    hi: Sequence[Number],
    demand: Point,
    policy: str,
    tau: Number,
) -> Point:
    """Step 1, from travel: the demand where the shrunk Z holds it, else its nearest or its last
    point. (Step 2 is the point of the window's Z nearest to the target.)"""
    reachable = Zonotope(b, lo, hi, tau)
    if policy == "nearest":
        return reachable.nearest(demand)
    if policy == "direction":
        return demand if reachable.contains(demand) else reachable.last_on_segment(demand)
    raise ValueError(f'policy: "{policy}"; allowed: "nearest", "direction"')


def area(a: Point, b: Point, c: Point) -> Number:
    """Twice the signed area of a triangle: the determinant of the columns (x, y, 1)."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def roll_range(
    b: Sequence[Point], lo: Sequence[Number], hi: Sequence[Number], p: Point
) -> tuple[Number, Number]:
    """Step 3: the least and the largest sum f_i over the box where sum f_i b_i = p.

    The set of reachable (p, rho) is a zonotope with generators a_i = (b_i, 1), and the normals
    a_i x a_j of all pairs describe it (also where vanes are held: the half-spaces move
    continuously as widths shrink to nothing). Each pair leaves a strip of rho over p.
    """
    least: Number = -(10**30)
    most: Number = 10**30
    for i, j in combinations(range(4), 2):
        normal_z = b[i][0] * b[j][1] - b[i][1] * b[j][0]
        if normal_z == 0 or (isinstance(normal_z, float) and abs(normal_z) <= PARALLEL):
            continue  # opposite vanes: this pair bounds p alone
        support_low: Number = 0
        support_high: Number = 0
        for k in range(4):
            if k not in (i, j):
                height = area(b[i], b[j], b[k])  # a_k . (a_i x a_j)
                ends = height * lo[k], height * hi[k]
                support_low += min(ends)
                support_high += max(ends)
        level = (b[i][1] - b[j][1]) * p[0] + (b[j][0] - b[i][0]) * p[1]
        strip = (support_low - level) / normal_z, (support_high - level) / normal_z
        least, most = max(least, min(strip)), min(most, max(strip))
    if least > most:  # a single rho, met with opposite rounding
        least = most = (least + most) / 2
    return least, most


def null_vector(b: Sequence[Point]) -> list[Number]:
    """The v with sum v_i b_i = 0 and sum v_i = 0: signed areas of the other three vanes."""
    return [
        area(b[1], b[2], b[3]),
        -area(b[0], b[2], b[3]),
        area(b[0], b[1], b[3]),
        -area(b[0], b[1], b[2]),
    ]


def least_effort(
    b: Sequence[Point],
    lo: Sequence[Number],
    hi: Sequence[Number],
    p: Point,
    rho: Number,
    weights: Sequence[Number] = (1, 1, 1, 1),
) -> list[Number]:
    """Step 4: on the segment of the box with sum f_i b_i = p, sum f_i = rho, least sum w f^2.

    Three vanes alone give one force set with the fourth at zero; the null vector moves along all
    the others. Where rounding leaves the segment empty its middle is taken.
    """
    v = null_vector(b)
    spare = max(range(4), key=lambda i: abs(v[i]))  # the other three span the fattest triangle
    start = three_vane_forces(b, spare, p, rho)
    t_low = t_high = None
    for i in range(4):
        ends = (lo[i] - start[i]) / v[i], (hi[i] - start[i]) / v[i]
        t_low = min(ends) if t_low is None else max(t_low, min(ends))
        t_high = max(ends) if t_high is None else min(t_high, max(ends))
    assert t_low is not None and t_high is not None
    t = -sum(w * s * n for w, s, n in zip(weights, start, v, strict=True)) / sum(
        w * n * n for w, n in zip(weights, v, strict=True)
    )
    t = (t_low + t_high) / 2 if t_low > t_high else min(max(t, t_low), t_high)
    return [s + t * n for s, n in zip(start, v, strict=True)]


def three_vane_forces(b: Sequence[Point], spare: int, p: Point, rho: Number) -> list[Number]:
    """The forces that give (p, rho) with vane `spare` at zero, by Cramer's rule."""
    i, j, k = (vane for vane in range(4) if vane != spare)
    forces: list[Number] = [0, 0, 0, 0]
    whole = area(b[i], b[j], b[k])
    for vane, x, y in ((i, j, k), (j, k, i), (k, i, j)):
        # Replace the vane's column (b, 1) by (p, rho) in the determinant.
        forces[vane] = (
            rho * (b[x][0] * b[y][1] - b[x][1] * b[y][0])
            + p[0] * (b[x][1] - b[y][1])
            + p[1] * (b[y][0] - b[x][0])
        ) / whole
    return forces
