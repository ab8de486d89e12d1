"""Where between a demand and none the vanes' forces turn fastest: a place to look for a jump.

A jump anywhere on the way shows as a change of how far the forces are from the exact policy's, so
the way is halved again and again towards where that changes most. The exact policy only tells where
to look; what is found there is judged by the forces alone.
"""

from collections.abc import Callable

import numpy as np

from mixer.ground.check.steering_on_trial import SteeringOnTrial
from mixer.ground.check.trial_flight import Demand, FlownCycle
from mixer.ground.inputs.arrays import Array

PIECES = 8


def widest_jump(
    trial: SteeringOnTrial, one: FlownCycle, flown_with: Callable[[Demand], FlownCycle]
) -> tuple[FlownCycle, FlownCycle]:
    """Two of the cycle's outcomes, for demands at most a count (or 1 mN·m) of each moment apart,
    between which its forces left the exact policy most. `flown_with` flies it with another demand.
    """
    most_mnm = np.maximum(np.floor(trial.per_count_mnm([one])[0]), 1)
    shares = np.linspace(0.0, 1.0, PIECES + 1)
    places = [np.round(share * np.array(one.demand_mnm)).astype(int) for share in shares]
    trail = [flown_with(as_demand(place)) for place in places]
    while True:
        off = force_off_counts(trial, trail)
        piece = int(np.abs(np.diff(off, axis=0)).max(-1).argmax())
        start, end = trail[piece : piece + 2]
        apart = np.subtract(end.demand_mnm, start.demand_mnm)
        if (np.abs(apart) <= most_mnm).all():
            return start, end
        middle = np.add(start.demand_mnm, apart // 2)
        trail = [start, flown_with(as_demand(middle)), end]


def force_off_counts(trial: SteeringOnTrial, flown: list[FlownCycle]) -> Array:
    """How far each vane's force is from the exact policy's, shape (n, 4)."""
    after = np.array([one.after_mdeg for one in flown], dtype=float)
    return trial.force_counts(flown, after) - trial.exact(flown).force_n


def as_demand(moments_mnm: Array) -> Demand:
    pitch, yaw, roll = (int(moment) for moment in moments_mnm)
    return pitch, yaw, roll
