"""Where edge-on to the jet is: the jig's word, the static test's, and which of them wins.

One rule. The jig (and the bench, which counts from it) says where a vane looks edge-on; a static
test says where it pushes to neither side. Where the test says otherwise by more than two of its
standard errors, the test wins: neutrals move, [servos] keeps by how much (`edge_on_deg`), and
whoever measures the servos again afterwards has the new tables moved likewise. Within its error a
test moves nothing. Both commands have an option to keep the jig's.
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from mixer.ground.inputs.arrays import Array, fixed
from mixer.ground.vehicle.curves import ServoTable

SURE = 2.0  # standard errors by which a test must differ before neutrals move


def surely_off_deg(zero_deg: Array, error_deg: Array, told: NDArray[np.bool_]) -> Array:
    """How far edge-on is off neutral (4,), 0 where the test does not know it well enough."""
    return np.where(told & (np.abs(zero_deg) > SURE * error_deg), zero_deg, 0.0)


def moved_tables(tables: Sequence[ServoTable], zero_deg: Array) -> list[ServoTable]:
    """Servo tables with 0 where edge-on is."""
    return [
        ServoTable(fixed((table.deflection_deg + by).round(3)), table.pulse_us)
        for table, by in zip(tables, zero_deg, strict=True)
    ]


def covered_travel(travel_deg: Array, tables: Sequence[ServoTable]) -> Array:
    """The travel (4, 2), ended where a table ends."""
    ends = [(table.deflection_deg[0], table.deflection_deg[-1]) for table in tables]
    return np.array(
        [np.clip(row, low, high) for row, (low, high) in zip(travel_deg, ends, strict=True)]
    )
