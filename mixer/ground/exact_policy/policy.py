"""The steering policy in exact geometry and double precision: what the flight core is judged by.

1. Target, from travel alone: the demand where it lies in Z_τ(T) (see `envelope`), else by policy
   "nearest" the point of it nearest to the demand, by "direction" the last point of the segment
   from a0 to it.
2. Primary: the point of Z(W′) nearest to the target, W′ what 31/32 of the slew leave within reach.
3. Secondary: the demanded roll, held inside what the window W leaves at that primary.
4. Effort: of all forces of W that give both, those with the least sum of squares.

Reachable moments as the convex image of the force box: Durham, J. Guidance 16(4), 1993, 717-725,
recalled, the source not at hand. Many instants at once: (...) below is any shape.
"""

from dataclasses import dataclass

import numpy as np

from mixer.ground.authority.reach import KEPT_BACK, Reach
from mixer.ground.inputs.arrays import VANES, Array


@dataclass(frozen=True)
class Exact:
    """What the policy gives, in the unit of the force limits: `primary_n` (..., 2) is pitch and
    yaw over the lever arm, `roll_n` (...) roll over the roll arm, `force_n` (..., 4).
    """

    primary_n: Array
    roll_n: Array
    force_n: Array


def exact_policy(
    reached: Reach,
    primary_n: Array,
    roll_n: Array,
    policy: str,
    kept_back: float = KEPT_BACK,
    *,
    travel: Reach | None = None,
    first: Reach | None = None,
) -> Exact:
    """The policy's answer to demands `primary_n` (..., 2) and `roll_n` (...), as in `Exact`.

    `reached` is the window W, `travel` T and `first` W′: what is not given is W, as where the slew
    holds no vane.
    """
    far, near = travel or reached, first or reached
    if policy == "nearest":
        target = nearest_point(far, primary_n, kept_back)
    elif policy == "direction":
        target = last_point(far, primary_n, kept_back)
    else:
        raise ValueError(f'policy: {policy!r}; must be "nearest" or "direction"')
    primary = nearest_point(near, target, 0.0)
    least_n, most_n = roll_range_n(reached, primary)
    roll = np.clip(roll_n, least_n, most_n)
    return Exact(primary, roll, least_effort(reached, primary, roll))


def corners_n(reached: Reach, kept_back: float = KEPT_BACK) -> Array:
    """The eight corners of Z_τ, anticlockwise; some of them the same where vanes stand still or
    are parallel: shape (..., 8, 2).
    """
    x, y = reached.directions.T
    upward = np.where((y > 0) | ((y == 0) & (x > 0)), 1.0, -1.0)
    width = reached.hi_n - reached.lo_n
    sides = (upward * width)[..., None] * reached.directions
    sides = sides[..., np.argsort(np.arctan2(upward * y, upward * x)), :]
    rest = rest_point(reached)
    lowest = np.where(upward > 0, reached.lo_n, reached.hi_n) @ reached.directions - rest
    walk = np.concatenate([lowest[..., None, :], sides, -sides[..., : VANES - 1, :]], axis=-2)
    return rest[..., None, :] + (1 - kept_back) * np.cumsum(walk, axis=-2)


def rest_point(reached: Reach) -> Array:
    """a0, the primary of the vanes' forces nearest to none: shape (..., 2)."""
    return reached.rest_n @ reached.directions


def nearest_point(reached: Reach, point: Array, kept_back: float = KEPT_BACK) -> Array:
    """The point of Z_τ nearest to `point` (..., 2): itself, or the nearest of eight edges."""
    start = corners_n(reached, kept_back)
    edge = np.roll(start, -1, axis=-2) - start
    square = (edge**2).sum(-1)
    along = ((point[..., None, :] - start) * edge).sum(-1)
    share = np.clip(np.divide(along, square, out=np.zeros_like(along), where=square > 0), 0, 1)
    feet = start + share[..., None] * edge
    distance = np.hypot(*np.moveaxis(feet - point[..., None, :], -1, 0))
    closest = np.take_along_axis(feet, distance.argmin(-1)[..., None, None], axis=-2)[..., 0, :]
    inside = np.all(point @ reached.normals.T <= reached.edges_n(kept_back), axis=-1)
    return np.where(inside[..., None], point, closest)


def last_point(
    reached: Reach, point: Array, kept_back: float = KEPT_BACK, moved_n: float = 0.0
) -> Array:
    """The last point of the segment from a0 to `point` (..., 2) that lies in Z_τ with its edges
    moved out by `moved_n`.
    """
    rest = rest_point(reached)
    rise = (point - rest) @ reached.normals.T
    room = np.maximum(reached.edges_n(kept_back) + moved_n - rest @ reached.normals.T, 0.0)
    slack = reached.slack_n[..., None]
    leaves = rise > np.maximum(room, slack)
    share = np.divide(room, rise, out=np.ones_like(rise), where=leaves).min(-1)
    return np.where(
        np.any(leaves, axis=-1)[..., None], rest + share[..., None] * (point - rest), point
    )


def roll_range_n(reached: Reach, primary_n: Array) -> tuple[Array, Array]:
    """Least and most Σf over the box where the primary is `primary_n`: both (...)."""
    slope, least, most = reached.roll_facets
    tilt = primary_n @ slope.T
    lowest, highest = (least - tilt).max(-1), (most - tilt).min(-1)
    middle = (lowest + highest) / 2  # a single roll, met with opposite rounding
    return np.minimum(lowest, middle), np.maximum(highest, middle)


def least_effort(reached: Reach, primary_n: Array, roll_n: Array) -> Array:
    """The forces (..., 4) of the box with least Σf² that give this primary and roll.

    The minimum-norm forces plus the null vector times what the box asks for at the least.
    """
    columns = np.vstack([reached.directions.T, np.ones(VANES)])
    null = np.linalg.svd(columns)[2][-1]
    wanted = np.concatenate([primary_n, roll_n[..., None]], axis=-1)
    force = wanted @ np.linalg.pinv(columns).T
    ends = np.stack([reached.lo_n - force, reached.hi_n - force]) / null
    first, last = ends.min(0).max(-1), ends.max(0).min(-1)
    middle = (first + last) / 2
    move = np.where(first > last, middle, np.clip(0.0, first, last))
    return force + move[..., None] * null
