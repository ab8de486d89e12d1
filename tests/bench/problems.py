"""The demands that everything here is measured on, in the units of each."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from mixer.flight.layout import PRIMARY_LIMITED, ROLL_LIMITED
from mixer.ground.batch.allocate_batch import allocate_batch
from mixer.ground.tables.scales import COUNTS, largest_force_n
from mixer.ground.vehicle.vehicle import Vehicle
from tests.support.vehicles import vehicle

SEED = 20_261_125
SPREAD_NM = np.array([1.0, 1.0, 0.02])  # roll arms are short
LIMITED = PRIMARY_LIMITED | ROLL_LIMITED


@dataclass(frozen=True)
class Problems:
    """Random demands to one vehicle at ignition, all vanes free, `saturated` (N,) of them half."""

    car: Vehicle
    demands_nm: np.ndarray  # (N, 3), whole mN·m
    saturated: np.ndarray  # (N,) bool: primary or roll has to be limited

    @property
    def demands_mnm(self) -> list[list[int]]:
        return np.rint(self.demands_nm * 1000).astype(int).tolist()

    @property
    def lo(self) -> np.ndarray:
        """(4,) least forces in counts."""
        return -self.hi

    @cached_property
    def hi(self) -> np.ndarray:
        """(4,) largest forces in counts; this vehicle's vanes are alike and symmetric."""
        return np.full(4, float(COUNTS))

    @cached_property
    def wanted_counts(self) -> np.ndarray:
        """(N, 3): pitch/L, yaw/L, roll/R in counts of force."""
        layout = self.car.layout
        arm_m = float(self.car.lever_arm_m_at(0.0))
        arms_m = np.array([arm_m, arm_m, layout.roll_arm_m])
        return self.demands_nm / arms_m * COUNTS / largest_force_n(self.car)

    def some(self, saturated: bool, most: int) -> np.ndarray:
        """Numbers of the first rows that are saturated, or are not."""
        return np.flatnonzero(self.saturated == saturated)[:most]


def draw(rows: int, policy: str = "nearest") -> Problems:
    """Demands, spread so widely that half of them (to a percent) are saturated."""
    car = vehicle(control={"policy": policy})
    rng = np.random.default_rng(SEED)
    raw = rng.normal(size=(rows, 3)) * SPREAD_NM
    sample = raw[:20_000]
    low_nm, high_nm = 1.0, 1e4
    for _ in range(30):
        size_nm = np.sqrt(low_nm * high_nm)
        if saturated_rows(car, sample * size_nm).mean() > 0.5:
            high_nm = size_nm
        else:
            low_nm = size_nm
    demands_nm = np.rint(raw * low_nm * 1000) / 1000
    return Problems(car, demands_nm, saturated_rows(car, demands_nm))


def saturated_rows(car: Vehicle, demands_nm: np.ndarray) -> np.ndarray:
    return (allocate_batch(car, demands_nm).flags & LIMITED) != 0
