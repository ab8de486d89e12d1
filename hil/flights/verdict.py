"""Whether a simulated flight met the vehicle's [requirements]."""

from dataclasses import dataclass

import numpy as np

from hil.flights.extremes import Tally
from mixer.ground.vehicle.requirements import Requirements


@dataclass(frozen=True)
class Judgement:
    """One requirement: what was reached, when, and the limit (None: not judged)."""

    name: str
    unit: str
    value: float
    time_s: float
    limit: float | None
    most: bool  # whether the limit is the most allowed, or the least

    @property
    def passes(self) -> bool:
        if self.limit is None:
            return True
        if not np.isfinite(self.value):
            return False
        return self.value <= self.limit if self.most else self.value >= self.limit


def judge(tally: Tally, requirements: Requirements | None, flight: int = 0) -> list[Judgement]:
    """The three requirements on a flight of a block."""
    limits = requirements or Requirements()
    never = tally.cycles[flight] == 0
    rows = [
        (
            "attitude error",
            "deg",
            tally.attitude_error_deg,
            tally.tilt.time_s,
            limits.attitude_error_deg,
            True,
        ),
        (
            "roll rate",
            "deg/s",
            tally.roll_rate_deg_s,
            tally.roll_rate.time_s,
            limits.roll_rate_deg_s,
            True,
        ),
        (
            "authority margin",
            "%",
            tally.margin_percent,
            tally.used.time_s,
            limits.margin_percent,
            False,
        ),
    ]
    return [
        Judgement(
            name,
            unit,
            float("nan") if never else float(value[flight]),
            float(time_s[flight]),
            limit,
            most,
        )
        for name, unit, value, time_s, limit, most in rows
    ]
