"""What is within reach at one instant of the burn, in numbers."""

from dataclasses import dataclass

import numpy as np

from mixer.ground.authority.pictures import both_ways
from mixer.ground.authority.reach import PITCH, YAW, reach
from mixer.ground.vehicle.vehicle import Vehicle


@dataclass(frozen=True)
class Instant:
    """What is within reach at one burn time, in N m; ranges are (least, most)."""

    time_s: float
    pitch_nm: tuple[float, float]
    yaw_nm: tuple[float, float]
    any_direction_nm: float
    roll_at_centre_nm: tuple[float, float]
    roll_anywhere_nm: tuple[float, float]
    roll_on_the_edge_nm: float
    outline_nm: list[list[float]]


def instant(vehicle: Vehicle, time_s: float) -> Instant:
    """What is within reach at one burn time."""
    reached = reach(vehicle, time_s)
    outline_nm = reached.outline_nm()
    on_edge = both_ways(reached, *outline_nm.T)
    roll_anywhere = reached.roll_arm_m * np.array([reached.lo_n.sum(), reached.hi_n.sum()])
    return Instant(
        time_s,
        pair(reached.primary_range_nm(PITCH)),
        pair(reached.primary_range_nm(YAW)),
        float(reached.all_round_nm()),
        pair(reached.roll_range_nm()),
        pair(roll_anywhere),
        float(on_edge.min()),
        outline_nm.tolist(),
    )


def pair(limits: np.ndarray) -> tuple[float, float]:
    low, high = limits.tolist()
    return low, high
