"""What drives the figures of a campaign: how each draw goes with each figure, by rank.

Spearman's rank correlation (Biometrika 1904; computed by SciPy): 1 where a figure always grows
with an input, -1 where it always falls, 0 where the one says nothing of the other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import scipy

from hil.rocket.dispersion import Truth, drawn, side_by_side
from hil.rocket.draws import DRAWS
from mixer.ground.inputs.arrays import Array
from mixer.ground.reports.pictures import PALETTE, drawing
from mixer.ground.vehicle.vehicle import Vehicle

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from hil.campaigns.campaign import Spread

FEWEST = 20  # flights; of fewer a rank correlation is noise
MOST = 1000  # flights looked at: the standard error of no correlation is 0.03 there
SHOWN = 8


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
    for name, size in DRAWS.items():
        each = size(truth)[known]
        if np.ptp(each) > 1e-12:
            correlation, _ = np.asarray(scipy.stats.spearmanr(each, values[known])).tolist()
            found.append(Driver(name, correlation))
    return sorted(found, key=lambda one: -abs(one.correlation))


def all_drivers(vehicle: Vehicle, found: Sequence[Spread]) -> dict[str, list[Driver]]:
    """By figure; the seeds' draws are made again, of the first flights where there are many."""
    seeds = found[0].seeds[:MOST]
    if len(seeds) < FEWEST:
        return {each.column: [] for each in found}
    truth = side_by_side([drawn(vehicle, int(seed)) for seed in seeds])
    return {each.column: drivers(truth, each.values[:MOST]) for each in found}


def picture(found: Sequence[Spread], by_figure: dict[str, list[Driver]]) -> Figure:
    """Bars by figure, the strongest on top."""
    with drawing(1, len(found), height_in=3.2, sharex=True) as (figure, axes):
        for panel, each in zip(axes[0], found, strict=True):
            shown = by_figure[each.column][:SHOWN][::-1]
            panel.barh(range(len(shown)), [one.correlation for one in shown], color=PALETTE[0])
            panel.set_yticks(range(len(shown)), [one.name for one in shown], fontsize=7)
            panel.axvline(0.0, color="#23282d", linewidth=0.8)
            panel.set(title=each.name, xlabel="rank correlation", xlim=(-1, 1))
    return figure
