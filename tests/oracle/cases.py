"""Seeded random problems that reach every corner of the policy, forces in quarter counts."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from .directions import directions

PerVane = tuple[float, ...]  # one value for each vane
FULL = 4096.0  # counts: the largest force of a new vane
MISALIGNMENTS_DEG = (0.0, 1e-15, 1e-13, 0.01, 0.3, 1.0, 4.0)
LEAST_GAP_DEG = 30.0
LAYOUTS = ("square", "misaligned", "uneven")
BOXES = ("equal", "unequal", "one-sided", "jammed", "without-zero", "slew", "slew-jammed")
DEMANDS = ("inside", "edge", "saturated", "far", "trap")


@dataclass(frozen=True)
class Case:
    """One problem: four vanes, their box, and a demand, all forces in counts."""

    number: int
    kind: str
    clocking_deg: PerVane
    lo: PerVane
    hi: PerVane
    demand: tuple[float, float]
    roll: float
    travel: tuple[PerVane, PerVane] | None = None
    first: tuple[PerVane, PerVane] | None = None

    @property
    def arguments(self) -> tuple[PerVane, PerVane, PerVane, tuple[float, float], float]:
        """In the order that exact_policy, solver_policy and judge take."""
        return self.clocking_deg, self.lo, self.hi, self.demand, self.roll

    @property
    def boxes(self) -> dict[str, tuple[PerVane, PerVane] | None]:
        """Travel and the primary's window, as exact_policy and solver_policy take them."""
        return {"travel": self.travel, "first": self.first}


def cases(count: int, seed: int) -> Iterator[Case]:
    """`count` problems, the same for the same seed; prints the seed for a failing test to show."""
    print(f"random steering problems: seed {seed}, {count} of them")
    rng = np.random.default_rng(seed)
    for number in range(count):
        layout, box = str(rng.choice(LAYOUTS)), str(rng.choice(BOXES))
        kind = str(rng.choice(DEMANDS))
        clocking_deg = random_clocking(rng, layout)
        lo, hi = random_box(rng, box)
        b = np.array(directions(clocking_deg.tolist()))
        demand, roll = random_demand(rng, kind, b, lo, hi)
        yield Case(
            number=number,
            kind=f"{layout}/{box}/{kind}",
            clocking_deg=tuple(clocking_deg.tolist()),
            lo=tuple(lo.tolist()),
            hi=tuple(hi.tolist()),
            demand=(float(demand[0]), float(demand[1])),
            roll=float(roll),
        )


def slewed_cases(count: int, seed: int) -> Iterator[Case]:
    """`cases` whose box is travel, the vanes anywhere in it and slew letting them go a little way:
    from nothing to all of it, now and then each vane its own.
    """
    rng = np.random.default_rng(seed + 1)
    for case in cases(count, seed):
        travel = np.array([case.lo, case.hi])
        now = rng.uniform(*travel)
        step = np.exp(rng.uniform(0.0, np.log(2 * FULL), 4 if rng.random() < 0.5 else 1))
        window, first = (np.clip([now - s, now + s], *travel) for s in (step, step * 31 / 32))
        (lo, hi), first = window.tolist(), first.tolist()
        yield replace(
            case,
            lo=tuple(lo),
            hi=tuple(hi),
            travel=(case.lo, case.hi),
            first=(tuple(first[0]), tuple(first[1])),
        )


def quarter(counts):
    return np.round(np.asarray(counts) * 4.0) / 4.0


def random_clocking(rng: np.random.Generator, layout: str) -> np.ndarray:
    """(4,) degrees: quarter turns from 0, 45 or an odd base; slightly off; or uneven gaps."""
    if layout == "uneven":
        gaps = LEAST_GAP_DEG + rng.dirichlet(np.ones(4)) * (360.0 - 4 * LEAST_GAP_DEG)
        return np.round(rng.uniform(0.0, 360.0) + np.cumsum(gaps), 2) % 360.0
    base = rng.choice([0.0, 45.0, np.round(rng.uniform(0.0, 90.0), 1)])
    clocking = base + 90.0 * np.arange(4)
    if layout == "misaligned":
        clocking = clocking + rng.choice(MISALIGNMENTS_DEG, 4) * rng.choice([-1.0, 1.0], 4)
    return clocking


