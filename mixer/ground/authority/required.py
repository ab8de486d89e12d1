"""Authority over the burn against [requirements], and the burn time at which it is too little."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from mixer.ground.authority.reach import PITCH, YAW, Reach, reach
from mixer.ground.inputs.arrays import Array
from mixer.ground.vehicle.requirements import Requirements
from mixer.ground.vehicle.vehicle import Vehicle

AXES = ("pitch", "yaw", "roll")
STEPS_OVER_BURN = 512
CLOSE_ENOUGH_S = 1e-6


@dataclass(frozen=True)
class Unmet:
    """The earliest burn time at which a required moment is out of reach, and the least that is
    within reach over the burn; moments in N m.
    """

    time_s: float
    axis: str
    required_nm: float
    least_nm: float

    def __str__(self) -> str:
        when = "from the start" if self.time_s == 0 else f"from {self.time_s:.2f} s on"
        return (
            f"{self.axis.capitalize()} of {self.required_nm:g} N·m is not within reach both ways "
            f"{when}; over the burn it is down to {max(self.least_nm, 0):.4g} N·m"
        )


def each_alone_nm(reached: Reach) -> Array:
    """What is within reach both ways of pitch, yaw and roll, each by itself: shape (..., 3).

    Below 0 where the vanes cannot even bring that moment to zero.
    """
    ranges = np.stack(
        [
            reached.primary_range_nm(PITCH),
            reached.primary_range_nm(YAW),
            reached.roll_range_nm(),
        ],
        -2,
    )
    both_ways = np.minimum(-ranges[..., 0], ranges[..., 1])
    return np.where(np.isnan(both_ways), -np.inf, both_ways)


def required_nm(requirements: Requirements | None) -> Array:
    """The required pitch, yaw and roll, shape (3,); not a number where nothing is required."""
    limits = requirements or Requirements()
    wanted = (limits.pitch_nm, limits.yaw_nm, limits.roll_nm)
    return np.array([np.nan if value is None else value for value in wanted])


def burn_times_s(vehicle: Vehicle) -> Array:
    """Times over the burn, close together, with every point of the wear and lever-arm tables."""
    end_s = vehicle.engine.burn_time_s
    knots_s = np.concatenate(
        [
            vehicle.layout.lever_arm_m.time_s,
            [] if vehicle.erosion is None else vehicle.erosion.load_s,
        ]
    )
    even_s = np.linspace(0.0, end_s, STEPS_OVER_BURN + 1)
    return np.union1d(even_s, knots_s[knots_s < end_s])


def unmet_requirements(
    vehicle: Vehicle, alone_nm_at: Callable[[Array], Array] | None = None
) -> list[Unmet]:
    """The required moments that are out of reach at some time of the burn at the reference
    pressure, earliest first.

    `alone_nm_at` gives what is within reach at burn times (n,) as `each_alone_nm` does, (n, 3),
    for other cases than the nominal.
    """
    alone_nm_at = alone_nm_at or (lambda time_s: each_alone_nm(reach(vehicle, time_s)))
    times_s, wanted_nm = burn_times_s(vehicle), required_nm(vehicle.requirements)
    over_burn_nm = alone_nm_at(times_s)
    short = over_burn_nm < wanted_nm
    found = []
    for place in np.flatnonzero(short.any(0)):
        first = int(np.argmax(short[:, place]))
        met_s, unmet_s = float(times_s[max(first - 1, 0)]), float(times_s[first])
        while unmet_s - met_s > CLOSE_ENOUGH_S:
            middle_s = (met_s + unmet_s) / 2
            if alone_nm_at(np.array([middle_s]))[0, place] < wanted_nm[place]:
                unmet_s = middle_s
            else:
                met_s = middle_s
        least_nm = float(over_burn_nm[:, place].min())
        found.append(Unmet(unmet_s, AXES[place], float(wanted_nm[place]), least_nm))
    return sorted(found, key=lambda unmet: unmet.time_s)
