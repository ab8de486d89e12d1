"""What the steering promises of any vehicle: one function for each promise.

    trial = SteeringOnTrial(load_vehicle("vehicle.toml"))
    limits(trial, TrialFlight((TrialCycle(demand_mnm=(0, 5000, 0)),)))

Each flies the flight, judges what the vanes did, and tells how near it came to the bound;
BreachError says in words what was not kept. Where the policy's own answer moves further than the
bound when the demand moves by a hair, a case counts as ill-conditioned, not as a breach.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from mixer.flight import FLAG_NAMES
from mixer.flight import layout as at
from mixer.ground.check.judged import (
    PRIMARY_COUNTS,
    ROLL_COUNTS,
    Judged,
    JudgedFigure,
    check_told,
    judged,
)
from mixer.ground.check.jump_search import as_demand, widest_jump
from mixer.ground.check.recovery import held, settled, settling_cycles
from mixer.ground.check.steering_on_trial import SteeringOnTrial
from mixer.ground.check.trial_flight import BreachError, Demand, FlownCycle, TrialFlight
from mixer.ground.exact_policy.bounds import PRIMARY_ROUNDING_COUNTS, most_moved_counts, stretch
from mixer.ground.tables.scales import NO_THRUST_RATIO

PULSE_US = 1.0  # servos tell no less apart
SAME_PRIMARY_COUNTS = 2.0  # the rounding of two sets of forces for one primary
FORCE_ROUNDING_COUNTS = 2.0
SQUARE_STRETCH = math.sqrt(2)  # of "direction" with equal vanes at quarter turns
NUDGES = ((1, 0, 0), (0, 1, 0), (0, 0, 1), (1, 1, 1), (-1, 1, -1))  # counts


Promise = Callable[[SteeringOnTrial, TrialFlight], Judged]


def limits(trial: SteeringOnTrial, flight: TrialFlight) -> Judged:
    """No vane leaves its travel or turns faster than its slew, and each pulse is its vane's."""
    worst_us = 0.0
    for number, one in enumerate(trial.fly(flight), 1):
        steps = trial.step_mdeg(one.dt_us)
        for i, now in enumerate(one.after_mdeg):
            where, (low, high) = f"cycle {number}, vane {i + 1}", trial.travel_mdeg[i]
            if not low <= now <= high:
                raise BreachError(
                    f"{where}: deflection {now / 1000:g}°, outside the travel "
                    f"{low / 1000:g}° to {high / 1000:g}°"
                )
            turned, most = abs(now - one.before_mdeg[i]), 0.0 if one.jammed[i] else steps[i]
            if turned > most:
                why = "it is jammed" if one.jammed[i] else f"its slew allows {most / 1000:g}°"
                raise BreachError(f"{where}: turned {turned / 1000:g}° in {one.dt_us} µs; {why}")
            right_us = float(trial.vehicle.servos[i].pulse_us(now / 1000))
            error_us = abs(one.pulse_ns[i] / 1000 - right_us)
            if error_us > PULSE_US:
                raise BreachError(
                    f"{where}: pulse {one.pulse_ns[i] / 1000:g} µs at {now / 1000:g}°, where "
                    f"its servo takes {right_us:g} µs"
                )
            worst_us = max(worst_us, error_us)
    return Judged((JudgedFigure("pulse off by", worst_us, PULSE_US, "µs"),))


