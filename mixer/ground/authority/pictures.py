"""The pictures of what moments are within reach."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from mixer.ground.authority.band import reachable_band
from mixer.ground.authority.reach import PITCH, Reach, reach
from mixer.ground.authority.required import AXES, Unmet, burn_times_s, each_alone_nm, required_nm
from mixer.ground.inputs.arrays import Array
from mixer.ground.reports.pictures import LIMIT, drawing, series
from mixer.ground.vehicle.vehicle import Vehicle

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FULL_SET = {"linewidth": 0.6, "alpha": 0.8}
GRID = 241
PALE = 1.8  # the map's darkest is this much less than the scale's, so that its numbers can be read
NOMINAL, BAND = "#23282d", "#9db7c9"  # not one of the burn times' looks
WORST = {"color": "#444444", "linestyle": (0, (1, 1)), "linewidth": 1.1}
REQUIRED = {"color": "#444444", "linestyle": "-", "linewidth": 2.2, "solid_capstyle": "butt"}


def draw_primary(panel: Axes, vehicle: Vehicle, times_s: Sequence[float]) -> None:
    """Pitch and yaw within reach at some burn times, with what is required."""
    for index, time_s in enumerate(times_s):
        reached = reach(vehicle, time_s)
        panel.plot(*reached.outline_nm().T, label=f"{time_s:g} s", **series(index))
        panel.plot(*reached.outline_nm(kept_back=0).T, **{**series(index), **FULL_SET})
    pitch_nm, yaw_nm, _ = required_nm(vehicle.requirements)
    draw_required(panel, pitch_nm, yaw_nm)
    panel.set_aspect("equal", adjustable="datalim")
    panel.set_xlabel("pitch, N·m")
    panel.set_ylabel("yaw, N·m")


def draw_roll(panel: Axes, vehicle: Vehicle, times_s: Sequence[float]) -> None:
    """Roll within reach against pitch while yaw is 0, with what is required."""
    for index, time_s in enumerate(times_s):
        outline_nm = reach(vehicle, time_s).roll_outline_nm(PITCH)
        panel.plot(*outline_nm.T, label=f"{time_s:g} s", **series(index))
    pitch_nm, _, roll_nm = required_nm(vehicle.requirements)
    draw_required(panel, pitch_nm, roll_nm)
    panel.set_xlabel("pitch, N·m (yaw 0)")
    panel.set_ylabel("roll, N·m")


def draw_required(panel: Axes, along_nm: float, up_nm: float) -> None:
    """A bar each way for what is required, none where it is not a number."""
    label = "required"
    for x_nm, y_nm in ((along_nm, 0.0), (0.0, up_nm)):
        if np.isfinite(x_nm) and np.isfinite(y_nm):
            panel.plot([-x_nm, x_nm], [-y_nm, y_nm], label=label, **REQUIRED)
            label = None


def draw_roll_map(panel: Axes, vehicle: Vehicle, time_s: float) -> None:
    """Roll within reach both ways for every pitch and yaw."""
    reached = reach(vehicle, time_s)
    outline_nm = reached.outline_nm(kept_back=0)
    low, high = outline_nm.min(0), outline_nm.max(0)
    pitch_nm, yaw_nm = np.meshgrid(
        np.linspace(low[0], high[0], GRID), np.linspace(low[1], high[1], GRID)
    )
    both_ways_nm = both_ways(reached, pitch_nm, yaw_nm)
    most_nm = max(float(np.nanmax(both_ways_nm)), 1e-3)
    from matplotlib.ticker import MaxNLocator

    steps_nm = MaxNLocator(8).tick_values(0.0, most_nm)
    look = {"levels": steps_nm, "cmap": "Blues", "vmin": 0, "vmax": PALE * most_nm}
    panel.contourf(pitch_nm, yaw_nm, both_ways_nm, **look)
    lines = panel.contour(
        pitch_nm, yaw_nm, both_ways_nm, levels=steps_nm[2::2], colors="#23282d", linewidths=0.6
    )
    panel.clabel(lines, fontsize=8, fmt="%g")
    panel.plot(*reached.outline_nm().T, **LIMIT)
    panel.set_aspect("equal", adjustable="datalim")
    panel.set_title(f"{time_s:g} s: roll both ways, N·m")
    panel.set_xlabel("pitch, N·m")
    panel.set_ylabel("yaw, N·m")


def both_ways(reached: Reach, pitch_nm: Array, yaw_nm: Array) -> Array:
    """The roll within reach both ways, 0 where one way there is none."""
    low, high = np.moveaxis(reached.roll_range_nm(pitch_nm, yaw_nm), -1, 0)
    return np.maximum(np.minimum(-low, high), 0.0)


def draw_over_burn(panels: Iterable[Axes], vehicle: Vehicle, unmet: Sequence[Unmet]) -> None:
    """Each moment by itself, both ways, over the burn: with what is required and when it fails,
    and with its band where the vehicle file states [uncertainty].
    """
    times_s = burn_times_s(vehicle)
    alone_nm = each_alone_nm(reach(vehicle, times_s))
    band = None if vehicle.uncertainty is None else reachable_band(vehicle, times_s)
    wanted_nm = required_nm(vehicle.requirements)
    for place, (panel, axis) in enumerate(zip(panels, AXES, strict=True)):
        panel.plot(times_s, alone_nm[:, place], label="nominal", color=NOMINAL)
        if band is not None:
            ends_nm = band.low_nm[:, place], band.high_nm[:, place]
            look = {"color": BAND, "linewidth": 0}
            panel.fill_between(times_s, *ends_nm, label="two standard errors", **look)
            panel.plot(times_s, band.worst_nm[:, place], label="worst case", **WORST)
            panel.legend(loc="lower left")
        if np.isfinite(wanted_nm[place]):
            panel.axhline(wanted_nm[place], **LIMIT)
            panel.text(
                0.01, wanted_nm[place], "required", va="bottom", fontsize=8,
                transform=panel.get_yaxis_transform(),
            )  # fmt: skip
        for one in unmet:
            if one.axis == axis:
                late = one.time_s > times_s[-1] / 2
                panel.plot(one.time_s, one.required_nm, "s", color="#d55e00", clip_on=False)
                panel.annotate(
                    f"not met from {one.time_s:.2f} s",
                    (one.time_s, one.required_nm),
                    xytext=(-5 if late else 5, -24),
                    ha="right" if late else "left",
                    textcoords="offset points",
                    fontsize=8.5,
                )
        panel.set_xlim(0, times_s[-1])
        highest_nm = np.nanmax([*alone_nm[:, place], wanted_nm[place]])
        panel.set_ylim(0, 1.15 * highest_nm if highest_nm > 0 else 1.0)
        panel.set_ylabel(f"{axis} both ways, N·m")


def reach_picture(vehicle: Vehicle, times_s: Sequence[float]) -> Figure:
    """Pitch and yaw, and roll against pitch, at some burn times."""
    with drawing(1, 2, width_in=9, height_in=4.4) as (figure, axes):
        draw_primary(axes[0, 0], vehicle, times_s)
        draw_roll(axes[0, 1], vehicle, times_s)
        handles = axes[0, 0].get_legend_handles_labels()
        figure.legend(*handles, loc="outside lower center", ncols=7, title="burn time")
    return figure


def roll_map(vehicle: Vehicle, times_s: Sequence[float]) -> Figure:
    """How roll within reach shrinks as pitch and yaw are asked for, at up to three times."""
    with drawing(1, len(times_s), width_in=9, height_in=3.4) as (figure, axes):
        for panel, time_s in zip(axes[0], times_s, strict=True):
            draw_roll_map(panel, vehicle, time_s)
    return figure


def over_burn(vehicle: Vehicle, unmet: Sequence[Unmet]) -> Figure:
    """Authority over the burn."""
    with drawing(3, 1, width_in=9, height_in=5.6, sharex=True) as (figure, axes):
        draw_over_burn(axes[:, 0], vehicle, unmet)
        axes[-1, 0].set_xlabel("burn time, s")
    return figure


def overview(vehicle: Vehicle, times_s: Sequence[float], unmet: Sequence[Unmet]) -> Figure:
    """Everything in one picture."""
    with drawing(2, 3, width_in=13, height_in=8) as (figure, axes):
        draw_primary(axes[0, 0], vehicle, times_s)
        draw_roll(axes[0, 1], vehicle, times_s)
        draw_roll_map(axes[0, 2], vehicle, times_s[-1])
        draw_over_burn(axes[1], vehicle, unmet)
        for panel in axes[1]:
            panel.set_xlabel("burn time, s")
        handles = axes[0, 0].get_legend_handles_labels()
        figure.legend(*handles, loc="outside lower left", ncols=7, title="burn time")
        figure.suptitle(f"Moments within reach: {vehicle.vehicle.name}", x=0.01, ha="left")
    return figure
