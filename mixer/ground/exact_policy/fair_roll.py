"""How far a delivered roll is from what the policy gives near the delivered pitch and yaw.

Where opposite vanes are almost, but not quite, parallel a hair of pitch or yaw moves the roll
within reach a lot. The fair measure: the distance to the nearest roll that the policy gives for
some primary q within `near_n` per axis of the delivered one. Over those q, in a square cut with Z,
it gives clamp(r, L(q), U(q)), L convex and U concave, both continuous and L ≤ U; so the rolls fill
one interval from min(min U, max(r, min L)) to max(max L, min(r, max U)). Max L and min U lie at
corners of the cut square; max U and min L are small linear programs.
"""

from itertools import combinations

import numpy as np
import scipy

from mixer.ground.authority.reach import Reach
from mixer.ground.exact_policy.policy import Exact, nearest_point, roll_range_n
from mixer.ground.inputs.arrays import Array

EDGE_SLACK = 1e-6  # of a force unit: how far a corner found by rounding may lie outside


def fair_roll_error(
    reached: Reach, exact: Exact, primary_n: Array, roll_n: Array, wanted_n: Array, near_n: float,
    enough_n: float,
) -> Array:  # fmt: skip
    """The fair measure for delivered primaries (n, 2) and rolls (n,), shape (n,).

    `wanted_n` (n,) is the demanded roll, `reached` has n instants. Errors up to `enough_n` may
    be upper bounds; infinite where no primary within `near_n` is within reach.
    """
    here = nearest_point(reached, primary_n, 0.0)
    least, most = roll_range_n(reached, here)
    at_exact = np.abs(roll_n - exact.roll_n)
    at_exact[np.abs(primary_n - exact.primary_n).max(-1) > near_n] = np.inf
    at_delivered = np.abs(roll_n - np.clip(wanted_n, least, most))
    at_delivered[np.abs(primary_n - here).max(-1) > near_n] = np.inf
    error = np.minimum(at_exact, at_delivered)
    for n in np.flatnonzero(error > enough_n):
        one = Reach(reached.clocking_deg, reached.lo_n[n], reached.hi_n[n], np.array(1.0), 1.0)
        interval = roll_interval(one, primary_n[n], float(wanted_n[n]), near_n)
        if interval is not None:
            error[n] = max(interval[0] - roll_n[n], roll_n[n] - interval[1], 0.0)
    return error


def roll_interval(
    reached: Reach, primary_n: Array, wanted_n: float, near_n: float
) -> tuple[float, float] | None:
    """Least and most roll the policy gives over the primaries near `primary_n`; None where none
    of them is within reach. One instant.
    """
    normals = np.concatenate([reached.normals, np.eye(2), -np.eye(2)])
    offsets = (
        np.concatenate([reached.edges_n(0.0), primary_n + near_n, near_n - primary_n]) + EDGE_SLACK
    )
    corners = corners_of(normals, offsets)
    if not len(corners):
        return None
    least, most = roll_range_n(reached, corners)
    slope, floors, ceilings = reached.roll_facets
    # t ≤ ceiling_k − slope_k·q for all k, t as large as can be; and the floors the other way
    highest = scipy.optimize.linprog(
        [0, 0, -1],
        A_ub=np.block([[slope, np.ones((len(slope), 1))], [normals, np.zeros((len(normals), 1))]]),
        b_ub=np.concatenate([ceilings, offsets]),
        bounds=(None, None),
    )
    lowest = scipy.optimize.linprog(
        [0, 0, 1],
        A_ub=np.block(
            [[-slope, -np.ones((len(slope), 1))], [normals, np.zeros((len(normals), 1))]]
        ),
        b_ub=np.concatenate([-floors, offsets]),
        bounds=(None, None),
    )
    if highest.status != 0 or lowest.status != 0:
        raise RuntimeError(f"roll near {primary_n}: {highest.message} {lowest.message}")
    bottom = min(float(most.min()), max(wanted_n, float(lowest.fun)))
    top = max(float(least.max()), min(wanted_n, float(-highest.fun)))
    return bottom, top


def corners_of(normals: Array, offsets: Array) -> Array:
    """The corners (k, 2) of {q: normals·q ≤ offsets}: where two edges meet inside the others."""
    found = []
    for i, j in combinations(range(len(normals)), 2):
        pair = normals[[i, j]]
        if abs(np.linalg.det(pair)) > 1e-9:
            corner = np.linalg.solve(pair, offsets[[i, j]])
            if (normals @ corner <= offsets + EDGE_SLACK).all():
                found.append(corner)
    return np.array(found).reshape(-1, 2)
