"""How far the steering may be off, worked out: continuity, and where the policy is ill-conditioned.

"direction" goes to the last point of a segment in Z_τ. Where the segment leaves at a grazing angle,
a hair of demand or of an edge moves the policy's own answer a long way, and no arithmetic can
promise less than that.
"""

import numpy as np

from mixer.ground.authority.reach import Reach
from mixer.ground.exact_policy.policy import corners_n, last_point, nearest_point, rest_point
from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.tables.angles import PARALLEL, cosine, sine

FAR = 1e-5  # of a demand: what 1/L from a table, and 28 bits of it, are off by
GRAZED_COUNTS = 1.0  # how far an edge of Z may be off
STATIONS = 33  # along a segment that grazes one
PRIMARY_ROUNDING_COUNTS = (
    0.5  # the primary is settled in quarters of a count, above κ = 1 in halves
)


def most_moved_counts(clocking_deg: Array, rounding_counts: float = 0.0) -> float:
    """How far a demand that moves by a count of pitch, yaw and roll moves a force at most.

    The primary is a projection: it moves by no more than the demand, √2. Along a facet of what is
    within reach roll moves by |n_xy|/|n_z| of that; facet normals are b_i×b_j = (s_i − s_j,
    c_j − c_i, sin(φ_j − φ_i)). The forces are the minimum-norm ones g for that primary and roll
    plus t times the null vector v, and what holds t are the places (f_i − g_i)/v_i: it moves by no
    more than the largest of them does. `rounding_counts` is what a primary and a roll may be off
    by themselves.
    """
    c, s = cosine(clocking_deg), sine(clocking_deg)
    slopes = []
    for i in range(VANES):
        for j in range(i):
            upright = abs(float(sine(clocking_deg[j] - clocking_deg[i])))
            if upright > PARALLEL:
                slopes.append(float(np.hypot(s[i] - s[j], c[j] - c[i])) / upright)
    matrix = np.array([c, s, np.ones(VANES)])
    null = np.linalg.svd(matrix)[2][-1]
    rows = np.linalg.pinv(matrix) / null[:, None]
    primary = np.sqrt(2) * (1 + rounding_counts)
    roll = 1 + rounding_counts + primary * max(slopes)
    place = np.hypot(rows[:, 0], rows[:, 1]) * primary + np.abs(rows[:, 2]) * roll
    return float((np.abs(null) * (place + place.max())).max())


def stretch(reached: Reach) -> float:
    """How much more than its demand a primary of "direction" may move. One instant, shape (1,).

    A radial projection onto a set that lies between circles r and R about a0 moves by up to R/r
    times as much; infinite where a0 lies on the edge.
    """
    rest = rest_point(reached)
    inner = (reached.edges_n() - rest @ reached.normals.T).min()
    outer = np.hypot(*(corners_n(reached) - rest[:, None])[0].T).max()
    return float(outer / inner) if inner > reached.slack_n[0] else float("inf")


def conditioned_error(
    travel: Reach, first: Reach, demand: Array, primary: Array, exact: Array, policy: str
) -> Array:
    """How far primaries (n, 2) are per axis from all that the policy gives for a demand a hair off.

    "nearest" is a projection and moves by no more than its demand. For "direction": targets on the
    segment from where it first comes within GRAZED_COUNTS of an edge of Z_τ(T) to where it is that
    far out, the points of Z(W′) nearest to STATIONS of them, and what lies straight between those.
    """
    if policy == "nearest":
        hair = FAR * np.hypot(*demand.T)
        return np.maximum(np.abs(primary - exact).max(-1) - hair, 0.0)
    start, end = (
        last_point(travel, demand, moved_n=moved)[:, None]
        for moved in (-GRAZED_COUNTS, GRAZED_COUNTS)
    )
    targets = start + np.linspace(0.0, 1.0, STATIONS)[:, None] * (end - start)
    window = Reach(
        first.clocking_deg,
        first.lo_n[:, None],
        first.hi_n[:, None],
        first.lever_arm_m[:, None],
        first.roll_arm_m,
    )
    answers = nearest_point(window, targets, 0.0)
    run, gap = np.diff(answers, axis=1), primary[:, None] - answers[:, :-1]
    square = (run**2).sum(-1)
    along = (gap * run).sum(-1)
    share = np.clip(np.divide(along, square, out=np.zeros_like(along), where=square > 0), 0, 1)
    return np.abs(gap - share[..., None] * run).max(-1).min(-1)
