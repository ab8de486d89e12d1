"""After a flight: its last demand held for a while; or trouble gone, and one within reach held."""

from dataclasses import replace

import numpy as np

from mixer.ground.authority.reach import PITCH, YAW
from mixer.ground.check.steering_on_trial import SteeringOnTrial
from mixer.ground.check.trial_flight import Demand, FlownCycle, TrialCycle, TrialFlight
from mixer.ground.exact_policy.policy import rest_point, roll_range_n
from mixer.ground.inputs.arrays import VANES

TRAVELS = 1.5  # of the slowest vane: the time to come back in
SPARE_CYCLES = 10
INSIDE = 0.5  # how deep inside its reach the demand is


def settling_cycles(trial: SteeringOnTrial) -> int:
    """How many cycles the vanes are given to come back from anywhere."""
    step_mdeg = np.maximum(trial.step_mdeg(trial.period_us), 1)
    slowest = float((np.ptp(trial.travel_mdeg, axis=1) / step_mdeg).max())
    return int(np.ceil(TRAVELS * slowest)) + SPARE_CYCLES


def held(trial: SteeringOnTrial, flight: TrialFlight) -> TrialFlight:
    """The flight, and after it its last demand held at the reference pressure, jams as they are,
    until the vanes have had the time to come to rest from anywhere.
    """
    demand = trial.fly(flight)[-1].demand_mnm
    more = [TrialCycle(demand)] * settling_cycles(trial)
    return replace(flight, cycles=(*flight.cycles, *more))


def settled(trial: SteeringOnTrial, flight: TrialFlight) -> TrialFlight:
    """The flight, and after it time to settle, with its last demand brought within reach."""
    freed = replace(
        flight, cycles=(*flight.cycles, *[TrialCycle(free=vane) for vane in range(1, VANES + 1)])
    )
    settling = settling_cycles(trial)
    now, held_us = trial.fly(freed)[-1], settling * trial.period_us
    end = replace(now, time_us=now.time_us + held_us, load_us=now.load_us + held_us)
    held = TrialCycle(within_reach(trial, end))
    return replace(freed, cycles=(*freed.cycles, *[held] * settling))


def within_reach(trial: SteeringOnTrial, one: FlownCycle) -> Demand:
    """The demand of a cycle brought well inside what free vanes reach at that time."""
    free = replace(one, pressure_pa=round(trial.reference_pa))
    reached = trial.full_reach_counts([free])
    wanted = trial.demand_counts([free])
    rest = rest_point(reached)
    share = float(reached.primary_share(wanted[:, PITCH], wanted[:, YAW])[0])
    primary = rest + (wanted[:, :2] - rest) * (INSIDE / max(share, INSIDE))
    least, most = roll_range_n(reached, primary)
    middle, room = (least + most) / 2, INSIDE * (most - least) / 2
    roll = np.clip(wanted[:, 2], middle - room, middle + room)
    demand = np.concatenate([primary[0], roll]) * trial.per_count_mnm([free])[0]
    pitch_mnm, yaw_mnm, roll_mnm = (round(float(x)) for x in demand)
    return pitch_mnm, yaw_mnm, roll_mnm
