"""Requirements beyond each moment by itself: all three together, and how soon.

Together: every corner (±pitch, ±yaw, ±roll) of what is required must lie within reach at once, the
part that the steering keeps back left out. The solid within reach has facets with the normals
a_i × a_j (see `envelope`), so a demand d is within reach as far as n·d ≤ h(n) for each of them, and
the largest share of d is the least h(n)/(n·d).

Rise time: from all vanes at neutral to the required moment, each by itself, no vane faster than its
slew, after the latency that [servos] states.
"""

from dataclasses import dataclass, replace
from itertools import combinations, product

import numpy as np

from mixer.ground.authority.band import worst_case
from mixer.ground.authority.reach import Reach, forces_n, reach
from mixer.ground.authority.required import AXES, burn_times_s, each_alone_nm, required_nm
from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.vehicle.vehicle import Vehicle


@dataclass(frozen=True)
class UnmetTogether:
    """The burn time at which the least share of all that is required together is within reach."""

    time_s: float
    least_share: float

    def __str__(self) -> str:
        return (
            "All that is required together is not within reach: at "
            f"{self.time_s:.2f} s only {max(self.least_share, 0):.1%} of it, with the signs that "
            "are worst"
        )


@dataclass(frozen=True)
class UnmetRise:
    """The slowest rise to a required moment, and the burn time at which it is."""

    axis: str
    time_s: float
    slowest_ms: float
    required_ms: float

    def __str__(self) -> str:
        took = f"{self.slowest_ms:.0f} ms" if np.isfinite(self.slowest_ms) else "for ever"
        return (
            f"{self.axis.capitalize()} rises to what is required in {took} at {self.time_s:.2f} s,"
            f" in at most {self.required_ms:g} ms was required"
        )


def together_share(reached: Reach, wanted_nm: Array) -> Array:
    """The largest share of required pitch, yaw and roll (3,) that is within reach at once, in every
    combination of signs: shape (...). Below 0 where not even none is.
    """
    lever_m = np.asarray(reached.lever_arm_m)[..., None]
    levers = np.concatenate([lever_m, lever_m, np.full_like(lever_m, reached.roll_arm_m)], axis=-1)
    along = np.column_stack([reached.directions, np.ones(VANES)])  # a_i, (4, 3)
    facets = [np.cross(along[i], along[j]) for i, j in combinations(range(VANES), 2)]
    solid = np.concatenate([facets, -np.array(facets)])
    pushes = solid @ along.T
    low, high = reached.lo_n[..., None, :], reached.hi_n[..., None, :]
    supports = np.maximum(low * pushes, high * pushes).sum(-1)
    # Pitch and yaw end where the steering stops, a little inside.
    polygon = np.column_stack([reached.normals, np.zeros(len(reached.normals))])
    normals = np.concatenate([solid, polygon])
    limits = np.concatenate([supports, reached.edges_n()], axis=-1)
    least = np.full(np.shape(reached.lever_arm_m), np.inf)
    for signs in product((-1.0, 1.0), repeat=3):
        across = (np.array(signs) * wanted_nm / levers) @ normals.T
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.where(across > 1e-9, limits / across, np.inf)
        least = np.minimum(least, share.min(-1))
    return least


def worst_together_share(vehicle: Vehicle, time_s: Array, wanted_nm: Array) -> Array:
    """`together_share` in the worst case of [uncertainty], or as the file has it without."""
    return worst_case(vehicle, time_s, lambda reached: together_share(reached, wanted_nm))


def rise_time_s(vehicle: Vehicle, time_s: Array, wanted_nm: Array) -> Array:
    """How soon each required moment (3,) is there by itself, from neutral, both ways: (..., 3), at
    burn times (...). Infinite where it is out of reach, 0 where nothing is required.
    """
    here, gain = reach(vehicle, time_s), vehicle.effectiveness(time_s)
    slew_deg_s = np.array([servo.slew_deg_s for servo in vehicle.servos])
    travel_deg = vehicle.vanes.travel_deg
    whole_s = float((np.abs(travel_deg).max(axis=1) / slew_deg_s).max())

    def reached_nm(after_s: float) -> Array:
        low, high = (
            np.clip(sign * slew_deg_s * after_s, travel_deg[:, 0], travel_deg[:, 1])
            for sign in (-1, 1)
        )
        return each_alone_nm(
            replace(here, lo_n=gain * forces_n(vehicle, low), hi_n=gain * forces_n(vehicle, high))
        )

    latency_ms = vehicle.servo_table.latency_ms
    waits_s = 0.0 if latency_ms is None else 1e-3 * float(np.max(latency_ms))
    times_s = np.linspace(0.0, whole_s, 65)
    table = np.stack([reached_nm(float(after_s)) for after_s in times_s], axis=-1)
    enough = table >= np.where(np.isnan(wanted_nm), -np.inf, wanted_nm)[:, None]
    first = np.argmax(enough, axis=-1)
    rise_s = np.where(enough.any(-1), times_s[first] + waits_s, np.inf)
    # A straight line back to where it crosses; one piece of 64 is 1.6 % of the longest rise.
    before = np.maximum(first - 1, 0)[..., None]
    below = np.take_along_axis(table, before, -1)[..., 0]
    above = np.take_along_axis(table, first[..., None], -1)[..., 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        back = np.where((first > 0) & (above > below), (above - wanted_nm) / (above - below), 0.0)
    rise_s = rise_s - np.where(np.isfinite(rise_s), back, 0.0) * (times_s[1] - times_s[0])
    return np.where(np.isnan(wanted_nm), 0.0, rise_s)


def unmet_cases(vehicle: Vehicle) -> list[UnmetTogether | UnmetRise]:
    """What [requirements] asks for beyond each moment by itself, and is not met over the burn."""
    limits = vehicle.requirements
    if limits is None:
        return []
    wanted_nm, times_s = required_nm(limits), burn_times_s(vehicle)
    found: list[UnmetTogether | UnmetRise] = []
    if limits.together and not np.isnan(wanted_nm).all():
        share = worst_together_share(vehicle, times_s, np.nan_to_num(wanted_nm))
        worst = int(np.argmin(share))
        if share[worst] < 1.0:
            found.append(UnmetTogether(float(times_s[worst]), float(share[worst])))
    if limits.rise_time_ms is not None:
        rise_ms = 1e3 * rise_time_s(vehicle, times_s, wanted_nm)
        for place, axis in enumerate(AXES):
            worst = int(np.argmax(rise_ms[:, place]))
            slowest_ms = float(rise_ms[worst, place])
            if slowest_ms > limits.rise_time_ms:
                when_s = float(times_s[worst])
                found.append(UnmetRise(axis, when_s, slowest_ms, limits.rise_time_ms))
    return found