def random_box(rng: np.random.Generator, box: str) -> tuple[np.ndarray, np.ndarray]:
    """lo, hi (4,): travel of every vane, cut to a slew window or a jam where the kind says so."""
    hi = np.full(4, FULL)
    if box != "equal":
        hi = hi * rng.uniform(0.3, 1.0, 4)
    lo = -hi * (1.0 if box in ("equal", "unequal") else rng.uniform(0.5, 1.0, 4))
    if box == "one-sided":
        for vane in rng.choice(4, rng.integers(1, 5), replace=False):
            if rng.random() < 0.5:
                lo[vane] = -hi[vane] * rng.choice([0.0, 0.1])
            else:
                hi[vane] = -lo[vane] * rng.choice([0.0, 0.1])
    if box == "without-zero":
        for vane in rng.choice(4, rng.integers(1, 5), replace=False):
            near, far = np.sort(rng.uniform(0.02, 1.0, 2)) * FULL
            lo[vane], hi[vane] = (near, far) if rng.random() < 0.5 else (-far, -near)
    if box.startswith("slew"):
        middle = rng.uniform(lo, hi)
        width = np.where(rng.random(4) < 0.1, 0.0, np.exp(rng.uniform(0.0, np.log(400.0), 4)))
        if rng.random() < 0.5:
            width[:] = width[0]
        lo, hi = np.maximum(lo, middle - width), np.minimum(hi, middle + width)
    lo, hi = quarter(lo), quarter(hi)
    if "jammed" in box:
        for vane in rng.choice(4, rng.integers(1, 3), replace=False):
            lo[vane] = hi[vane] = quarter(rng.uniform(lo[vane], hi[vane]))
    return lo, hi


def random_demand(
    rng: np.random.Generator, kind: str, b: np.ndarray, lo: np.ndarray, hi: np.ndarray
) -> tuple[np.ndarray, float]:
    """(x, y) and roll in quarter counts: inside, within counts of the edge, beyond, or a trap.

    A trap lies just beyond or just within the part of Z's edge where two opposite vanes can
    still slide against each other, with a roll that asks them to.
    """
    f = rng.uniform(lo, hi)
    roll = rng.choice([0.0, f.sum(), rng.uniform(-1.2, 1.2) * 4 * FULL, rng.normal(0.0, 30.0)])
    if kind == "inside":
        return quarter(b.T @ f), float(quarter(roll))
    vane = rng.integers(4)
    heading = rng.uniform(0.0, 2 * np.pi)
    if kind in ("edge", "trap"):  # square to a vane: its edge of Z
        heading = np.arctan2(b[vane, 0], -b[vane, 1]) + np.pi * rng.integers(2)
    outward = np.array([np.cos(heading), np.sin(heading)])
    height = b @ outward
    slides = np.abs(height) < 0.1
    edge = b.T @ np.where(slides, f, np.where(height > 0, hi, lo))
    rest = b.T @ np.clip(0.0, lo, hi)
    demand = rest + (edge - rest) * (1.0 - 1.0 / 128.0) + outward * rng.normal(0.0, 4.0)
    if kind == "trap":
        demand = rest + (edge - rest) * rng.choice([0.99, 1.0, 1.0 + 1e-3, rng.uniform(1.0, 3.0)])
        roll = rng.choice([-1.0, 1.0]) * rng.uniform(0.0, 2.0) * FULL
    elif kind == "saturated":
        demand = rest + (edge - rest) * rng.uniform(1.0, 3.0) + rng.normal(0.0, 200.0, 2)
    elif kind == "far":
        reach = np.exp(rng.uniform(np.log(3.0), np.log(100.0)))
        demand = reach * 2.0 * FULL * outward
        roll = roll * rng.choice([1.0, 30.0])
    return quarter(demand), float(quarter(roll))
