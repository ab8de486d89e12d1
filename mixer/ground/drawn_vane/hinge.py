"""What the gas does to the vane shaft over deflection, burn and wear; the servo's margin."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from mixer.ground.drawn_vane.vane_forces import VaneCurve
from mixer.ground.inputs.arrays import Array

# Of the chord, either way: how far shock-expansion and a span correction place the centre of
# pressure of a short vane, 5 to 10 % [practice].
CENTRE_DOUBT = 0.075


@dataclass(frozen=True)
class HingeTable:
    """Hinge moment of one vane at the reference chamber pressure.

    `load_s` (m,) burn load, which at the reference pressure is burn time; `deflection_deg` (n,);
    `moment_nm` (m, n), positive turns the vane towards positive deflection. `doubt_nm` (m, n) is
    what a centre of pressure off by `CENTRE_DOUBT` of the chord does to it, either way.
    """

    load_s: Array
    deflection_deg: Array
    moment_nm: Array
    doubt_nm: Array

    @property
    def peak_band_nm(self) -> tuple[float, float]:
        """Smallest and largest peak with the centre of pressure forward, as computed, aft."""
        ends = [float(np.max(np.abs(self.moment_nm + way * self.doubt_nm))) for way in (-1, 0, 1)]
        return min(ends), max(ends)

    def margin_band(self, rated_torque_nm: float) -> tuple[float, float]:
        """The servo's margin at the worse and the better end of the doubt."""
        best, worst = self.peak_band_nm
        return rated_torque_nm / worst, rated_torque_nm / best

    @property
    def let_go(self) -> Literal["comes back", "goes hard over", "not sure"]:
        """What the vane does where the servo lets go, as far as the doubt lets it be said."""
        turned = self.deflection_deg != 0.0
        outwards = (self.moment_nm * np.sign(self.deflection_deg))[:, turned]
        doubt = np.abs(self.doubt_nm[:, turned])
        if np.all(outwards + doubt < 0.0):
            return "comes back"
        return "goes hard over" if np.all(outwards - doubt > 0.0) else "not sure"

    @property
    def peak_nm(self) -> float:
        """Largest moment either way, over travel and wear."""
        return float(np.max(np.abs(self.moment_nm)))

    @property
    def peak_at(self) -> tuple[float, float]:
        """Burn load in s and deflection in deg of the largest moment."""
        row, column = np.unravel_index(np.argmax(np.abs(self.moment_nm)), self.moment_nm.shape)
        return float(self.load_s[row]), float(self.deflection_deg[column])

    def margin(self, rated_torque_nm: float) -> float:
        """Rated torque at the shaft over the largest moment; under 1 the servo cannot hold it."""
        return rated_torque_nm / self.peak_nm if self.peak_nm > 0.0 else np.inf


def hinge_from_curves(
    load_s: ArrayLike, curves: Sequence[VaneCurve], chord_mm: float
) -> HingeTable:
    """The table from one computed curve for each burn load, all over the same deflections.

    `chord_mm` is the mean chord that the doubt of the centre of pressure is a share of.
    """
    return HingeTable(
        np.asarray(load_s, float),
        curves[0].deflection_deg,
        np.array([curve.hinge_moment_nm for curve in curves]),
        np.array([1e-3 * CENTRE_DOUBT * chord_mm * curve.normal_force_n for curve in curves]),
    )
