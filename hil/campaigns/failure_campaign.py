"""Flies every planned failure, by the flight core and by its rival, and counts the outcomes."""

from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from hil.campaigns.failures import family
from hil.campaigns.plans import Plan, Steered, Task, fly_task, in_blocks
from hil.campaigns.reachability import HealthyFlights
from hil.campaigns.workers import run_blocks
from hil.faults.wrong_tables import in_tables
from mixer.ground.vehicle.vehicle import Vehicle

Outcome = Literal["kept attitude", "lost roll only", "beyond required", "lost"]
NOTHING = "nothing fails"
OUTCOMES: tuple[Outcome, ...] = ("kept attitude", "lost roll only", "beyond required", "lost")


@dataclass(frozen=True)
class Limits:
    """Beyond these a flight with a failure counts as lost, or its roll does; `required_deg` is
    what the vehicle file itself asks of the attitude, where it does.
    """

    attitude_deg: float = 20.0  # room for the swing before a jam is noticed
    roll_deg_s: float = 180.0
    required_deg: float | None = None

    def outcome(self, attitude_error_deg: float, roll_rate_deg_s: float) -> Outcome:
        """Not-a-number, a flight that never left the rail, is lost."""
        if not attitude_error_deg <= self.attitude_deg:
            return "lost"
        if self.required_deg is not None and attitude_error_deg > self.required_deg:
            return "beyond required"
        return "kept attitude" if roll_rate_deg_s <= self.roll_deg_s else "lost roll only"


@dataclass(frozen=True)
class Flown:
    """One flown failure. `used`: share of the reach that holding still takes with a jammed vane;
    not-a-number for other failures.
    """

    plan: Plan
    steered: Steered
    outcome: Outcome
    attitude_error_deg: float
    roll_rate_deg_s: float
    margin_percent: float
    used: float = float("nan")

    @property
    def reachable(self) -> bool:
        """Whether the exact check says that the attitude can be kept."""
        return self.used <= 1.0


def tasks_of(
    vehicle: Vehicle, plans: Iterable[Plan], steered: Sequence[Steered], watch_jams: bool
) -> list[Task]:
    """The plans in blocks that share their flight tables, for each way of steering."""
    groups: dict[object, list[Plan]] = {}
    for plan in plans:
        groups.setdefault(in_tables(plan.faults), []).append(plan)
    return [
        Task(vehicle, tuple(block), watch_jams, how)
        for how in steered
        for group in groups.values()
        for block in in_blocks(group)
    ]


def fly_failures(
    tasks: Sequence[Task],
    executor: Executor,
    workers: int,
    limits: Limits,
    done: Callable[[int], None],
) -> list[Flown]:
    """All flights of the tasks, in the tasks' order; `done` gets how many flights are over."""
    flown: dict[int, list[Flown]] = {}
    number = {id(task): n for n, task in enumerate(tasks)}
    over = 0
    for task, columns in run_blocks(executor, workers, fly_task, tasks):
        flown[number[id(task)]] = [
            Flown(
                plan,
                task.steered,
                limits.outcome(attitude, roll),
                float(attitude),
                float(roll),
                float(margin),
            )
            for plan, attitude, roll, margin in zip(
                task.plans,
                columns["attitude_error_deg"],
                columns["roll_rate_deg_s"],
                columns["margin_percent"],
                strict=True,
            )
        ]
        over += len(task.plans)
        done(over)
    return [each for n in sorted(flown) for each in flown[n]]


def with_reachability(vehicle: Vehicle, flown: Sequence[Flown]) -> list[Flown]:
    """The flights, those with one jammed vane and nothing else checked for reachability."""
    seeds = sorted({each.plan.seed for each in flown if is_single_jam(each.plan)}, key=str)
    if not seeds:
        return list(flown)
    healthy = HealthyFlights(vehicle, seeds)
    return [
        replace(each, used=healthy.used_with(each.plan)) if is_single_jam(each.plan) else each
        for each in flown
    ]


def is_single_jam(plan: Plan) -> bool:
    """Whether the plan is one jammed vane at a known angle, and nothing else."""
    return len(plan.faults) == 1 and plan.faults[0].kind == "jam"


def counted(flown: Sequence[Flown], steered: Steered) -> dict[Outcome, int]:
    """How many flights came to each outcome under one way of steering."""
    mine = [each.outcome for each in flown if each.steered == steered]
    return {outcome: mine.count(outcome) for outcome in OUTCOMES}


def by_family(vehicle: Vehicle, flown: Sequence[Flown]) -> dict[str, list[Flown]]:
    """Flights of the same kinds of failure together, in the order in which they first come; those
    without one under `NOTHING`.
    """
    families: dict[str, list[Flown]] = {}
    for each in flown:
        name = " + ".join(sorted(family(fault, vehicle) for fault in each.plan.faults))
        families.setdefault(name or NOTHING, []).append(each)
    return families


@dataclass(frozen=True)
class JamCount:
    """Single jams: how many there were, could be held, and were held by each."""

    jams: int
    reachable: int
    kept_by_core: int
    kept_by_rival: int
    lost_by_core: int  # of all jams, those that cannot be held included
    lost_by_rival: int
    broken: tuple[Flown, ...]  # could be held, but the flight core lost them


def count_jams(flown: Sequence[Flown]) -> JamCount:
    """The comparison that priority allocation is judged by."""
    core = [each for each in flown if each.steered == "flight-core" and not np.isnan(each.used)]
    reachable = [each for each in core if each.reachable]
    rival = [each for each in flown if each.steered == "clipped" and not np.isnan(each.used)]
    broken = tuple(each for each in reachable if each.outcome == "lost")
    return JamCount(
        jams=len(core),
        reachable=len(reachable),
        kept_by_core=len(reachable) - len(broken),
        kept_by_rival=sum(each.outcome != "lost" for each in rival if each.reachable),
        lost_by_core=sum(each.outcome == "lost" for each in core),
        lost_by_rival=sum(each.outcome == "lost" for each in rival),
        broken=broken,
    )
