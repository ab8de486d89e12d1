"""What the demands say of the flight computer: right, reversed, swapped, nothing, too weak to tell.

A motion is brought back by a moment against it. Each demanded axis is judged by itself, over all
motions: which of them drives it, and with which sign. Gains differ much from axis to axis, hands
move a little about the other axes too; along one demanded axis the gain is the same, so the
motions can be compared there.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from hil.phasing.motions import AXES
from hil.phasing.session import Held
from mixer.ground.inputs.arrays import Array
from mixer.ground.vehicle.vehicle import Vehicle

Outcome = Literal["right", "reversed", "swapped", "mixed", "nothing came", "too weak to tell"]

# Shares of the moment that the vanes give at their best: this project's choice.
NOTHING = 0.001
WEAK = 0.01
OVER_NOISE = 4.0
CLEAR = 2.0  # so many times the answer to the next motion


@dataclass(frozen=True)
class AxisFinding:
    """One demanded axis. driven_by: the motion's axis that it answers, 0 to 2, or None; against:
    whether it works against that motion. change_nm (2,): of the demand, in its own motion, the
    positive way and the negative. silent: in some motion no demand was heard at all.
    """

    axis: int
    outcome: Outcome
    driven_by: int | None
    against: bool
    change_nm: Array
    silent: bool = False

    @property
    def words(self) -> str:
        """The finding in a sentence."""
        name = AXES[self.axis]
        if self.outcome == "right":
            return f"{name}: right, the demand works against the motion"
        if self.outcome == "reversed":
            return f"{name}: reversed, the demand would push the vehicle on instead of back"
        if self.outcome == "swapped":
            assert self.driven_by is not None
            sense = "" if self.against else ", and the wrong way round"
            return f"{name}: swapped, it answers the motion in {AXES[self.driven_by]}{sense}"
        if self.outcome == "mixed":
            return (
                f"{name}: mixed, it answers more than one motion alike; make each motion about "
                "one axis alone, else look how the attitude sensor is turned in the vehicle"
            )
        if self.silent:
            return (
                f"{name}: nothing came, no demand was heard while a motion was held; look whether "
                "the flight computer still sends"
            )
        if self.outcome == "nothing came":
            return f"{name}: nothing came, the demand stays where it was"
        return f"{name}: too weak to tell; move further, hold more quietly, or look at the gain"


def best_moments_nm(vehicle: Vehicle) -> Array:
    """Pitch, yaw, roll (3,) with each vane at the end of its travel that helps most, N·m; new
    vanes, reference pressure, burn time 0.
    """
    ends = np.array([vehicle.force_n(i, vehicle.vanes.travel_deg[i]) for i in range(4)])
    force_n = np.abs(ends).max(axis=1)
    return np.abs(moments_per_n(vehicle)) @ force_n


def moments_per_n(vehicle: Vehicle) -> Array:
    """Moment of each vane's unit of normal force (3, 4): L cos φ, L sin φ, R, at burn time 0."""
    phi = np.radians(np.asarray(vehicle.layout.clocking_deg, dtype=float))
    arm_m = float(vehicle.lever_arm_m_at(0.0))
    roll_m = np.full(4, vehicle.layout.roll_arm_m)
    return np.vstack([arm_m * np.cos(phi), arm_m * np.sin(phi), roll_m])


def judge_axes(held: Sequence[Held], vehicle: Vehicle) -> list[AxisFinding]:
    """A finding for each axis of which both ways were held."""
    axes = sorted({each.motion.axis for each in held})
    change = {(m, way): mean_change(held, m, way) for m in axes for way in (1, -1)}
    best_nm = best_moments_nm(vehicle)
    findings = []
    for axis in axes:
        ways = np.array(
            [[change[m, way][0][axis] for way in (1, -1)] for m in axes]
        )  # (motions, 2)
        spread = np.array([[change[m, way][1][axis] for way in (1, -1)] for m in axes])
        findings.append(judge_axis(axis, axes, ways, spread, float(best_nm[axis])))
    return findings


def mean_change(held: Sequence[Held], axis: int, way: int) -> tuple[Array, Array]:
    """Change of the demand (3,) in one motion, and its noise; the mean over all that made it."""
    made = [e for e in held if (e.motion.axis, e.motion.way) == (axis, way)]
    changes = np.array([e.hold.demand_nm - e.rest.demand_nm for e in made])
    noise = np.array([np.hypot(e.hold.noise_nm, e.rest.noise_nm) for e in made])
    return changes.mean(axis=0), np.sqrt((noise**2).mean(axis=0) / len(made))


def judge_axis(
    axis: int, axes: Sequence[int], ways_nm: Array, noise_nm: Array, best_nm: float
) -> AxisFinding:
    """One demanded axis by its changes in every motion (motions, 2): positive way, negative."""
    own_nm = ways_nm[list(axes).index(axis)]

    def found(outcome: Outcome, driver: int | None = None, against: bool = False) -> AxisFinding:
        return AxisFinding(axis, outcome, driver, against, own_nm)

    if not np.isfinite(ways_nm).all():
        return AxisFinding(axis, "nothing came", None, False, own_nm, silent=True)
    if np.abs(ways_nm).max() < NOTHING * best_nm:
        return found("nothing came")
    answers_nm = 0.5 * (ways_nm[:, 0] - ways_nm[:, 1])
    order = np.argsort(-np.abs(answers_nm))
    first = order[0]
    largest_nm = abs(answers_nm[first])
    floor_nm = max(WEAK * best_nm, OVER_NOISE * float(np.nanmax(noise_nm[first], initial=0.0)))
    both_ways = ways_nm[first, 0] * ways_nm[first, 1] < 0
    if largest_nm < floor_nm or not both_ways:
        return found("too weak to tell")
    if len(order) > 1 and largest_nm < CLEAR * abs(answers_nm[order[1]]):
        return found("mixed")
    driver, against = axes[first], bool(answers_nm[first] < 0)
    if driver != axis:
        return found("swapped", driver, against)
    return found("right" if against else "reversed", driver, against)
