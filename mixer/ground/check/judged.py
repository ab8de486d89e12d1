"""How far delivered moments are from those that the exact policy gives, and from those told.

Where the policy's own answer moves further than the bound when the demand moves by a hair, a case
counts as ill-conditioned, not as a breach.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mixer.ground.authority.reach import Reach
from mixer.ground.check.steering_on_trial import SteeringOnTrial
from mixer.ground.check.trial_flight import BreachError, FlownCycle
from mixer.ground.exact_policy.bounds import conditioned_error
from mixer.ground.exact_policy.fair_roll import fair_roll_error
from mixer.ground.exact_policy.policy import Exact
from mixer.ground.inputs.arrays import Array

PRIMARY_COUNTS = 4.0
ROLL_COUNTS = 8.0
MEASURED_COUNTS = 2.0  # of roll: what is less is not measured any closer
TOLD_SHARE = 1e-3  # of a moment told by the core, on top of those


@dataclass(frozen=True)
class JudgedFigure:
    """How near a flight came to a bound."""

    name: str
    value: float
    allowed: float
    unit: str = "counts"

    @property
    def share(self) -> float:
        return self.value / self.allowed

    def __str__(self) -> str:
        value, allowed = (
            f"{number:.0f}" if number >= 100 else f"{number:.2g}"
            for number in (self.value, self.allowed)
        )
        return f"{self.name} {value} of {allowed} {self.unit}"


@dataclass(frozen=True)
class Judged:
    """What a kept promise measured, and how many cases were ill-conditioned."""

    figures: tuple[JudgedFigure, ...] = ()
    ill_conditioned: int = 0


def judged(
    trial: SteeringOnTrial,
    numbers: Sequence[int],
    flown: Sequence[FlownCycle],
    reached: Reach,
    first: Reach,
    exact: Exact,
    what: str,
) -> Judged:
    """How far delivered moments are from `exact`; BreachError, which calls it `what`, where they
    are too far.
    """
    demand, delivered = trial.demand_counts(flown), trial.delivered_counts(flown)
    primary = delivered[:, :2]
    error = np.abs(primary - exact.primary_n).max(-1)
    over = error > PRIMARY_COUNTS
    conditioned = conditioned_error(
        trial.travel_reach_counts(flown), first, demand[:, :2], primary, exact.primary_n,
        trial.vehicle.control.policy,
    )  # fmt: skip
    for n in np.flatnonzero(over & (conditioned > PRIMARY_COUNTS))[:1]:
        raise BreachError(
            f"cycle {numbers[n]}: pitch or yaw is {error[n]:.1f} counts off {what}: "
            f"{counts(primary[n])} instead of {counts(exact.primary_n[n])}"
        )
    roll_error = fair_roll_error(
        reached, exact, primary, delivered[:, 2], demand[:, 2], PRIMARY_COUNTS, MEASURED_COUNTS
    )
    for n in np.flatnonzero(roll_error > ROLL_COUNTS)[:1]:
        raise BreachError(
            f"cycle {numbers[n]}: roll of {delivered[n, 2]:z.1f} counts is {roll_error[n]:.1f} off "
            f"what {what} gives for any pitch and yaw within {PRIMARY_COUNTS:g} counts "
            f"of those delivered; for those it asks for it is {exact.roll_n[n]:z.1f}"
        )
    return Judged(
        (
            JudgedFigure("pitch or yaw off by", float(error[~over].max(initial=0)), PRIMARY_COUNTS),
            JudgedFigure("roll off by", float(roll_error.max()), ROLL_COUNTS),
        ),
        int(over.sum()),
    )


def check_told(trial: SteeringOnTrial, numbers: Sequence[int], flown: Sequence[FlownCycle]) -> None:
    """BreachError where the moments that the core tells are not those that its deflections give."""
    delivered = trial.delivered_counts(flown)
    told = trial.moments_counts(flown, [one.moment_mnm for one in flown])
    allowed = TOLD_SHARE * np.abs(delivered) + [PRIMARY_COUNTS, PRIMARY_COUNTS, ROLL_COUNTS]
    for n in np.flatnonzero(np.any(np.abs(told - delivered) > allowed, axis=-1))[:1]:
        raise BreachError(
            f"cycle {numbers[n]}: told moments of {counts(told[n])}; the deflections give "
            f"{counts(delivered[n])}"
        )


def counts(values: Array) -> str:
    return f"({', '.join(f'{value:z.1f}' for value in values)}) counts"
