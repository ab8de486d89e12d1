"""From a vehicle file to deflections in degrees, against the exact policy on the file's own floats.

Nothing of the integer arithmetic is looked at: forces are what the file's curves give at the
deflections that came out, worn and at that pressure, and the oracle judges them.
"""

import numpy as np
import pytest

from mixer.ground import allocate_batch
from mixer.ground.tables.scales import largest_force_n
from tests.oracle.judge import judge
from tests.support.vehicles import vehicle

SEED = 9
ROWS = 400

VEHICLES = {
    "sane": {},
    "sane, direction": {"control": {"policy": "direction"}},
    "uneven layout, four curves": {
        "layout": {"clocking_deg": [10.0, 80.0, 191.0, 275.0], "lever_arm_m": 1.9},
        "vanes": {
            "travel_deg": [[-15.0, 15.0], [0.0, 12.0], [-9.5, 15.0], [-15.0, 4.0]],
            "deflection_deg": [[-16.0, -7.0, 0.0, 8.0, 15.0], [-1.0, 3.0, 12.0],
                               [-20.0, 0.0, 20.0], [-15.0, -14.0, 0.0, 1.0, 9.0]],
            "force_n": [[-210.0, -110.0, 3.0, 112.0, 200.0], [-15.0, 40.0, 150.0],
                        [-231.0, 0.0, 240.0], [-190.0, -185.0, -2.0, 12.0, 130.0]],
            "drag_n": None,
        },
        "erosion": {"load_s": [0.0, 5.0, 26.0],
                    "effectiveness": [[1.0, 0.9, 0.5], [1.0, 1.02, 0.9], [0.97, 0.9, 0.9],
                                      [1.0, 0.99, 0.98]]},
    },
    "a little misclocked": {"layout": {"clocking_deg": [45.3, 135.0, 224.0, 315.0]}},
}  # fmt: skip


@pytest.mark.parametrize("name", VEHICLES)
@pytest.mark.parametrize(
    ("burn_time_s", "pressure_bar"), [(0.0, 20.0), (17.3, 20.0), (26.0, 31.0), (3.0, 4.0)]
)
def test_delivered_moments_are_those_of_the_exact_policy(name, burn_time_s, pressure_bar):
    v = vehicle(**VEHICLES[name])
    policy = v.control.policy
    print(f"seed {SEED}")
    rng = np.random.default_rng(SEED)
    count_n = largest_force_n(v) / 4096
    arm_m, roll_arm_m = float(v.lever_arm_m_at(burn_time_s)), v.layout.roll_arm_m
    size = np.exp(rng.uniform(np.log(0.05), np.log(8.0), (ROWS, 1)))
    demands_nm = rng.normal(0, 300, (ROWS, 3)) * [arm_m, arm_m, roll_arm_m] * size
    result = allocate_batch(
        v, demands_nm, burn_time_s=burn_time_s, chamber_pressure_bar=pressure_bar
    )
    gain = pressure_bar / 20.0 * v.effectiveness(burn_time_s)
    travel = np.array(v.vanes.travel_deg)
    lo, hi = (
        np.array([gain[i] * float(v.force_n(i, end[i])) for i in range(4)]) / count_n
        for end in travel.T
    )
    forces = np.stack(
        [gain[i] * v.force_n(i, result.deflections_deg[:, i]) for i in range(4)], axis=1
    )
    scale = np.array([arm_m, arm_m, roll_arm_m]) * count_n
    primary, roll, grazing = 0.0, 0.0, 0
    for demand, force in zip(demands_nm / scale, forces / count_n, strict=True):
        found = judge(v.layout.clocking_deg, lo, hi, demand[:2], demand[2], policy, force)
        error = found.primary_error_counts.max()
        if policy == "direction" and error > 4:
            grazing += 1
            error = found.primary_edge_error_counts.max()
        primary, roll = max(primary, error), max(roll, found.roll_error_counts)
        assert found.outside_counts < 0.5
    print(f"{name}: primary within {primary:.2f} counts, roll within {roll:.2f}, grazing {grazing}")
    assert primary <= 4 and roll <= 8 and grazing <= ROWS // 200

    phi = np.radians(v.layout.clocking_deg)
    truth = np.stack(
        [arm_m * forces @ np.cos(phi), arm_m * forces @ np.sin(phi), roll_arm_m * forces.sum(1)], 1
    )
    assert np.abs(result.moments_nm - truth).max(axis=0) / scale == pytest.approx(0, abs=4)
