"""General-purpose solvers put to the same problem: compiled, well kept, knowing nothing of vanes.

Those that keep the priority are asked for the policy in full: the last 1/128 of the primary kept
back, roll second, least effort third. Those that weigh everything in one programme are asked for
what comes nearest to it.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import daqp
import numpy as np
import quadprog
from scipy.optimize import linprog, lsq_linear

from mixer.ground.tables.scales import COUNTS
from tests.bench.problems import Problems

KEPT_BACK = 1 / 128
EFFORT_WEIGHT = 1e-4  # where one programme weighs all errors; pitch and yaw weigh 1
HIGHS = "HiGHS by linprog, two programmes in turn"
Calls = tuple[Callable[[np.ndarray], Any], Callable[[Any], np.ndarray]]  # prepare, solve


@dataclass(frozen=True)
class Peer:
    """`prepare` makes of pitch/L, yaw/L, roll/R (3,) what `solve` makes forces (4,) of.

    All in counts / 4096; `solve` alone is timed. It is judged by the policy it was asked for;
    `kept_back` is 0 where it was spared the 1/128.
    """

    name: str
    calls: Calls
    policy: str = "nearest"
    kept_back: float = KEPT_BACK
    slow: bool = False  # a millisecond a call

    def prepare(self, wanted_counts: np.ndarray) -> Any:
        return self.calls[0](wanted_counts / COUNTS)

    def solve(self, prepared: Any) -> np.ndarray:
        return self.calls[1](prepared)

    def forces_counts(self, wanted_counts: np.ndarray) -> np.ndarray:
        return self.solve(self.prepare(wanted_counts)) * COUNTS


class Setup:
    """The problem's constants, in counts / 4096: solvers like numbers near one."""

    def __init__(self, problems: Problems):
        angle_rad = np.radians(problems.car.layout.clocking_deg)
        self.moment = np.array([np.cos(angle_rad), np.sin(angle_rad)])
        self.rows = np.vstack([self.moment, np.ones(4)])
        self.lo, self.hi = problems.lo / COUNTS, problems.hi / COUNTS
        self.rest = np.clip(0.0, self.lo, self.hi)
        self.shrunk_lo = self.rest + (1 - KEPT_BACK) * (self.lo - self.rest)
        self.shrunk_hi = self.rest + (1 - KEPT_BACK) * (self.hi - self.rest)
        self.sides = np.hstack([np.eye(4), -np.eye(4)])  # as quadprog takes bounds
        self.side_ends = np.concatenate([self.lo, -self.hi])


def all_peers(problems: Problems) -> list[Peer]:
    setup = Setup(problems)
    return [
        Peer("daqp, levels of priority, set up each time", daqp_levels(setup, False)),
        Peer("daqp, levels of priority, workspace kept", daqp_levels(setup, True)),
        Peer("daqp, the same but for the 1/128", daqp_levels_all_authority(setup), kept_back=0.0),
        Peer("quadprog, three programmes in turn", quadprog_in_turn(setup)),
        Peer(HIGHS, highs_in_turn(setup), "direction", slow=True),
        Peer("daqp, roll weighs 1/10", daqp_weighted(setup, 0.1), kept_back=0.0),
        Peer("daqp, roll weighs 1/100", daqp_weighted(setup, 0.01), kept_back=0.0),
        Peer("quadprog, roll weighs 1/100", quadprog_weighted(setup, 0.01), kept_back=0.0),
        Peer("lsq_linear, roll weighs 1/100", lsq_weighted(setup, 0.01), kept_back=0.0),
        Peer("pseudo-inverse, clipped (numpy)", clipped(setup), kept_back=0.0),
    ]


def exact_peers(problems: Problems) -> list[Peer]:
    """Those that answer the policy in full."""
    return all_peers(problems)[:2]


def daqp_levels(setup: Setup, keep_workspace: bool) -> Calls:
    """One hierarchical programme in (g, f): g in the shrunk box gives the primary, f delivers it.

    Levels: both boxes and Σ f b = Σ g b; then Σ g b = d as nearly as can be; then Σ f = r as
    nearly as can be; then the least norm, in which the parts of g and f do not mix.
    """
    nothing = np.zeros_like(setup.moment)
    matrix = np.vstack(
        [
            np.hstack([-setup.moment, setup.moment]),
            np.hstack([setup.moment, nothing]),
            np.hstack([nothing[0], np.ones(4)]),
        ]
    )
    upper = np.concatenate([setup.shrunk_hi, setup.hi, np.zeros(2)])
    lower = np.concatenate([setup.shrunk_lo, setup.lo, np.zeros(2)])
    sense = np.zeros(13, np.int32)
    sense[8:10] = 5  # equality
    return daqp_hierarchy(matrix, upper, lower, sense, [10, 12, 13], keep_workspace)


def daqp_levels_all_authority(setup: Setup) -> Calls:
    """The same with nothing kept back, which halves the unknowns."""
    sense = np.zeros(7, np.int32)
    return daqp_hierarchy(setup.rows, setup.hi, setup.lo, sense, [4, 6, 7], True)


