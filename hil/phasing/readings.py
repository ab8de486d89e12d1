"""What passed on the line in a span of time, as one reading."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firmware_port import protocol as p
from hil.tap.exchanges import RAN, Exchange
from mixer.flight.layout import JAMMED_VANE, NO_THRUST
from mixer.ground.inputs.arrays import VANES, Array

BLOCKS = 4  # whose means are compared: slow wobble of the hands counts, one frame does not


@dataclass(frozen=True)
class Reading:
    """Means over a span. demand_nm, noise_nm (3,): pitch, yaw, roll and the standard errors of
    these means, by quarters of the span; deflection_deg, pulse_us (4,): nan where no answer was
    heard.

    demands, cycles: how many were heard. refused: why the node did not take most of the demands, in
    the words of its verdict; empty where it did. not_armed, no_thrust, jammed: share of the cycles.
    """

    demands: int
    cycles: int
    demand_nm: Array
    noise_nm: Array
    deflection_deg: Array
    pulse_us: Array
    refused: str
    not_armed: float
    no_thrust: float
    jammed: float


def reading_of(exchanges: Sequence[Exchange]) -> Reading:
    """One reading of all exchanges of a span."""
    demands = np.array([each.demand.moment_mnm for each in exchanges if each.demand], dtype=float)
    answered = [(each.answer, each.cycle) for each in exchanges if each.answer and each.cycle]
    mean = np.full(3, np.nan)
    noise = np.full(3, np.nan)
    if len(demands):
        mean = demands.mean(axis=0) / 1e3
    if len(demands) >= BLOCKS:
        blocks = [block.mean(axis=0) for block in np.array_split(demands, BLOCKS)]
        noise = np.std(blocks, axis=0, ddof=1) / np.sqrt(BLOCKS) / 1e3
    return Reading(
        demands=len(demands),
        cycles=len(answered),
        demand_nm=mean,
        noise_nm=noise,
        deflection_deg=mean_of([cycle.deflection_mdeg for _, cycle in answered]),
        pulse_us=mean_of([cycle.pulse_ns for _, cycle in answered]),
        refused=refusal([answer.verdict for answer, _ in answered]),
        not_armed=share([answer.state != p.ARMED for answer, _ in answered]),
        no_thrust=share([bool(cycle.flags & NO_THRUST) for _, cycle in answered]),
        jammed=share([bool(cycle.flags & JAMMED_VANE) for _, cycle in answered]),
    )


def mean_of(rows: Sequence[Sequence[int]]) -> Array:
    """Means of thousandths, as whole units; nan where there are none."""
    return np.array(rows, dtype=float).mean(axis=0) / 1e3 if rows else np.full(VANES, np.nan)


def refusal(verdicts: Sequence[int]) -> str:
    """What most of the verdicts say, where they refuse."""
    refusing = [verdict for verdict in verdicts if verdict not in RAN]
    if 2 * len(refusing) <= len(verdicts):
        return ""
    return p.VERDICT_NAMES[Counter(refusing).most_common(1)[0][0]]


def share(which: Sequence[bool]) -> float:
    return sum(which) / len(which) if which else 0.0
