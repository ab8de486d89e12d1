"""The same policy by general solvers from SciPy, sharing nothing with the closed geometry.

Nearest point: bounded least squares. Last point of a segment: a linear program. Roll range:
two linear programs. Effort: the two ends of the null segment by linear programs. Each step starts
from forces known to satisfy the one before, so rounding cannot make a later one infeasible.
"""

from collections.abc import Sequence

import numpy as np
from scipy.linalg import null_space
from scipy.optimize import linprog, lsq_linear

# With presolve on, HiGHS calls a few sets with two held vanes infeasible, though zero solves them.
TIGHT = {
    "primal_feasibility_tolerance": 1e-10,
    "dual_feasibility_tolerance": 1e-10,
    "presolve": False,
}


class NoSolutionError(RuntimeError):
    """A solver reported that it did not finish."""


def solver_policy(
    clocking_deg: Sequence[float],
    lo: Sequence[float],
    hi: Sequence[float],
    demand_xy: Sequence[float],
    roll: float,
    policy: str,
    tau: float = 1 / 128,
    travel=None,
    first=None,
) -> tuple[np.ndarray, float, np.ndarray, np.ndarray]:
    """p (2,), rho, f (4,), rho_range (2,) in counts, for the same arguments as exact_policy."""
    angle = np.radians(np.asarray(clocking_deg, dtype=float))
    moment = np.vstack([np.cos(angle), np.sin(angle)])
    window = lo, hi
    boxes = np.array([window, travel or window, first or window], dtype=float)
    scale = max(1.0, float(np.max(np.abs(boxes))))  # solvers like numbers near one
    (low, high), (far_low, far_high), (near_low, near_high) = boxes / scale

    rest = np.clip(0.0, far_low, far_high)
    wanted = np.asarray(demand_xy, dtype=float) / scale - moment @ rest
    find = nearest_move if policy == "nearest" else last_move
    f = rest + (1 - tau) * find((1 - tau) * moment, far_low - rest, far_high - rest, wanted)
    if travel or first:
        target, middle = moment @ f, (near_low + near_high) / 2
        f = middle + nearest_move(
            moment, near_low - middle, near_high - middle, target - moment @ middle
        )
    p = moment @ f

    least = f + farthest_move(moment, low - f, high - f, -np.ones(4))
    most = f + farthest_move(moment, low - f, high - f, np.ones(4))
    ends = np.array([least.sum(), most.sum()])
    rho = float(np.clip(roll / scale, *ends))
    share = (rho - ends[0]) / (ends[1] - ends[0]) if ends[1] > ends[0] else 0.5
    f = nearest_to_zero(np.vstack([moment, np.ones(4)]), low, high, least + share * (most - least))
    return p * scale, rho * scale, f * scale, ends * scale


def nearest_move(moment, low, high, wanted) -> np.ndarray:
    """The g within low <= g <= high that brings moment g nearest to `wanted`."""
    g = np.zeros(4)
    free = high > low  # the least squares refuses a vane that is held
    if free.any():
        result = lsq_linear(
            moment[:, free],
            wanted,
            (low[free], high[free]),
            method="bvls",
            tol=1e-12,
            max_iter=1000,
        )
        if result.status <= 0:
            raise NoSolutionError(result.message)
        g[free] = result.x
    return g


def last_move(moment, low, high, wanted) -> np.ndarray:
    """The g within its bounds with moment g = t wanted and the largest t <= 1."""
    reach = max(1.0, float(np.max(np.abs(wanted))))
    columns = np.hstack([moment, -wanted[:, None] / reach])
    cost = np.array([0.0, 0.0, 0.0, 0.0, 1.0])
    return farthest_move(columns, np.append(low, 0.0), np.append(high, reach), cost)[:4]


def nearest_to_zero(columns, low, high, f) -> np.ndarray:
    """The point nearest to zero on the segment of the box where columns @ f stays as it is."""
    null = null_space(columns)[:, 0]
    start = f + farthest_move(columns, low - f, high - f, -null)
    step = f + farthest_move(columns, low - f, high - f, null) - start
    length = step @ step
    share = np.clip(-(start @ step) / length, 0.0, 1.0) if length > 1e-18 else 0.5
    return start + share * step


def farthest_move(columns, low, high, direction) -> np.ndarray:
    """The h within low <= 0 <= high and columns h = 0 that goes farthest along `direction`."""
    result = linprog(
        -direction,
        A_eq=columns,
        b_eq=np.zeros(len(columns)),
        bounds=np.column_stack([np.minimum(low, 0.0), np.maximum(high, 0.0)]),
        method="highs",
        options=TIGHT,
    )
    if result.status != 0:
        raise NoSolutionError(result.message)
    return result.x