def daqp_hierarchy(matrix, upper, lower, sense, levels, keep_workspace) -> Calls:
    n = matrix.shape[1]
    ends = np.array(levels, np.int32)
    model = daqp.Model()
    if keep_workspace:
        first = np.concatenate([upper, np.zeros(3)]), np.concatenate([lower, np.zeros(3)])
        model.setup(np.eye(n), np.zeros(n), matrix, *first, sense, ends)

    def prepare(wanted: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return np.concatenate([upper, wanted]), np.concatenate([lower, wanted])

    def solve_anew(both: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
        return daqp.solve(None, None, matrix, *both, sense, break_points=ends)[0][-4:]

    def solve_again(both: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
        model.update(bupper=both[0], blower=both[1], sense=sense)
        return model.solve()[0][-4:]

    return prepare, solve_again if keep_workspace else solve_anew


def quadprog_in_turn(setup: Setup) -> Calls:
    """Nearest primary in the shrunk box; nearest roll with that primary; least norm with both.

    Where rounding has left the last one without a point, the answer of the one before stands.
    """
    small = 1e-9 * np.eye(4)
    primary_cost = setup.moment.T @ setup.moment + small
    roll_cost = np.ones((4, 4)) + small
    effort_cost, none = np.eye(4), np.zeros(4)
    shrunk = np.concatenate([setup.shrunk_lo, -setup.shrunk_hi])
    with_primary = np.hstack([setup.moment.T, setup.sides])
    with_both = np.hstack([setup.rows.T, setup.sides])

    def prepare(wanted: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return wanted[:2] @ setup.moment, np.full(4, wanted[2])

    def solve(slopes: tuple[np.ndarray, np.ndarray]) -> np.ndarray:
        g = quadprog.solve_qp(primary_cost, slopes[0], setup.sides, shrunk)[0]
        held = np.concatenate([setup.moment @ g, setup.side_ends])
        f = quadprog.solve_qp(roll_cost, slopes[1], with_primary, held, 2)[0]
        both = np.concatenate([setup.rows @ f, setup.side_ends])
        try:
            return quadprog.solve_qp(effort_cost, none, with_both, both, 3)[0]
        except ValueError:
            return f

    return prepare, solve


def highs_in_turn(setup: Setup) -> Calls:
    """Policy "direction", which is linear: the longest share of the demand, then the nearest roll.

    Without the third step.
    """
    shrunk = [*np.column_stack([setup.shrunk_lo, setup.shrunk_hi]).tolist(), [0.0, 1.0]]
    full = [*np.column_stack([setup.lo, setup.hi]).tolist(), [0.0, None]]
    beyond = np.array([[1.0, 1.0, 1.0, 1.0, -1.0], [-1.0, -1.0, -1.0, -1.0, -1.0]])
    cost = np.array([0.0, 0.0, 0.0, 0.0, 1.0])
    rest = setup.moment @ setup.rest
    primary_alone = np.column_stack([setup.moment, np.zeros(2)])

    def prepare(wanted: np.ndarray) -> tuple[np.ndarray, list[float]]:
        along_demand = np.column_stack([setup.moment, rest - wanted[:2]])
        return along_demand, [wanted[2], -wanted[2]]

    def solve(prepared: tuple[np.ndarray, list[float]]) -> np.ndarray:
        along_demand, roll = prepared
        g = linprog(-cost, A_eq=along_demand, b_eq=rest, bounds=shrunk, method="highs").x
        p = setup.moment @ g[:4]
        f = linprog(cost, beyond, roll, primary_alone, p, full, "highs").x
        return np.full(4, np.nan) if f is None else f[:4]

    return prepare, solve


def weighted(setup: Setup, roll_weight: float) -> tuple[np.ndarray, np.ndarray, Callable]:
    """The Hessian, the rows of the errors, and what makes the slope of a demand."""
    weights = np.array([1.0, 1.0, roll_weight])
    rows = weights[:, None] * setup.rows
    hessian = rows.T @ rows + EFFORT_WEIGHT**2 * np.eye(4)
    return hessian, rows, lambda wanted: (wanted * weights) @ rows


def daqp_weighted(setup: Setup, roll_weight: float) -> Calls:
    hessian, _, slope = weighted(setup, roll_weight)
    none, sense = np.zeros((0, 4)), np.zeros(4, np.int32)

    def solve(slope: np.ndarray) -> np.ndarray:
        return daqp.solve(hessian, slope, none, setup.hi, setup.lo, sense)[0]

    return lambda wanted: -slope(wanted), solve


def quadprog_weighted(setup: Setup, roll_weight: float) -> Calls:
    hessian, _, slope = weighted(setup, roll_weight)

    def solve(slope: np.ndarray) -> np.ndarray:
        return quadprog.solve_qp(hessian, slope, setup.sides, setup.side_ends)[0]

    return slope, solve


def lsq_weighted(setup: Setup, roll_weight: float) -> Calls:
    weights = np.array([1.0, 1.0, roll_weight])
    matrix = np.vstack([weights[:, None] * setup.rows, EFFORT_WEIGHT * np.eye(4)])

    def prepare(wanted: np.ndarray) -> np.ndarray:
        return np.concatenate([wanted * weights, np.zeros(4)])

    def solve(target: np.ndarray) -> np.ndarray:
        return lsq_linear(matrix, target, (setup.lo, setup.hi), method="bvls").x

    return prepare, solve


def clipped(setup: Setup) -> Calls:
    inverse = np.linalg.pinv(setup.rows)

    def solve(wanted: np.ndarray) -> np.ndarray:
        return np.minimum(np.maximum(inverse @ wanted, setup.lo), setup.hi)

    return lambda wanted: wanted, solve
