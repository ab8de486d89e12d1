"""Fourteen vehicles as unlike each other as the flight core may meet, both policies each.

Any core that has to give the same integers, at a bounded cost, is tried on these. All invented.
"""

from collections.abc import Iterator
from functools import cache
from itertools import product
from typing import Any

import numpy as np

from mixer.flight import FlightTables
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

POLICIES = ("nearest", "direction")
# Angles and forces of a curve of 24 points, with a bend at every one.
ANGLES_DEG = np.round(np.linspace(-16.0, 16.0, 24), 3)
LONG_CURVE_N = np.round(12.6 * ANGLES_DEG + 1.5 * np.sin(3.0 * ANGLES_DEG), 3)
UNEQUAL = {
    "travel_deg": [[-15.0, 15.0], [-12.0, 14.0], [-8.0, 15.0], [-15.0, 4.0]],
    "deflection_deg": [
        [-15.0, 0.0, 15.0],
        [-14.0, -6.0, 0.0, 5.0, 15.0],
        [-16.0, -9.0, 8.0, 15.0],
        [-15.0, -0.5, 14.0],
    ],
    "force_n": [
        [-200.0, 0.0, 200.0],
        [-190.0, -90.0, 2.0, 70.0, 150.0],
        [-250.0, -140.0, 150.0, 240.0],
        [-150.0, -5.0, 180.0],
    ],
    "drag_n": None,
}
BENT = {
    "deflection_deg": ANGLES_DEG.tolist(),
    "force_n": LONG_CURVE_N.tolist(),
    "drag_n": None,
}
ONE_SIDED = {"travel_deg": [[0.0, 15.0], [-15.0, 0.0], [-15.0, 15.0], [-2.0, 15.0]]}
FOUR_SLEWS = {
    "slew_deg_s": [250.0, 100.0, 33.3, 400.0],
    "neutral_us": [1500.0, 1480.0, 1520.0, 1510.0],
    "us_per_deg": [10.0, -9.0, 8.5, -11.0],
}
WORN = {
    "load_s": [0.0, 5.0, 26.0],
    "effectiveness": [[1.0, 0.9, 0.5], [1.0, 0.98, 0.9], [1.0, 1.05, 0.8], [1.0, 0.7, 0.3]],
}
MANY_TIMES_S = np.linspace(0.0, 26.0, 30)
LONG_TABLES = {
    "erosion": {
        "load_s": MANY_TIMES_S.tolist(),
        "effectiveness": np.round(1.0 - 0.01 * MANY_TIMES_S, 4).tolist(),
    },
    "layout": {
        "lever_arm_m": {
            "time_s": MANY_TIMES_S.tolist(),
            "m": np.round(2.3 + 0.4 * np.sin(0.2 * MANY_TIMES_S), 4).tolist(),
        }
    },
}


def clocked(*angles_deg: float) -> dict[str, Any]:
    return {"layout": {"clocking_deg": list(angles_deg)}}


UNLIKE: dict[str, dict[str, Any]] = {
    "eighth turns": {},
    "quarter turns": clocked(0.0, 90.0, 180.0, 270.0),
    "misclocked": {**clocked(0.05, 90.0, 179.95, 270.05), "erosion": WORN},
    "askew": {**clocked(0.0, 91.0, 180.0, 266.0), "servos": FOUR_SLEWS},
    "clustered": clocked(5.0, 40.0, 170.0, 215.0),
    "closely clustered": {**clocked(10.0, 31.0, 188.0, 209.0), "vanes": UNEQUAL},
    "fan": {**clocked(3.0, 60.0, 200.0, 300.0), "vanes": ONE_SIDED},
    "one-sided": {"vanes": ONE_SIDED, "erosion": WORN},
    "unequal": {**clocked(20.0, 115.0, 195.0, 290.0), "vanes": UNEQUAL, "erosion": WORN},
    "bent curves": {**clocked(10.0, 80.0, 191.0, 275.0), "vanes": BENT, "servos": FOUR_SLEWS},
    "long tables": {**LONG_TABLES, "vanes": BENT},
    "slow": {"servos": {"slew_deg_s": 40.0}, "control": {"rate_hz": 500}},
    "quick": {
        **clocked(1.0, 92.0, 178.0, 271.0),
        "servos": {"slew_deg_s": 1800.0},
        "control": {"rate_hz": 50},
    },
    "short arms": {
        "layout": {
            "lever_arm_m": 0.3,
            "roll_arm_m": 0.02,
            "clocking_deg": [10.0, 80.0, 191.0, 275.0],
        },
        "vanes": UNEQUAL,
        "servos": FOUR_SLEWS,
    },
}


# Chamber pressures that are expected over the burn: the reference, or many points.
EXPECTED: list[dict[str, Any]] = [
    {"believed_pressure": None},
    {
        "believed_pressure": None,
        "pressure_profile": {
            "time_s": [0.0, 0.1, *(MANY_TIMES_S[1:] + 0.2).tolist()],
            "bar": [0.0, *np.round(20.0 - 0.3 * MANY_TIMES_S, 2).tolist()],
        },
    },
]


def unlike_tables(every: int = 1) -> Iterator[tuple[str, FlightTables]]:
    """Name and flight tables of each, by both policies, or of every so manieth; readings of the
    pressure may be doubted."""
    for (number, name), policy in list(product(enumerate(UNLIKE), POLICIES))[::every]:
        yield f"{name}, {policy}", _tables(name, policy, number % 2)


@cache  # each set of tables is proved
def _tables(name: str, policy: str, expected: int) -> FlightTables:
    changes = UNLIKE[name]
    control = {**changes.get("control", {}), "policy": policy}
    return flight_tables(vehicle(**{**changes, "engine": EXPECTED[expected], "control": control}))