def priority(trial: SteeringOnTrial, flight: TrialFlight) -> Judged:
    """Roll never costs pitch or yaw: they come out the same whatever roll is demanded."""
    found = last_taken(trial.fly(flight))
    if found is None:
        return Judged()
    number, one = found
    pitch, yaw, _ = one.demand_mnm
    most = trial.tables.words[at.ROLL_MNM_MAX]
    plain = with_demand(trial, flight, number, (pitch, yaw, 0))
    allowed = SAME_PRIMARY_COUNTS + float(trial.grain_counts([plain])[0].sum())
    worst = 0.0
    for roll in (one.demand_mnm[2], most, -most):
        rolled = with_demand(trial, flight, number, (pitch, yaw, roll))
        delivered = trial.delivered_counts([plain, rolled])[:, :2]
        cost = float(np.abs(delivered[1] - delivered[0]).max())
        if cost > allowed:
            raise BreachError(
                f"cycle {number}: with a roll demand of {roll} mN·m instead of 0, pitch or yaw "
                f"moves by {cost:.1f} counts; rounding explains {allowed:.1f}"
            )
        worst = max(worst, cost)
    return Judged((JudgedFigure("pitch or yaw moved by", worst, allowed),))


def continuity(trial: SteeringOnTrial, flight: TrialFlight) -> Judged:
    """A demand moved by a count moves every vane's force by a bounded number of counts."""
    found = last_taken(trial.fly(flight))
    if found is None or not found[1].steered:
        return Judged()
    number, one = found
    count_mnm = trial.per_count_mnm([one])[0]
    bound = most_moved_counts(trial.vehicle.layout.clocking_deg, PRIMARY_ROUNDING_COUNTS)
    bound *= max(1.0, 1 / float(count_mnm.min()))  # where 1 mN·m is more than a count
    rounding = FORCE_ROUNDING_COUNTS + float(trial.grain_counts([one]).max())
    usual = widest = 1.0
    if trial.vehicle.control.policy == "direction":
        usual = SQUARE_STRETCH
        widest = max(usual, stretch(trial.travel_reach_counts([one])))
    allowed = usual * bound + rounding

    def flown_with(demand_mnm: Demand) -> FlownCycle:
        return with_demand(trial, flight, number, demand_mnm)

    nudged = [np.trunc(count_mnm * sign).astype(int) + one.demand_mnm for sign in NUDGES]
    pairs = [(one, flown_with(as_demand(demand))) for demand in nudged]
    pairs.append(widest_jump(trial, one, flown_with))
    worst, ill_conditioned = 0.0, 0
    for start, end in pairs:
        if not end.taken:
            continue
        after = np.array([start.after_mdeg, end.after_mdeg], dtype=float)
        force = trial.force_counts([start, end], after)
        by = float(np.abs(force[1] - force[0]).max())
        if by > widest * bound + rounding:
            raise BreachError(
                f"cycle {number}: from a demand of {start.demand_mnm} to {end.demand_mnm} mN·m, at "
                f"most a count of each, a vane's force moves by {by:.1f} counts; the bound is "
                f"{widest * bound + rounding:.1f}"
            )
        if by > allowed:
            ill_conditioned += 1
        else:
            worst = max(worst, by)
    return Judged((JudgedFigure("a force moved by", worst, allowed),), ill_conditioned)


def recovery(trial: SteeringOnTrial, flight: TrialFlight) -> Judged:
    """Without a demand or a jet the vanes go to neutral at their slew rate; once both are back
    and no vane is jammed, a demand within reach is soon delivered.
    """
    for number, one in enumerate(trial.fly(flight), 1):
        check_status(trial, number, one)
        if not one.steered:
            check_neutral(trial, number, one)
    settling = settled(trial, flight)
    one = trial.fly(settling)[-1]
    when = f"cycle {len(settling.cycles)}, after {settling_cycles(trial)} cycles without trouble"
    if still := one.flags & ~at.DOUBTED_PRESSURE:
        raise BreachError(f"{when}: still {' and '.join(flag_names(still))}")
    error = np.abs(trial.delivered_counts([one]) - trial.demand_counts([one]))[0]
    primary, roll = float(error[:2].max()), float(error[2])
    if primary > PRIMARY_COUNTS or roll > ROLL_COUNTS:
        raise BreachError(
            f"{when}: of {one.demand_mnm} mN·m, which is within reach, pitch or yaw is off by "
            f"{primary:.1f} counts and roll by {roll:.1f}"
        )
    return Judged(
        (
            JudgedFigure("pitch or yaw off by", primary, PRIMARY_COUNTS),
            JudgedFigure("roll off by", roll, ROLL_COUNTS),
        )
    )


