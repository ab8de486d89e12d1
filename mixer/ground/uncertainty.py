"""Authority with its uncertainty: what is within reach if the vehicle file is off by its errors.

Each number of [uncertainty] is moved by two standard errors, both ways, one at a time. Their
effects in squares make the band within which the truth should lie (19 times of 20 where the errors
are normal); the losses added up, as if every number were off by two standard errors the wrong way
at once, make the worst case.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from mixer.ground.authority import each_alone_nm
from mixer.ground.envelope import Reach, forces_n, reach
from mixer.ground.quantities import VANES, Array
from mixer.ground.uncertainty_section import Uncertainty
from mixer.ground.vehicle import Vehicle

STANDARD_ERRORS = 2.0


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
    square, lost = np.zeros_like(nominal), np.zeros_like(nominal)
    for less, more in changed(vehicle, time_s):
        with np.errstate(invalid="ignore"):
            changes = np.stack([each_alone_nm(less), each_alone_nm(more)]) - nominal
        changes = np.nan_to_num(changes, nan=0.0)  # out of reach before and after
        square += (changes[1] - changes[0]) ** 2 / 4
        lost += np.maximum(-changes.min(axis=0), 0.0)
    either_way = np.sqrt(square)
    return Band(nominal, nominal - either_way, nominal + either_way, nominal - lost)


def worst_case_nm(vehicle: Vehicle, burn_time_s: Array) -> Array:
    """The worst case of `reachable_band`, (..., 3)."""
    return reachable_band(vehicle, burn_time_s).worst_nm


def changed(vehicle: Vehicle, time_s: Array) -> Iterator[tuple[Reach, Reach]]:
    """For each uncertain number: what is within reach with it too low and too high."""
    errors = vehicle.uncertainty or Uncertainty()
    here = reach(vehicle, time_s)
    each_vane = STANDARD_ERRORS * np.eye(VANES)
    shares = errors.effectiveness_at(time_s) / vehicle.effectiveness(time_s)
    for vane in np.flatnonzero(shares.reshape(-1, VANES).any(axis=0)):
        by = shares * each_vane[vane]
        yield (
            replace(here, lo_n=here.lo_n * (1 - by), hi_n=here.hi_n * (1 - by)),
            replace(here, lo_n=here.lo_n * (1 + by), hi_n=here.hi_n * (1 + by)),
        )
    for vane in np.flatnonzero(or_zeros(errors.clocking_deg)):
        by = or_zeros(errors.clocking_deg) * each_vane[vane]
        yield (
            replace(here, clocking_deg=here.clocking_deg - by),
            replace(here, clocking_deg=here.clocking_deg + by),
        )
    for vane in np.flatnonzero(or_zeros(errors.zero_deg)):
        by = or_zeros(errors.zero_deg) * each_vane[vane]
        yield with_zero(vehicle, time_s, here, -by), with_zero(vehicle, time_s, here, by)
    for name in ("roll_arm_m", "lever_arm_m"):
        if by := STANDARD_ERRORS * getattr(errors, name):
            arm_m = getattr(here, name)
            yield replace(here, **{name: arm_m - by}), replace(here, **{name: arm_m + by})


def with_zero(vehicle: Vehicle, time_s: Array, here: Reach, off_deg: Array) -> Reach:
    """What is within reach if edge-on lies `off_deg` (4,) away from neutral: the travel, which the
    linkage sets, moves along the curves.
    """
    gain = vehicle.effectiveness(time_s)
    lo_n, hi_n = (gain * forces_n(vehicle, limit + off_deg) for limit in vehicle.vanes.travel_deg.T)
    return replace(here, lo_n=lo_n, hi_n=hi_n)


def or_zeros(errors: Array | None) -> Array:
    return np.zeros(VANES) if errors is None else errors
