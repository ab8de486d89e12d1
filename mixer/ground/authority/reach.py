"""What moments four vanes can reach: exact geometry, from the numbers of the vehicle file.

Reachable pitch and yaw are Z = {Σ f_i·b_i}, b_i = (cos φ_i, sin φ_i), a polygon whose edges are
parallel to the b_i. With roll they are a solid whose facets are parallel to pairs of vanes, with
normals a_i × a_j, a_i = (cos φ_i, sin φ_i, 1) (zonotopes: Shephard, Canad. J. Math. 26, 1974,
302-321; attainable moments: Durham, J. Guidance 16(4), 1993, 717-725, recalled, the source not at
hand). The steering keeps the last 1/128 of the primary back, since exactly on the edge of Z the
roll within reach can jump: it goes to the edge of Z_τ = a0 + (1 − τ)(Z − a0), where a0 is what the
vanes give with each as near to no force as it can be.
"""

from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike

from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.tables.angles import cosine, sine
from mixer.ground.vehicle.vehicle import Vehicle

KEPT_BACK = 1 / 128
PITCH, YAW = 0, 1
ROUNDING = 1e-9


@dataclass(frozen=True)
class Reach:
    """The moments that four vanes reach, at one instant or many: shape (...).

    `lo_n`, `hi_n` (..., 4) are the vanes' force limits, `lever_arm_m` has shape (...). Moments
    are in N m. Pitch and yaw end at Z_τ, or at the edge of Z with `kept_back=0`.
    """

    clocking_deg: Array
    lo_n: Array
    hi_n: Array
    lever_arm_m: Array
    roll_arm_m: float

    @cached_property
    def directions(self) -> Array:
        """b_i, shape (4, 2)."""
        return np.column_stack([cosine(self.clocking_deg), sine(self.clocking_deg)])

    @cached_property
    def normals(self) -> Array:
        """Outward normals of the polygon's edges, shape (8, 2)."""
        turned = np.column_stack([-self.directions[:, 1], self.directions[:, 0]])
        return np.concatenate([turned, -turned])

    @cached_property
    def rest_n(self) -> Array:
        """The vanes' forces nearest to none, shape (..., 4)."""
        return np.clip(0.0, self.lo_n, self.hi_n)

    @cached_property
    def slack_n(self) -> Array:
        """What float sums may miss an edge by: shape (...)."""
        return np.asarray(ROUNDING * np.abs([self.lo_n, self.hi_n]).max((0, -1)))

    def edges_n(self, kept_back: float = KEPT_BACK) -> Array:
        """How far the polygon reaches along each of `normals`: shape (..., 8)."""
        along = self.normals @ self.directions.T
        rest = self.rest_n @ along.T
        full = np.maximum(self.lo_n[..., None, :] * along, self.hi_n[..., None, :] * along).sum(-1)
        return rest + (1 - kept_back) * (full - rest)

    def outline_nm(self, kept_back: float = KEPT_BACK) -> Array:
        """The corners (9, 2), pitch and yaw, of the polygon at one instant, back to the first."""
        rest = self.rest_n @ self.directions
        upward = np.where(np.mod(self.clocking_deg, 360.0) < 180.0, 1.0, -1.0)
        sides = (upward * (self.hi_n - self.lo_n))[:, None] * self.directions
        sides = sides[np.argsort(np.mod(self.clocking_deg, 180.0))]
        first = np.where(upward > 0, self.lo_n, self.hi_n) @ self.directions
        corners = first + np.concatenate([np.zeros((1, 2)), np.cumsum([*sides, *-sides], axis=0)])
        return self.lever_arm_m * (rest + (1 - kept_back) * (corners - rest))

    def primary_range_nm(
        self, axis: int, other_nm: ArrayLike = 0.0, kept_back: float = KEPT_BACK
    ) -> Array:
        """Least and most moment about `axis` (PITCH or YAW) while the other one is `other_nm`
        (...): shape (..., 2). Not a number where the other one cannot be held.
        """
        lever_m = np.asarray(self.lever_arm_m)[..., None]
        other = np.asarray(other_nm)[..., None] / lever_m * self.normals[:, 1 - axis]
        room = self.edges_n(kept_back) - other
        slope = self.normals[:, axis]
        level = np.abs(slope) < ROUNDING
        with np.errstate(divide="ignore", invalid="ignore"):
            meets = room / slope
        most = np.where(slope > ROUNDING, meets, np.inf).min(-1)
        least = np.where(slope < -ROUNDING, meets, -np.inf).max(-1)
        held = np.where(level, room, np.inf).min(-1) >= -self.slack_n
        held &= least <= most + self.slack_n
        ends = np.stack([np.minimum(least, most), np.maximum(least, most)], -1)
        return np.where(held[..., None], lever_m * ends, np.nan)

    def primary_share(self, pitch_nm: ArrayLike, yaw_nm: ArrayLike) -> Array:
        """How much of the way from a0 to the edge of Z_τ a demand goes: 1 on it, shape (...).

        Infinite where the vanes can do nothing in that direction.
        """
        wanted = np.stack(np.broadcast_arrays(pitch_nm, yaw_nm), -1)
        wanted = wanted / np.asarray(self.lever_arm_m)[..., None]
        rest = (self.rest_n @ self.directions) @ self.normals.T
        room = self.edges_n() - rest
        gap = wanted @ self.normals.T - rest
        some = room > self.slack_n[..., None]
        shares = np.where(some, gap / np.where(some, room, 1.0), 0.0).max(-1)
        return np.where((~some & (gap > self.slack_n[..., None])).any(-1), np.inf, shares)

    def all_round_nm(self) -> Array:
        """The moment within reach in every direction of pitch and yaw: shape (...)."""
        return np.maximum(self.edges_n().min(-1), 0.0) * self.lever_arm_m

    @cached_property
    def roll_facets(self) -> tuple[Array, Array, Array]:
        """The facets that limit roll: roll/R is at most `most` (..., k) − slope·(pitch, yaw)/L and
        at least `least` (..., k) − the same, with `slope` (k, 2). Returns slope, least, most.
        """
        slopes, gains = roll_slopes(tuple(self.clocking_deg.tolist()))
        low, high = self.lo_n[..., None, :] * gains, self.hi_n[..., None, :] * gains
        return slopes, np.minimum(low, high).sum(-1), np.maximum(low, high).sum(-1)

    def roll_range_nm(self, pitch_nm: ArrayLike = 0.0, yaw_nm: ArrayLike = 0.0) -> Array:
        """Least and most roll while pitch and yaw (...) are given: shape (..., 2).

        Not a number where they are out of reach.
        """
        point = np.stack(np.broadcast_arrays(pitch_nm, yaw_nm), -1)
        point = point / np.asarray(self.lever_arm_m)[..., None]
        slope, least, most = self.roll_facets
        tilt = point @ slope.T
        lowest, highest = (least - tilt).max(-1), (most - tilt).min(-1)
        beyond = point @ self.normals.T - self.edges_n(0.0)
        within = np.asarray(beyond.max(-1) <= self.slack_n)
        middle = (lowest + highest) / 2  # where rounding has crossed the ends over
        ends = np.stack([np.minimum(lowest, middle), np.maximum(highest, middle)], -1)
        return np.where(within[..., None], self.roll_arm_m * ends, np.nan)

    def roll_outline_nm(self, axis: int) -> Array:
        """The corners (n, 2) of what is within reach of pitch or yaw (`axis`) and roll while the
        other of the two is held at 0, at one instant, back to the first. Empty if it cannot be.
        """
        ends = self.primary_range_nm(axis)
        if np.isnan(ends).any():
            return np.empty((0, 2))
        slope, least, most = self.roll_facets
        slope = slope[:, axis] / self.lever_arm_m
        bends = [*ends]
        for level in (least, most):
            for a, b in combinations(range(len(slope)), 2):
                if abs(slope[a] - slope[b]) > ROUNDING:
                    bends.append((level[a] - level[b]) / (slope[a] - slope[b]))
        along = np.unique(np.clip(bends, *ends))
        at = (along, 0.0) if axis == PITCH else (0.0, along)
        lowest, highest = self.roll_range_nm(*at).T
        rising, falling = np.column_stack([along, highest]), np.column_stack([along, lowest])
        return np.concatenate([rising, falling[::-1], rising[:1]])