def accuracy(trial: SteeringOnTrial, flight: TrialFlight) -> Judged:
    """In each cycle pitch and yaw are within 4 counts of the exact policy, roll within 8 of what
    that gives for some pitch and yaw within 4 counts of those delivered; the moments told are those
    delivered.
    """
    steered = [pair for pair in enumerate(trial.fly(flight), 1) if pair[1].steered]
    if not steered:
        return Judged()
    numbers, flown = zip(*steered, strict=True)
    check_told(trial, numbers, flown)
    first = trial.first_reach_counts(flown)
    return judged(
        trial, numbers, flown, trial.reach_counts(flown), first, trial.exact(flown),
        "the exact policy",
    )  # fmt: skip


def rest(trial: SteeringOnTrial, flight: TrialFlight) -> Judged:
    """A demand that is held comes to rest within the same bounds of what the exact policy gives by
    travel alone, whatever the slew.
    """
    kept = held(trial, flight)
    one = trial.fly(kept)[-1]
    if not one.steered:
        return Judged()
    travel = trial.travel_reach_counts([one])
    return judged(
        trial, [len(kept.cycles)], [one], travel, travel, trial.exact_at_rest([one]),
        "the exact policy by travel alone",
    )  # fmt: skip


PROMISES: tuple[Promise, ...] = (limits, priority, continuity, recovery, accuracy, rest)


def last_taken(flown: Sequence[FlownCycle]) -> tuple[int, FlownCycle] | None:
    """The last cycle whose demand was taken, and its number from 1."""
    taken = [pair for pair in enumerate(flown, 1) if pair[1].taken]
    return taken[-1] if taken else None


def with_demand(
    trial: SteeringOnTrial, flight: TrialFlight, number: int, demand_mnm: Demand
) -> FlownCycle:
    """Cycle `number` as it comes out with another demand, all before it the same."""
    other = replace(flight.cycles[number - 1], demand_mnm=demand_mnm)
    return trial.fly(replace(flight, cycles=(*flight.cycles[: number - 1], other)))[-1]


def check_status(trial: SteeringOnTrial, number: int, one: FlownCycle) -> None:
    """BreachError unless the flags tell of a lost jet, stale demands and jams where they are so."""
    timeout_us = 1000 * trial.vehicle.control.demand_timeout_ms
    for flag, holds, why in (
        (at.NO_THRUST, one.pressure_pa < NO_THRUST_RATIO * trial.reference_pa,
         f"the pressure is {one.pressure_pa} Pa"),
        (at.STALE_DEMAND, one.age_us is None or one.age_us >= timeout_us,
         "there was no demand yet" if one.age_us is None else f"the demand is {one.age_us} µs old"),
        (at.JAMMED_VANE, any(one.jammed),
         f"{'some' if any(one.jammed) else 'no'} vane is jammed"),
    ):  # fmt: skip
        if bool(one.flags & flag) != holds:
            (name,) = flag_names(flag)
            raise BreachError(f"cycle {number}: {'not ' * holds}flagged {name}, though {why}")


def check_neutral(trial: SteeringOnTrial, number: int, one: FlownCycle) -> None:
    """BreachError unless every vane went as far towards neutral as its slew and travel let it."""
    low, high = (ends[0] for ends in trial.window_mdeg([one]))
    for i, (now, right) in enumerate(zip(one.after_mdeg, np.clip(0.0, low, high), strict=True)):
        if now != right:
            raise BreachError(
                f"cycle {number}, {' and '.join(flag_names(one.flags))}: vane {i + 1} goes from "
                f"{one.before_mdeg[i] / 1000:g}° to {now / 1000:g}°; towards neutral at its slew "
                f"rate it gets to {right / 1000:g}°"
            )


def flag_names(flags: int) -> list[str]:
    return [name for n, name in enumerate(FLAG_NAMES) if flags >> n & 1]
