"""How often, and by how much, an answer breaks the priority, judged by exact geometry."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from tests.bench.problems import Problems
from tests.oracle.judge import judge

PRIORITY = {"primary", "roll"}


@dataclass(frozen=True)
class Priority:
    """Over some problems: the share broken, the worst errors in counts, answers not given.

    Broken: pitch or yaw off by more than 4 counts, or roll by more than 8 from what the policy
    gives near the delivered pitch and yaw; 4096 counts are one vane's largest force.
    """

    broken: float
    worst_primary_counts: float
    worst_roll_counts: float
    unanswered: int


def judged(
    problems: Problems,
    rows: np.ndarray,
    forces_counts: Callable[[np.ndarray], np.ndarray],
    policy: str,
    kept_back: float,
) -> Priority:
    """`forces_counts` makes forces (4,) of what is wanted (3,)."""
    clocking_deg = problems.car.layout.clocking_deg.tolist()
    box = problems.lo.tolist(), problems.hi.tolist()
    broken = unanswered = 0
    primary, roll = [0.0], [0.0]
    for row in rows:
        wanted = problems.wanted_counts[row]
        try:
            forces = forces_counts(wanted)
        except ValueError:
            forces = np.full(4, np.nan)
        if not np.isfinite(forces).all():
            unanswered += 1
            broken += 1
            continue
        verdict = judge(
            clocking_deg, *box, wanted[:2].tolist(), float(wanted[2]), policy, forces, kept_back
        )
        broken += bool(PRIORITY & set(verdict.faults))
        primary.append(float(verdict.primary_error_counts.max()))
        roll.append(verdict.roll_error_counts)
    return Priority(broken / len(rows), max(primary), max(roll), unanswered)
