"""Authority with its uncertainty: what is within reach if the vehicle file is off by its errors.

The band holds what 19 of 20 vehicles drawn by the standard errors of [uncertainty] reach. The worst
case adds up what each number takes away when it alone is off by two standard errors, whichever way
is worse: as if all were off the wrong way at once.

Where the file says how vanes and burns scatter, both are for a new set of vanes in a new burn (a
prediction); else for the very vanes that were tested (an estimate), and a new set scatters more.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import scipy

from mixer.ground.authority.reach import Reach, forces_n, reach
from mixer.ground.authority.required import each_alone_nm
from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.vehicle.uncertainty import Uncertainty
from mixer.ground.vehicle.vehicle import Vehicle

STANDARD_ERRORS = 2.0
DRAWS = 256  # a power of two, for Sobol's points
# Effectiveness, clocking and zero of each vane; roll arm, lever arm; what a burn's vanes share.
NUMBERS = 3 * VANES + 3


@dataclass(frozen=True)
class Band:
    """Pitch, yaw and roll within reach both ways, each by itself, in N m: shape (..., 3) each."""

    nominal_nm: Array
    low_nm: Array
    high_nm: Array
    worst_nm: Array


def reachable_band(vehicle: Vehicle, burn_time_s: Array) -> Band:
    """What is within reach at burn times (...), at the reference pressure, and how surely.

    Without [uncertainty] all four are alike. Below 0 where a moment cannot be brought to zero.
    """
    time_s = np.asarray(burn_time_s, dtype=float)
    nominal = each_alone_nm(reach(vehicle, time_s))
    if vehicle.uncertainty is None:
        return Band(nominal, nominal, nominal, nominal)
    drawn = np.stack([each_alone_nm(off) for off in shifted(vehicle, time_s, draws())])
    low, high = np.quantile(
        drawn, scipy.stats.norm.cdf([-STANDARD_ERRORS, STANDARD_ERRORS]), axis=0
    )
    return Band(nominal, low, high, worst_case_nm(vehicle, time_s))


def worst_case_nm(vehicle: Vehicle, burn_time_s: Array) -> Array:
    """The worst case of `reachable_band`, (..., 3)."""
    return worst_case(vehicle, np.asarray(burn_time_s, dtype=float), each_alone_nm)


def worst_case(vehicle: Vehicle, time_s: Array, figure: Callable[[Reach], Array]) -> Array:
    """A figure of what is within reach at burn times (...), less all that it loses where each
    number alone is off the worse way.
    """
    nominal = figure(reach(vehicle, time_s))
    lost = np.zeros_like(nominal)
    for off in uncertain_numbers(vehicle.uncertainty or Uncertainty()):
        either_way = [figure(one) for one in shifted(vehicle, time_s, [-off, off])]
        worse = np.minimum.reduce([nominal, *either_way])
        lost += np.where(worse < nominal, nominal - worse, 0.0)
    return nominal - lost


def whose_vanes(errors: Uncertainty) -> str:
    """For which vanes a band of these errors holds, in a sentence."""
    if errors.knows_scatter:
        return (
            "The band is for a new set of vanes in a new burn: the scatter of vanes and burns is in"
            " it."
        )
    return (
        "The band is for the very vanes that were tested: a new set scatters more, by what fourvane"
        " erosion fit tells from inspections (vane_scatter, burn_scatter)."
    )


def uncertain_numbers(errors: Uncertainty) -> Iterator[Array]:
    """Each number that has an error, off by two of them: (NUMBERS,) of standard errors."""
    effectiveness = errors.effectiveness is not None or errors.vane_scatter is not None
    per_vane = (effectiveness, errors.clocking_deg is not None, errors.zero_deg is not None)
    present = [given for given in per_vane for _ in range(VANES)]
    present += [errors.roll_arm_m > 0, errors.lever_arm_m > 0, errors.burn_scatter is not None]
    yield from STANDARD_ERRORS * np.eye(NUMBERS)[np.array(present)]


@cache
def draws() -> Array:
    """The same normal numbers every time, spread evenly (Sobol's points): (DRAWS, NUMBERS)."""
    points = scipy.stats.qmc.Sobol(NUMBERS, scramble=False).random(DRAWS) + 0.5 / DRAWS
    return np.asarray(scipy.stats.norm.ppf(points))


def shifted(vehicle: Vehicle, time_s: Array, offs: Iterable[Array]) -> Iterator[Reach]:
    """What is within reach at burn times (...) with each number off by so many of its standard
    errors, `offs` (NUMBERS,) each.

    Edge-on off neutral moves the travel, which the linkage sets, along the force curve.
    """
    errors, here = vehicle.uncertainty or Uncertainty(), reach(vehicle, time_s)
    as_filed, of_vane = vehicle.effectiveness(time_s), errors.vane_at(time_s)
    of_burn = errors.burn_at(time_s)[..., None]
    for off in offs:
        effectiveness, clocking, zero = off[: 3 * VANES].reshape(3, VANES)
        gain = as_filed + effectiveness * of_vane + off[-1] * of_burn
        zero_deg = zero * (0.0 if errors.zero_deg is None else errors.zero_deg)
        clocking_deg = clocking * (0.0 if errors.clocking_deg is None else errors.clocking_deg)
        lo_n, hi_n = (
            np.maximum(gain, 0.0) * forces_n(vehicle, limit_deg + zero_deg)
            for limit_deg in vehicle.vanes.travel_deg.T
        )
        yield replace(
            here,
            clocking_deg=here.clocking_deg + clocking_deg,
            lo_n=lo_n,
            hi_n=hi_n,
            roll_arm_m=here.roll_arm_m + off[-3] * errors.roll_arm_m,
            lever_arm_m=here.lever_arm_m + off[-2] * errors.lever_arm_m,
        )