@lru_cache(maxsize=64)  # `check` asks for the same vanes thousands of times
def roll_slopes(clocking_deg: tuple[float, ...]) -> tuple[Array, Array]:
    """Of the facets of `roll_facets`: their slopes (k, 2), and what roll gains along each by a
    vane's force, (k, 4).
    """
    angle = np.array(clocking_deg)
    directions = np.column_stack([cosine(angle), sine(angle)])
    apart = sine(angle - angle[:, None])
    slopes, gains = [], []
    for i, j in combinations(range(VANES), 2):
        upright = float(apart[i, j])
        if abs(upright) < ROUNDING:  # the facet stands along roll: it limits pitch and yaw
            continue
        (c_i, s_i), (c_j, s_j) = directions[[i, j]]
        slope = np.array([s_i - s_j, c_j - c_i]) / upright
        gain = directions @ slope + 1.0
        gain[[i, j]] = 0.0
        slopes.append(slope)
        gains.append(gain)
    return np.array(slopes), np.array(gains)


def reach(
    vehicle: Vehicle,
    time_s: ArrayLike,
    load_s: ArrayLike | None = None,
    pressure_ratio: ArrayLike = 1.0,
    jammed_deg: ArrayLike | None = None,
) -> Reach:
    """What the vehicle's vanes reach by their travel at burn times (...).

    `load_s` (...) is the burn load, equal to the burn time where it is left out; `pressure_ratio`
    (...) chamber pressure over the reference; `jammed_deg` (..., 4) where vanes stand still, not a
    number for those that move.
    """
    time_s = np.asarray(time_s, dtype=float)
    load_s = time_s if load_s is None else np.asarray(load_s)
    gain = np.asarray(pressure_ratio)[..., None] * vehicle.effectiveness(load_s)
    jammed_deg = np.full(VANES, np.nan) if jammed_deg is None else np.asarray(jammed_deg)
    lo_n, hi_n = (
        gain * forces_n(vehicle, np.where(np.isnan(jammed_deg), limit_deg, jammed_deg))
        for limit_deg in vehicle.vanes.travel_deg.T
    )
    layout = vehicle.layout
    lever_arm_m = vehicle.lever_arm_m_at(time_s)
    return Reach(layout.clocking_deg, lo_n, hi_n, lever_arm_m, layout.roll_arm_m)


def forces_n(vehicle: Vehicle, deflection_deg: Array) -> Array:
    """Normal forces of the four vanes, new and at the reference pressure: shape (..., 4)."""
    force_n = [vehicle.force_n(vane, deflection_deg[..., vane]) for vane in range(VANES)]
    return np.stack(force_n, -1)
