"""What a vehicle file's own numbers say at one instant: the three boxes, and a demand in counts.

Everything is worked out here from the data of the file and the deflections before the cycle, in
floats; nothing comes from the code under test. Units: 4096 counts are the largest force of any new
vane at the reference pressure within its travel; deflections in 0.001°.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from .policy import Box

COUNTS = 4096.0
FIRST_SHARE = 31 / 32  # of the slew: what the primary may use
LOAD_EXPONENT = 0.8  # Bartz 1957
LONGEST_STEP_S = 0.5  # a longer cycle moves the vanes no further


@dataclass(frozen=True)
class Instant:
    """One cycle's problem: boxes in counts, demand (pitch/L, yaw/L) and roll/R in counts."""

    clocking_deg: Sequence[float]
    policy: str
    travel: Box
    first: Box
    window: Box
    kappa: np.ndarray
    demand: tuple[float, float] = (0.0, 0.0)
    roll: float = 0.0

    @property
    def arguments(self) -> tuple[Any, ...]:
        """In the order that exact_policy and judge take; their keywords are `boxes`."""
        return self.clocking_deg, *self.window, self.demand, self.roll, self.policy

    @property
    def boxes(self) -> dict[str, Box]:
        return {"travel": self.travel, "first": self.first}

    @property
    def at_rest(self) -> tuple[Any, ...]:
        """The problem of travel alone, as exact_policy and judge take it."""
        return self.clocking_deg, *self.travel, self.demand, self.roll, self.policy


class FileNumbers:
    """The numbers of a vehicle file, every value that may be one or four given as four."""

    def __init__(self, data: dict[str, dict[str, Any]]) -> None:
        self.data = data
        vanes = data["vanes"]
        self.curves = [*zip(vanes["deflection_deg"], vanes["force_n"], strict=True)]
        travel = np.round(np.array(vanes["travel_deg"], dtype=float).T * 1000, 6)
        self.travel_mdeg = np.array([np.ceil(travel[0]), np.floor(travel[1])])
        self.slew_mdeg_s = np.round(np.array(data["servos"]["slew_deg_s"]) * 1000, 6)
        self.count_n = 1.0  # for the next line
        self.count_n = float(np.abs([self.new_counts(x) for x in travel]).max()) / COUNTS

    def new_counts(self, mdeg: Sequence[float] | np.ndarray) -> np.ndarray:
        """The four forces of new vanes at the reference pressure: (4,) to (4,)."""
        found = [np.interp(x / 1000, *curve) for x, curve in zip(mdeg, self.curves, strict=True)]
        return np.array(found) / self.count_n

    def deflection_mdeg(self, new_counts: np.ndarray) -> np.ndarray:
        """The deflections at which new vanes give these forces: (4,) to (4,)."""
        found = [
            np.interp(force * self.count_n, curve[1], curve[0])
            for force, curve in zip(new_counts, self.curves, strict=True)
        ]
        return np.array(found) * 1000

    def steepest_counts(self) -> float:
        """The most that 0.001°, the core's step of deflection, changes a new vane's force."""
        most = 0.0
        for (x, f), low, high in zip(self.curves, *self.travel_mdeg / 1000, strict=True):
            slopes = np.diff(f) / np.diff(x)
            most = max(most, slopes[(np.array(x[1:]) > low) & (np.array(x[:-1]) < high)].max())
        return float(most) / 1000 / self.count_n

    def kappa(self, load_s: float, ratio: float) -> np.ndarray:
        erosion = self.data.get("erosion")
        if erosion is None:
            return np.full(4, ratio)
        worn = [np.interp(load_s, erosion["load_s"], row) for row in erosion["effectiveness"]]
        return ratio * np.array(worn)

    def arms_m(self, time_s: float) -> np.ndarray:
        """The arms of pitch, yaw and roll: (3,)."""
        layout = self.data["layout"]
        lever = layout["lever_arm_m"]
        arm = np.interp(time_s, lever["time_s"], lever["m"]) if isinstance(lever, dict) else lever
        return np.array([arm, arm, layout["roll_arm_m"]])

    def instant(
        self,
        before_mdeg: Sequence[float],
        dt_s: float,
        kappa: np.ndarray,
        limits_mdeg: np.ndarray | None = None,
    ) -> Instant:
        """The boxes; `limits_mdeg` (2, 4) where a vane is jammed. Angles are whole 0.001°, and so
        is what a vane may turn in a cycle, all of it or 31/32.
        """
        now = np.array(before_mdeg, dtype=float)
        limits = self.travel_mdeg if limits_mdeg is None else limits_mdeg
        step = np.floor(self.slew_mdeg_s * min(dt_s, LONGEST_STEP_S) + 1e-9)

        def box(ends) -> Box:
            low, high = (kappa * self.new_counts(end) for end in ends)
            return low.tolist(), high.tolist()

        window, first = (
            np.clip([now - move, now + move], *limits)
            for move in (step, np.floor(step * FIRST_SHARE))
        )
        layout, control = self.data["layout"], self.data["control"]
        return Instant(
            layout["clocking_deg"], control["policy"], box(limits), box(first), box(window), kappa
        )


class Burn:
    """Burn time and load, as the cycles go by: the load's rate is a trapezium's."""

    def __init__(self, time_s: float = 0.0, load_s: float = 0.0, rate: float = 1.0) -> None:
        self.time_s, self.load_s, self.rate = time_s, load_s, rate

    def on(self, ratio: float, dt_s: float) -> None:
        rate = ratio**LOAD_EXPONENT
        self.load_s += dt_s * (self.rate + rate) / 2
        self.time_s += dt_s
        self.rate = rate
