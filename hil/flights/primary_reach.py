"""How much pitch and yaw the true vanes can give, and how much of it a demand takes.

The set of reachable pitch and yaw is a zonogon whose edges are parallel to the four vanes' force
directions (Shephard, Canad. J. Math. 26, 1974), so a demand is inside it exactly where it is
inside eight half-planes.
"""

import numpy as np

from mixer.ground.inputs.arrays import Array


class PrimaryReach:
    """For N flights, from the cosine and sine of the true clocking, both (4, N)."""

    def __init__(self, cos_clocking: Array, sin_clocking: Array):
        self._normal = np.stack([-sin_clocking, cos_clocking])  # (2, 4 edges, N)
        # How far one newton of vane j reaches along the normal of edge k: (k, j, N).
        self._across = (
            self._normal[0][:, None] * cos_clocking[None]
            + self._normal[1][:, None] * sin_clocking[None]
        )

    def used(self, demand_n: Array, low_n: Array, high_n: Array) -> Array:
        """Share (N,) of the reach that a demand takes: 1 on the edge, more where out of reach.

        demand_n (2, N): pitch and yaw over the lever arm. low_n, high_n (4, N): the vanes' limits.
        The share is counted from what the vanes give with each as near to no force as it can be.
        Infinite where there is no reach at all towards the demand.
        """
        at_low, at_high = self._across * low_n, self._across * high_n
        rest_n = np.minimum(np.maximum(low_n, 0.0), high_n)
        rest = _over_vanes(self._across * rest_n)
        above = _over_vanes(np.maximum(at_low, at_high)) - rest
        below = rest - _over_vanes(np.minimum(at_low, at_high))
        gap = self._normal[0] * demand_n[0] + self._normal[1] * demand_n[1] - rest
        room = np.where(gap > 0.0, above, below)
        shares = np.abs(gap) / np.where(room > 0.0, room, 1.0)
        return np.where(room > 0.0, shares, np.where(gap == 0.0, 0.0, np.inf)).max(axis=0)


def _over_vanes(values: Array) -> Array:
    """Sum over the second axis, in an order that does not depend on the number of flights."""
    return (values[:, 0] + values[:, 1]) + (values[:, 2] + values[:, 3])
