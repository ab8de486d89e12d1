"""After a flight: its last demand held for a while; or trouble gone, and one within reach held."""

from dataclasses import replace

import numpy as np

from mixer.ground.authority.reach import PITCH, YAW
from mixer.ground.check.steering_on_trial import Subject
from mixer.ground.check.trial_flight import Cycle, Demand, Flight, Flown
from mixer.ground.exact_policy.policy import rest_point, roll_range_n
from mixer.ground.inputs.arrays import VANES

TRAVELS = 1.5  # of the slowest vane: the time to come back in
SPARE_CYCLES = 10
INSIDE = 0.5  # how deep inside its reach the demand is


def calm_cycles(subject: Subject) -> int:
    """How many cycles the vanes are given to come back from anywhere."""
    step_mdeg = np.maximum(subject.step_mdeg(subject.period_us), 1)
    slowest = float((np.ptp(subject.travel_mdeg, axis=1) / step_mdeg).max())
    return int(np.ceil(TRAVELS * slowest)) + SPARE_CYCLES


def held(subject: Subject, flight: Flight) -> Flight:
    """The flight, and after it its last demand held at the reference pressure, jams as they are,
    until the vanes have had the time to come to rest from anywhere.
    """
    demand = subject.fly(flight)[-1].demand_mnm
    more = [Cycle(demand)] * calm_cycles(subject)
    return replace(flight, cycles=(*flight.cycles, *more))


def calmed(subject: Subject, flight: Flight) -> Flight:
    """The flight, and after it the calm, with the flight's last demand brought within reach."""
    freed = replace(
        flight, cycles=(*flight.cycles, *[Cycle(free=vane) for vane in range(1, VANES + 1)])
    )
    calm = calm_cycles(subject)
    now, held_us = subject.fly(freed)[-1], calm * subject.period_us
    end = replace(now, time_us=now.time_us + held_us, load_us=now.load_us + held_us)
    held = Cycle(within_reach(subject, end))
    return replace(freed, cycles=(*freed.cycles, *[held] * calm))


def within_reach(subject: Subject, one: Flown) -> Demand:
    """The demand of a cycle brought well inside what free vanes reach at that time."""
    free = replace(one, pressure_pa=round(subject.reference_pa))
    reached = subject.full_reach_counts([free])
    wanted = subject.demand_counts([free])
    rest = rest_point(reached)
    share = float(reached.primary_share(wanted[:, PITCH], wanted[:, YAW])[0])
    primary = rest + (wanted[:, :2] - rest) * (INSIDE / max(share, INSIDE))
    least, most = roll_range_n(reached, primary)
    middle, room = (least + most) / 2, INSIDE * (most - least) / 2
    roll = np.clip(wanted[:, 2], middle - room, middle + room)
    demand = np.concatenate([primary[0], roll]) * subject.per_count_mnm([free])[0]
    pitch_mnm, yaw_mnm, roll_mnm = (round(float(x)) for x in demand)
    return pitch_mnm, yaw_mnm, roll_mnm
