"""How far delivered vane forces are from what the policy asks."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .directions import directions
from .fair_roll import fair_roll_interval
from .policy import KEPT_BACK, Box, exact_policy, least_effort, null_vector, roll_range
from .primary import Number, Point, Zonotope, along, combine, minus

PRIMARY_COUNTS = 4.0
ROLL_COUNTS = 8.0
STATIONS = 65  # along a grazing segment


@dataclass(frozen=True)
class Verdict:
    """Errors of one delivered answer, in force counts.

    primary_error_counts (2,): |delivered - exact| pitch and yaw.
    roll_error_counts: distance of the delivered sum f to the nearest roll the policy gives for
        some primary within 4 counts per axis of the delivered one (where it is below 8 the true
        distance may be smaller still); inf where no such primary is reachable.
    effort_excess: sum f^2 above the least for the delivered moments.
    effort_explained: the excess that one count per vane accounts for.
    outside_counts: how far the worst vane is outside its box.
    primary_edge_error_counts (2,): as primary_error_counts, but against every answer that the
        "direction" policy gives when Z's edges move in or out by up to one count. Where a segment
        leaves Z at a grazing angle, one count of edge moves the exact answer by many. Equal to
        primary_error_counts for "nearest".
    """

    primary_error_counts: np.ndarray
    roll_error_counts: float
    effort_excess: float
    effort_explained: float
    outside_counts: float
    primary_edge_error_counts: np.ndarray

    @property
    def inside_box(self) -> bool:
        return self.outside_counts <= 0.0

    @property
    def faults(self) -> list[str]:
        """What is out of bounds, in words; empty when the answer is right."""
        found = []
        if self.primary_error_counts.max() > PRIMARY_COUNTS:
            found.append("primary")
        if self.roll_error_counts > ROLL_COUNTS:
            found.append("roll")
        if self.effort_excess > self.effort_explained:
            found.append("effort")
        if not self.inside_box:
            found.append("box")
        return found


def judge(
    clocking_deg: Sequence[float],
    lo: Sequence[float],
    hi: Sequence[float],
    d: Sequence[float],
    r: float,
    policy: str,
    delivered_f: Sequence[Number] | np.ndarray,
    tau: float = KEPT_BACK,
    *,
    travel: Box | None = None,
    first: Box | None = None,
) -> Verdict:
    """Measure delivered_f (4,) counts against the policy; arguments as for exact_policy.

    ValueError where a delivered force is not a finite number.
    """
    low, high = [float(x) for x in lo], [float(x) for x in hi]
    f = [float(x) for x in delivered_f]
    if not np.all(np.isfinite(f)):
        raise ValueError(f"delivered forces: {f}; allowed: four finite numbers")
    b = directions(clocking_deg)
    exact = exact_policy(clocking_deg, low, high, d, r, policy, tau, travel=travel, first=first)
    p = combine(b, f)
    primary_error = np.abs(np.array(p, dtype=float) - exact.p)
    outside = max(max(x - y, z - x) for x, y, z in zip(f, high, low, strict=True))
    excess, explained = effort(b, low, high, f)
    return Verdict(
        primary_error_counts=primary_error,
        roll_error_counts=roll_error(b, low, high, p, sum(f), float(r), exact.p, exact.rho),
        effort_excess=excess,
        effort_explained=explained,
        outside_counts=max(outside, 0.0),
        primary_edge_error_counts=(
            np.minimum(
                primary_error,
                edge_error(
                    Zonotope(b, *(travel or (low, high)), tau),
                    Zonotope(b, *(first or (low, high))),
                    d,
                    p,
                ),
            )
            if policy == "direction"
            else primary_error
        ),
    )


def roll_error(b, lo, hi, p: Point, delivered: float, roll: float, exact_p, exact_rho) -> float:
    """The distance of the delivered roll to what the policy gives near the delivered primary."""
    errors = [np.inf]
    if axis_gap(exact_p, p) <= PRIMARY_COUNTS:
        errors.append(abs(delivered - exact_rho))
    reachable = Zonotope(b, lo, hi).nearest(p)
    if axis_gap(reachable, p) <= PRIMARY_COUNTS:
        least, most = roll_range(b, lo, hi, reachable)
        errors.append(abs(delivered - min(max(roll, least), most)))
    if min(errors) <= ROLL_COUNTS:
        return float(min(errors))
    interval = fair_roll_interval(b, lo, hi, p, roll, PRIMARY_COUNTS)
    if interval is None:
        return float(np.inf)
    return max(interval[0] - delivered, delivered - interval[1], 0.0)


def effort(b, lo, hi, f: list[float]) -> tuple[float, float]:
    """Excess of sum f^2 over its least for the moments of f, and what one count explains.

    The forces with these moments are f + t v, v the null vector. Let every vane of a perfect
    answer be off by at most one count. Where the perfect answer rests on the limit of vane k, the
    least lies within |t| <= 1/|v_k|; where it rests on none, within sum|v| / sum v^2, which is
    no more than 1/min|v|. So with f* the least and s = 1/min|v|, sum f^2 exceeds its least by at
    most 2 s |f* . v| + s^2 v . v.
    """
    low = [min(x, y) for x, y in zip(lo, f, strict=True)]  # a vane outside may stay where it is
    high = [max(x, y) for x, y in zip(hi, f, strict=True)]
    best = np.array(least_effort(b, low, high, combine(b, f), sum(f)), dtype=float)
    v = np.array(null_vector(b), dtype=float)
    step = 1.0 / np.abs(v).min()
    explained = 2.0 * step * abs(best @ v) + step**2 * (v @ v)
    return float(np.dot(f, f) - best @ best), float(explained)


def edge_error(shrunk: Zonotope, window: Zonotope, demand: Sequence[float], p: Point) -> np.ndarray:
    """Per-axis distance of p to the answers for "direction" with edges moved by up to one count.

    Their targets run along the segment from rest to demand, from where it first comes within one
    count of an edge to where it has left the set by one count; the answers are the points of the
    window nearest to those, of which STATIONS are taken and joined by straight lines.
    """
    step = minus((float(demand[0]), float(demand[1])), shrunk.rest)
    first = 0.0 if shrunk.flat else float(shrunk.segment_share(step, margin=1.0))
    inside, last = first, 1.0
    if distance(shrunk, along(shrunk.rest, step, 1.0)) > 1.0:
        for _ in range(60):  # the distance to a convex set grows along the segment
            middle = (inside + last) / 2
            if distance(shrunk, along(shrunk.rest, step, middle)) <= 1.0:
                inside = middle
            else:
                last = middle
    answers = np.array(
        [
            window.nearest(along(shrunk.rest, step, share))
            for share in np.linspace(first, last, STATIONS)
        ],
        dtype=float,
    )
    run, gap = np.diff(answers, axis=0), np.array(p, dtype=float) - answers[:-1]
    square = (run**2).sum(1)
    share = np.divide((gap * run).sum(1), square, out=np.zeros(len(run)), where=square > 0)
    error = np.abs(gap - np.clip(share, 0.0, 1.0)[:, None] * run)
    return error[(error**2).sum(1).argmin()]


def distance(shrunk: Zonotope, point: Point) -> float:
    x, y = minus(shrunk.nearest(point), point)
    return float(np.hypot(float(x), float(y)))


def axis_gap(a: Point, b: Point) -> float:
    """The larger of the two axes' distances."""
    return max(abs(float(x)) for x in minus(a, b))
