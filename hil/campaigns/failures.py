"""Every single failure, and every pair of them, as plans to fly."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import combinations
from typing import get_args

import numpy as np

from hil.campaigns.plans import Plan
from hil.faults.faults import BUILT_IN, Fault, Kind
from mixer.ground.vehicle.vehicle import Vehicle

TIMES = (0.1, 0.35, 0.6, 0.85)  # when a single failure begins, in shares of the burn
PAIR_TIMES = (0.25, 0.65)
PAIR_GAP_S = 1.0  # the second failure of a pair follows the first by this
ANYWHERE_DRAW = 0x0A17  # draws the angles of "jams anywhere", the same in every campaign

# Kinds of failure that one part cannot have twice at once.
SAME_VANE = frozenset({"jam", "jam-in-place", "lost-vane", "slow-servo", "reversed-servo"})
SENSOR = frozenset(kind for kind in get_args(Kind) if kind.startswith("pressure"))
LINK = frozenset({"link-dropout", "link-damage"})


def single_failures(vehicle: Vehicle) -> list[Fault]:
    """Each failure once for every vane it can befall, without a time."""
    anywhere = np.random.default_rng(ANYWHERE_DRAW)
    found: list[Fault] = []
    for vane in range(1, 5):
        low_deg, high_deg = (float(end) for end in vehicle.vanes.travel_deg[vane - 1])
        drawn_deg = round(float(anywhere.uniform(low_deg, high_deg)), 1)
        found += [
            Fault("jam", vane, value=angle_deg) for angle_deg in (0.0, low_deg, high_deg, drawn_deg)
        ]
        found += [
            Fault("jam-in-place", vane),
            Fault("lost-vane", vane),
            Fault("slow-servo", vane, value=0.2),
            Fault("reversed-servo", vane),
        ]
    found += [Fault("swapped-servos", a, value=float(b)) for a, b in combinations(range(1, 5), 2)]
    if vehicle.erosion is not None:
        found += [Fault("wear-table", value=0.0), Fault("wear-table", value=2.0)]
    found += [
        Fault("clocking-sign"),
        Fault("pressure", value=0.0),
        Fault("pressure", value=0.5),
        Fault("pressure", value=1.5),
        Fault("pressure", value=14.5),  # psi taken for bar
        Fault("pressure-frozen"),
        Fault("pressure-full-scale"),
        Fault("pressure-intermittent", value=5.0),
        Fault("pressure-noise", value=0.05),
        Fault("pressure-bias", value=0.04),  # just below a jet
        Fault("pressure-slow", value=0.2),
        Fault("link-dropout", lasts_s=0.2),
        Fault("link-dropout", lasts_s=1.0),
        Fault("link-damage", value=0.01),
        Fault("link-damage", value=0.1),
        Fault("board-reset", value=0.5),
        Fault("late-cycles", value=4.0),
    ]
    return found


def at_times(fault: Fault, times_s: Sequence[float]) -> list[Fault]:
    """The failure at each of the times; one that is built in, just once."""
    return [fault] if fault.kind in BUILT_IN else [beginning(fault, t) for t in times_s]


def beginning(fault: Fault, time_s: float) -> Fault:
    """The failure from that time on; one that is built in stays as it is."""
    return fault if fault.kind in BUILT_IN else replace(fault, time_s=time_s)


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
        for time_s in (times_s if {first.kind, second.kind} - BUILT_IN else times_s[:1])
    ]


def _pairs(failures: Sequence[Fault]) -> Iterator[tuple[Fault, Fault]]:
    for first, second in combinations(failures, 2):
        if not _exclude(first, second):
            yield first, second


def _exclude(first: Fault, second: Fault) -> bool:
    """Whether two failures are of one part, so that they cannot stand side by side."""
    if first.vane and first.vane == second.vane and {first.kind, second.kind} <= SAME_VANE:
        return True
    if {first.kind, second.kind} <= LINK or {first.kind, second.kind} <= SENSOR:
        return True
    return first.kind == second.kind and not first.vane


def family(fault: Fault, vehicle: Vehicle) -> str:
    """The kind of failure in words, whichever vane it befalls."""
    if fault.kind == "jam":
        low_deg, high_deg = vehicle.vanes.travel_deg[fault.vane - 1]
        if fault.value == 0.0:
            return "vane jams at neutral"
        if fault.value in (low_deg, high_deg):
            return "vane jams hard over"
        return "vane jams anywhere"
    return {
        "jam-in-place": "vane jams where it stands",
        "lost-vane": "vane is lost",
        "slow-servo": f"servo slows to {fault.value:.0%}",
        "reversed-servo": "servo reversed",
        "swapped-servos": "two servos swapped",
    }.get(fault.kind, fault.label)
