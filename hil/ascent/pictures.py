"""The pictures of one simulated flight."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from hil.ascent.history import History
from mixer.flight.layout import DOUBTED_PRESSURE, PRIMARY_LIMITED, ROLL_LIMITED
from mixer.ground.reports.pictures import LIMIT, SHADE, drawing, series
from mixer.ground.vehicle.requirements import Requirements
from mixer.ground.vehicle.vehicle import Vehicle

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LEAST_MARGIN_SHOWN = -50.0
BROAD = {"linewidth": 3.4, "alpha": 0.4}  # what was wanted, under what came of it


def attitude(history: History, limits: Requirements) -> Figure:
    """Tilt and turning rates about pitch and yaw."""
    with drawing(2, 1, height_in=4.6, sharex=True) as (figure, axes):
        upper, lower = axes[:, 0]
        for index, name in enumerate(("pitch", "yaw")):
            upper.plot(history.time_s, history.tilt_deg[:, index], label=name, **series(index))
            lower.plot(
                history.time_s, history.rate_deg_s[:, 1 + index], label=name, **series(index)
            )
        if limits.attitude_error_deg is not None:
            both_ways(upper, limits.attitude_error_deg)
        finish(upper, history, "tilt from the vertical, deg")
        finish(lower, history, "rate, deg/s", "burn time, s")
    return figure


def roll(history: History, limits: Requirements) -> Figure:
    """Roll angle, roll rate, and roll moment asked for and given."""
    with drawing(3, 1, height_in=6.4, sharex=True) as (figure, axes):
        angle, rate, moment = axes[:, 0]
        angle.plot(history.time_s, history.roll_deg, label="roll angle", **series(0))
        rate.plot(history.time_s, history.rate_deg_s[:, 0], label="roll rate", **series(0))
        if limits.roll_rate_deg_s is not None:
            both_ways(rate, limits.roll_rate_deg_s)
        asked_and_given(moment, history, 2, ROLL_LIMITED, "roll had to give way")
        finish(angle, history, "roll angle, deg")
        finish(rate, history, "roll rate, deg/s")
        finish(moment, history, "roll moment, N·m", "burn time, s")
    return figure


def moments(history: History) -> Figure:
    """Pitch and yaw moments asked for, given, and disturbing."""
    with drawing(2, 1, height_in=4.8, sharex=True) as (figure, axes):
        for index, name in enumerate(("pitch", "yaw")):
            panel = axes[index, 0]
            asked_and_given(panel, history, index, PRIMARY_LIMITED, "out of reach")
            panel.plot(
                history.time_s,
                history.disturbance_nm[:, index],
                label="thrust and air",
                **series(2),
            )
            finish(panel, history, f"{name} moment, N·m", "burn time, s" if index else "")
    return figure


def deflections(history: History, vehicle: Vehicle) -> Figure:
    """Commanded and true angle of each vane, with its travel."""
    with drawing(2, 2, height_in=4.8, sharex=True, sharey=True) as (figure, axes):
        for vane, panel in enumerate(axes.flat):
            panel.plot(
                history.time_s,
                history.commanded_deg[:, vane],
                label="commanded",
                **{**series(0), **BROAD},
            )
            panel.plot(history.time_s, history.true_deg[:, vane], label="true", **series(1))
            for limit_deg in vehicle.vanes.travel_deg[vane]:
                panel.axhline(limit_deg, **LIMIT)
            panel.set_title(f"vane {vane + 1}")
            finish(
                panel,
                history,
                "" if vane % 2 else "deflection, deg",
                "burn time, s" if vane > 1 else "",
                legend=vane == 0,
            )
    return figure


def margin(history: History, limits: Requirements) -> Figure:
    """Share of the pitch and yaw authority that is left, and where it was thinnest."""
    with drawing(height_in=2.8) as (figure, axes):
        panel = axes[0, 0]
        shown = np.maximum(history.margin_percent, LEAST_MARGIN_SHOWN)
        cut = " (cut off at the lower end)" if (history.margin_percent < shown).any() else ""
        panel.plot(history.time_s, shown, label=f"left{cut}", **series(0))
        judged = np.flatnonzero(history.judged)
        if len(judged):
            thinnest = judged[np.argmin(history.margin_percent[judged])]
            panel.plot(
                history.time_s[thinnest],
                shown[thinnest],
                label=f"thinnest, {history.margin_percent[thinnest]:.1f} %",
                **{**series(1, marker=True), "linestyle": "none"},
            )
        if limits.margin_percent is not None:
            panel.axhline(limits.margin_percent, label="required", **LIMIT)
        finish(panel, history, "pitch and yaw authority left, %", "burn time, s")
    return figure


def path(history: History) -> Figure:
    """Height, speed and chamber pressure."""
    with drawing(1, 3, height_in=2.5) as (figure, axes):
        for panel, values, name in zip(
            axes[0],
            (history.height_m / 1000.0, history.speed_m_s, history.pressure_bar),
            ("height, km", "speed, m/s", "chamber pressure, bar"),
            strict=True,
        ):
            panel.plot(history.time_s, values, label="read", **series(0))
            flags = history.flags.astype(int)
            doubted = panel is axes[0, 2] and bool((flags & DOUBTED_PRESSURE).any())
            if doubted:
                counted = "counted"
                panel.plot(history.time_s, history.counted_bar, label=counted, **series(1))
            finish(panel, history, name, "burn time, s", legend=doubted)
    return figure


def asked_and_given(panel: Axes, history: History, index: int, flag: int, word: str) -> None:
    """One moment as asked for and as the true vanes gave it; shaded where it was limited."""
    # A demand far out of reach would flatten everything else.
    given = np.abs(history.true_nm[:, index]).max()
    far = np.abs(history.demand_nm[:, index]).max() > 2.5 * given > 0.0
    asked = "asked for (goes off the picture)" if far else "asked for"
    panel.plot(history.time_s, history.demand_nm[:, index], label=asked, **{**series(0), **BROAD})
    panel.plot(history.time_s, history.true_nm[:, index], label="given", **series(1))
    limited = (history.flags.astype(int) & flag) != 0
    if limited.any():
        panel.fill_between(
            history.time_s,
            0.0,
            1.0,
            where=list(limited),
            transform=panel.get_xaxis_transform(),
            label=word,
            color="#e69f00",
            alpha=0.3,
            linewidth=0,
        )
    if far:
        panel.set_ylim(-2.5 * given, 2.5 * given)


def both_ways(panel: Axes, limit: float) -> None:
    """A limit line above and below."""
    panel.axhline(limit, label="required", **LIMIT)
    panel.axhline(-limit, **LIMIT)


def finish(
    panel: Axes, history: History, y_name: str, x_name: str = "", legend: bool = True
) -> None:
    """Names, legend, and shade over the times that are not judged."""
    judged = history.time_s[history.judged > 0.0]
    first_s, last_s = history.time_s[0], history.time_s[-1]
    if len(judged):
        panel.axvspan(first_s, judged[0], **SHADE)
        panel.axvspan(judged[-1], last_s, **SHADE)
    panel.set_xlim(first_s, last_s)
    if y_name:
        panel.set_ylabel(y_name)
    if x_name:
        panel.set_xlabel(x_name)
    if legend:
        panel.legend(loc="best", ncols=4)
