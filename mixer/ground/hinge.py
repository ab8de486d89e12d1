"""What the gas does to the vane shaft over deflection, burn and wear; the servo's margin."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mixer.ground.geometry import NozzleFields, VaneGeometry, WornEdge
from mixer.ground.vane_forces import VaneCurve, computed_curve

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class HingeTable:
    """Hinge moment of one vane at the reference chamber pressure.

    `load_s` (m,) burn load, which at the reference pressure is burn time; `deflection_deg` (n,);
    `moment_nm` (m, n), positive turns the vane towards positive deflection.
    """

    load_s: FloatArray
    deflection_deg: FloatArray
    moment_nm: FloatArray

    @property
    def peak_nm(self) -> float:
        """Largest moment either way, over travel and wear."""
        return float(np.max(np.abs(self.moment_nm)))

    @property
    def peak_at(self) -> tuple[float, float]:
        """Burn load in s and deflection in deg of the largest moment."""
        row, column = np.unravel_index(np.argmax(np.abs(self.moment_nm)), self.moment_nm.shape)
        return float(self.load_s[row]), float(self.deflection_deg[column])

    @property
    def turns_outwards(self) -> Literal["nowhere", "in places", "everywhere"]:
        """Where over travel and wear the gas drives the vane away from neutral."""
        turned = self.deflection_deg != 0.0
        outwards = (self.moment_nm * np.sign(self.deflection_deg))[:, turned] > 0.0
        if outwards.all():
            return "everywhere"
        return "in places" if outwards.any() else "nowhere"

    def moment_at(self, deflection_deg: float, load_s: float, pressure_ratio: float) -> float:
        """Moment at a deflection, burn load and chamber pressure over the reference, N·m."""
        rows = [float(np.interp(deflection_deg, self.deflection_deg, m)) for m in self.moment_nm]
        return pressure_ratio * float(np.interp(load_s, self.load_s, rows))

    def margin(self, rated_torque_nm: float) -> float:
        """Rated torque at the shaft over the largest moment; under 1 the servo cannot hold it."""
        return rated_torque_nm / self.peak_nm if self.peak_nm > 0.0 else np.inf


def hinge_from_curves(load_s: ArrayLike, curves: Sequence[VaneCurve]) -> HingeTable:
    """The table from one computed curve for each burn load, all over the same deflections."""
    return HingeTable(
        np.asarray(load_s, float),
        curves[0].deflection_deg,
        np.array([curve.hinge_moment_nm for curve in curves]),
    )


def hinge_table(
    geometry: VaneGeometry,
    engine: NozzleFields,
    travel_deg: Sequence[float],
    load_s: Sequence[float] = (0.0,),
    worn_at: Callable[[float], WornEdge | None] = lambda _load_s: None,
) -> HingeTable:
    """Hinge moments over the travel at each burn load, the leading edge worn as `worn_at` says."""
    curves = [computed_curve(geometry, engine, travel_deg, worn_at(load)) for load in load_s]
    return hinge_from_curves(load_s, curves)
