"""Every single failure, and every pair of them, as plans to fly."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations

from hil.campaigns.plans import Plan
from hil.faults.faults import EVER, Fault
from hil.faults.kinds import KINDS
from mixer.ground.inputs.arrays import VANES
from mixer.ground.vehicle.vehicle import Vehicle

TIMES = (0.1, 0.35, 0.6, 0.85)  # when a single failure begins, in shares of the burn
PAIR_TIMES = (0.25, 0.65)
PAIR_GAP_S = 1.0  # the second failure of a pair follows the first by this


def single_failures(vehicle: Vehicle) -> list[Fault]:
    """Each failure once for every vane it can befall, without a time."""
    found: list[Fault] = []
    for name, row in KINDS.items():
        for vane in range(1, VANES + 1) if row.of_one_vane else (0,):
            for planned in row.planned(vehicle, vane):
                value, lasts_s = planned if isinstance(planned, tuple) else (planned, EVER)
                found.append(Fault(name, vane, value=float(value), lasts_s=lasts_s))
    return found


def at_times(fault: Fault, times_s: Sequence[float]) -> list[Fault]:
    """The failure at each of the times; one that is built in, just once."""
    return [fault] if fault.row.built_in else [beginning(fault, t) for t in times_s]


def beginning(fault: Fault, time_s: float) -> Fault:
    """The failure from that time on; one that is built in stays as it is."""
    return fault if fault.row.built_in else replace(fault, time_s=time_s)


def healthy_plans(seeds: Sequence[int]) -> list[Plan]:
    """The dispersed flights themselves, with nothing failing: what the others are held against."""
    return [Plan(seed, ()) for seed in seeds]


def single_plans(vehicle: Vehicle, seeds: Sequence[int]) -> list[Plan]:
    """Every single failure at every time, in each of the dispersed flights."""
    times_s = [share * vehicle.engine.burn_time_s for share in TIMES]
    return [
        Plan(seed, (fault,))
        for seed in seeds
        for template in single_failures(vehicle)
        for fault in at_times(template, times_s)
    ]


def pair_plans(vehicle: Vehicle, seeds: Sequence[int]) -> list[Plan]:
    """Every pair of failures that can stand together, the second a second after the first."""
    times_s = [share * vehicle.engine.burn_time_s for share in PAIR_TIMES]
    return [
        Plan(seed, (beginning(first, time_s), beginning(second, time_s + PAIR_GAP_S)))
        for seed in seeds
        for first, second in _pairs(single_failures(vehicle))
        for time_s in (times_s[:1] if first.row.built_in and second.row.built_in else times_s)
    ]


def _pairs(failures: Sequence[Fault]) -> Iterator[tuple[Fault, Fault]]:
    for first, second in combinations(failures, 2):
        if not _exclude(first, second):
            yield first, second


def _exclude(first: Fault, second: Fault) -> bool:
    """Whether two failures are of one part, so that they cannot stand side by side."""
    return first.row.part == second.row.part and first.vane == second.vane


def family(fault: Fault, vehicle: Vehicle) -> str:
    """The kind of failure in words, whichever vane it befalls."""
    low_deg, high_deg = vehicle.vanes.travel_deg[fault.vane - 1]
    return fault.family((low_deg, high_deg))
