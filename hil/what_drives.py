"""What drives the figures of a campaign: how each draw goes with each figure, by rank.

Spearman's rank correlation (Biometrika 1904; computed by SciPy): 1 where a figure always grows
with an input, -1 where it always falls, 0 where the one says nothing of the other.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure
from scipy.stats import spearmanr

from hil.truth import Truth, drawn, side_by_side
from mixer.ground.pictures import PALETTE, drawing
from mixer.ground.vehicle import Vehicle

if TYPE_CHECKING:
    from hil.campaign import Spread

Array = np.ndarray
FEWEST = 20  # flights; of fewer a rank correlation is noise
MOST = 1000  # flights looked at: the standard error of no correlation is 0.03 there
SHOWN = 8

# Input in words, with its size in a flight (N,): where it is a direction or four vanes, how large.
INPUTS = {
    "thrust": lambda t: t.thrust_alike[0],
    "burn time": lambda t: t.burn_time_alike[0],
    "mass": lambda t: t.mass_alike[0],
    "inertia": lambda t: t.inertia_alike[0],
    "centre of gravity, along": lambda t: t.cg_shift_m[0],
    "centre of gravity, off the axis": lambda t: np.hypot(*t.cg_offset_m),
    "thrust misaligned": lambda t: np.hypot(*t.misalignment_rad),
    "aerodynamics": lambda t: t.aerodynamics_alike[0],
    "centre of pressure": lambda t: t.cp_shift_m[0],
    "fins askew, either way": lambda t: np.abs(t.fin_cant_rad[0]),
    "wind": lambda t: np.hypot(*t.wind_m_s),
    "gust": lambda t: np.hypot(*t.gust_m_s),
    "gust, when": lambda t: t.gust_time_s[0],
    "weakest vane's force": lambda t: t.vane_force_alike.min(axis=0),
    "most worn vane": lambda t: t.vane_wear_alike.max(axis=0),
    "vane angles, off together": lambda t: np.abs(t.vane_angle_deg.sum(axis=0)),
    "slowest servo": lambda t: t.servo_slew_alike.min(axis=0),
    "latest servo": lambda t: t.servo_lag_alike.max(axis=0),
    "pressure sensor": lambda t: t.sensor_alike[0],
}


@dataclass(frozen=True)
class Driver:
    """One input, and its rank correlation with a figure."""

    name: str
    correlation: float


def drivers(truth: Truth, values: Array) -> list[Driver]:
    """The inputs by how strongly a figure (N,) goes with them, the strongest first; none of few
    flights. What does not differ between flights, and flights not judged, are left out.
    """
    known = np.isfinite(values)
    if np.count_nonzero(known) < FEWEST or np.ptp(values[known]) == 0.0:
        return []
    found = []
    for name, size in INPUTS.items():
        each = size(truth)[known]
        if np.ptp(each) > 1e-12:
            correlation, _ = np.asarray(spearmanr(each, values[known])).tolist()
            found.append(Driver(name, correlation))
    return sorted(found, key=lambda one: -abs(one.correlation))


def all_drivers(vehicle: Vehicle, found: "Sequence[Spread]") -> dict[str, list[Driver]]:
    """By figure; the seeds' draws are made again, of the first flights where there are many."""
    seeds = found[0].seeds[:MOST]
    if len(seeds) < FEWEST:
        return {each.column: [] for each in found}
    truth = side_by_side([drawn(vehicle, int(seed)) for seed in seeds])
    return {each.column: drivers(truth, each.values[:MOST]) for each in found}


def picture(found: "Sequence[Spread]", by_figure: dict[str, list[Driver]]) -> Figure:
    """Bars by figure, the strongest on top."""
    with drawing(1, len(found), height_in=3.2, sharex=True) as (figure, axes):
        for panel, each in zip(axes[0], found, strict=True):
            shown = by_figure[each.column][:SHOWN][::-1]
            panel.barh(range(len(shown)), [one.correlation for one in shown], color=PALETTE[0])
            panel.set_yticks(range(len(shown)), [one.name for one in shown], fontsize=7)
            panel.axvline(0.0, color="#23282d", linewidth=0.8)
            panel.set(title=each.name, xlabel="rank correlation", xlim=(-1, 1))
    return figure
