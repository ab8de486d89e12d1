"""What a static test did not move, in plain words: what was never moved apart cannot be told apart.

Judged on what the vanes did while the engine burnt, as shares of each one's largest force, so that
vanes of different size and travel compare.
"""

from collections.abc import Iterable, Iterator
from itertools import combinations

import numpy as np

from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.static_test.log import StandLog
from mixer.ground.vehicle.vehicle import Vehicle

MOVED = 0.05  # of the largest force, root mean square
IN_STEP = 0.98  # correlation of two vanes that no load cell can tell apart
WORST_CONDITION = 10.0
ONE_SIDE = 0.1  # of the movement, that reached the other side
MEMBER = 0.2  # of a combination of length 1


def listed(vanes: Iterable[int | np.integer]) -> str:
    """'vane 2', 'vanes 1 and 3', 'vanes 1, 2 and 4' for vanes counted from 0."""
    numbers = [str(int(vane) + 1) for vane in vanes]
    if len(numbers) == 1:
        return f"vane {numbers[0]}"
    return f"vanes {', '.join(numbers[:-1])} and {numbers[-1]}"


def movements(log: StandLog, vehicle: Vehicle) -> Array:
    """Force of each vane over its largest, in the burn, had it been new: (m, 4)."""
    burning = log.burning
    shares = []
    for vane, travel in enumerate(vehicle.vanes.travel_deg):
        largest_n = np.abs(vehicle.force_n(vane, travel)).max()
        shares.append(vehicle.force_n(vane, log.vanes_deg[burning, vane]) / largest_n)
    return np.column_stack(shares)


def condition_number(moved: Array) -> float:
    """Of the movements (m, vanes): largest over smallest spread of any combination of vanes.

    Each vane counts as moved as far as every other; infinite where one was not moved at all.
    """
    spread = moved.std(axis=0)
    if spread.min() == 0:
        return float("inf")
    size = np.linalg.svd((moved - moved.mean(axis=0)) / spread, compute_uv=False)
    return float(size[0] / size[-1]) if size[-1] > 0 else float("inf")


def not_excited(log: StandLog, vehicle: Vehicle) -> list[str]:
    """A sentence for everything that the test did not move enough to tell."""
    moved = movements(log, vehicle)
    resting = np.flatnonzero(moved.std(axis=0) < MOVED)
    alive = np.setdiff1d(np.arange(VANES), resting)
    sentences = []
    for vane in resting:
        angle = log.vanes_deg[log.burning, vane]
        sentences.append(
            f"{listed([vane])} was never moved: it stayed between {angle.min():.3g} and "
            f"{angle.max():.3g} deg"
        )
    pairs = list(pairs_in_step(moved, alive))
    sentences += pairs
    if not pairs and len(alive) > 1:
        sentences += combination_in_step(moved, alive)
    sentences += one_sided(moved, alive)
    sentences += unmoved_stretches(log, vehicle, moved, alive)
    if not log.quiet(vehicle.engine.chamber_pressure_bar).any():
        sentences.append(
            "the log holds no time without a jet, before ignition or after burn-out: the load "
            "cells' zeros cannot be told from what the jet does to vanes at rest"
        )
    return sentences


def pairs_in_step(moved: Array, alive: np.ndarray) -> Iterator[str]:
    """Two vanes that always moved alike, or always contrary."""
    together = np.eye(VANES)
    together[np.ix_(alive, alive)] = np.corrcoef(moved[:, alive].T)
    alike = {(a, b) for a, b in combinations(alive, 2) if together[a, b] > IN_STEP}
    if len(alive) > 2 and len(alike) == len(alive) * (len(alive) - 1) // 2:
        yield f"{listed(alive)} were only ever moved all together, never against each other"
        return
    for a, b in combinations(alive, 2):
        if (a, b) in alike:
            yield f"{listed([a, b])} were never moved against each other"
        elif together[a, b] < -IN_STEP:
            yield f"{listed([a, b])} were only ever moved against each other, never together"


def combination_in_step(moved: Array, alive: np.ndarray) -> Iterator[str]:
    """A combination of three or four vanes that was never tried."""
    relative = moved[:, alive] / moved[:, alive].std(axis=0)
    _, size, vt = np.linalg.svd(relative - relative.mean(axis=0), full_matrices=False)
    if size[0] < WORST_CONDITION * size[-1]:
        return
    part = np.abs(vt[-1]) > MEMBER
    sign = np.sign(vt[-1]) * np.sign(vt[-1][part][0])  # the first of them comes first
    ones, others = alive[part & (sign > 0)], alive[part & (sign < 0)]
    if len(others):
        verb = "were" if len(ones) > 1 else "was"
        yield f"{listed(ones)} {verb} never moved against {listed(others)}"
    else:
        yield f"{listed(ones)} were never moved all together, as for roll"


def one_sided(moved: Array, alive: np.ndarray) -> Iterator[str]:
    """Vanes that were moved to one side only: curve and zero hang together then."""
    for vane in alive:
        low, high = min(moved[:, vane].min(), 0.0), max(moved[:, vane].max(), 0.0)
        if min(-low, high) < ONE_SIDE * max(-low, high):
            side = "negative" if -low > high else "positive"
            yield f"{listed([vane])} was moved to {side} deflections only"


def unmoved_stretches(
    log: StandLog, vehicle: Vehicle, moved: Array, alive: np.ndarray
) -> Iterator[str]:
    """Vanes that rested in the first or the last third of the burn load: wear needs both."""
    load_s = log.burn_load_s(vehicle.engine.chamber_pressure_bar)[log.burning]
    time_s = log.time_s[log.burning]
    first = load_s < load_s[0] + (load_s[-1] - load_s[0]) / 3
    last = load_s > load_s[-1] - (load_s[-1] - load_s[0]) / 3
    for vane in alive:
        if moved[last, vane].std() < MOVED:
            yield (
                f"{listed([vane])} was not moved after {time_s[last][0]:.3g} s: its wear to the "
                "end cannot be told"
            )
        if moved[first, vane].std() < MOVED:
            yield (
                f"{listed([vane])} was not moved before {time_s[first][-1]:.3g} s: what it gives "
                "when new cannot be told"
            )
