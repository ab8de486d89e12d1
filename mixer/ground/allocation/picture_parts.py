"""What the pictures of a run share: its instants, its spans of time, their axis."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from mixer.ground.allocation.record import (
    JAMMED,
    Bins,
    marked_vanes,
)
from mixer.ground.authority.reach import Reach
from mixer.ground.reports.pictures import PALETTE, SHADE

if TYPE_CHECKING:
    from matplotlib.axes import Axes

INSTANTS = 3


def instants(rows: np.ndarray) -> list[int]:
    """The first of some bins, the middle one and the last."""
    if not len(rows):
        return []
    places = np.unique(np.linspace(0, len(rows) - 1, INSTANTS).round().astype(int))
    return [int(rows[place]) for place in places]


def instant_name(bins: Bins, bin_: int) -> str:
    """'25.1 s, vane 3 jammed'."""
    jammed = marked_vanes(int(bins.marks[bin_]), JAMMED)
    standing = f", vane {' and '.join(map(str, jammed))} jammed" if jammed else ""
    return f"reach at {bins.at_peaks('time_s')[bin_]:.1f} s{standing}"


def at_instant(reached: Reach, index: int) -> Reach:
    """One of many instants."""
    return Reach(
        reached.clocking_deg,
        reached.lo_n[index],
        reached.hi_n[index],
        reached.lever_arm_m[index],
        reached.roll_arm_m,
    )


def spans(bins: Bins, up: np.ndarray) -> list[tuple[float, float]]:
    """(start, length) of each run of marked bins; a run lasts until the next bin begins."""
    starts_s = bins.lo[:, 0]
    ends_s = np.append(starts_s[1:], bins.hi[-1:, 0])
    edges = np.flatnonzero(np.diff(np.concatenate([[0], up.astype(int), [0]])))
    return [
        (float(starts_s[first]), float(ends_s[past - 1] - starts_s[first]))
        for first, past in edges.reshape(-1, 2)
    ]


def shade(panel: Axes, bins: Bins, up: np.ndarray, label: str) -> None:
    """Shade a panel over the marked bins."""
    panel.broken_barh(
        spans(bins, up), (0, 1), transform=panel.get_xaxis_transform(), label=label, **SHADE
    )


def strip(panel: Axes, bins: Bins, up: np.ndarray, label: str) -> None:
    """A strip along a panel's lower edge over the marked bins."""
    panel.broken_barh(
        spans(bins, up), (0, 0.05), transform=panel.get_xaxis_transform(), label=label,
        color=PALETTE[1], linewidth=0.6,
    )  # fmt: skip


def time_axis(axes: np.ndarray, bins: Bins) -> None:
    """Burn time along all panels, named below the last row of them."""
    for panel in axes.flat:
        if len(bins) > 1:
            panel.set_xlim(bins.lo[0, 0], bins.hi[-1, 0])
    for panel in axes[-1]:
        panel.set_xlabel("burn time, s")
