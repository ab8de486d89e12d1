"""The pictures of one run of demands through the flight core."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from mixer.flight import FLAG_NAMES
from mixer.flight.layout import PRIMARY_LIMITED, ROLL_LIMITED
from mixer.ground.allocation.picture_parts import (
    at_instant,
    instant_name,
    instants,
    shade,
    spans,
    strip,
    time_axis,
)
from mixer.ground.allocation.record import (
    AT_SLEW,
    AT_TRAVEL,
    AXES,
    DEFLECTION,
    JAMMED,
    Bins,
)
from mixer.ground.authority.reach import PITCH, YAW, Reach, reach
from mixer.ground.inputs.arrays import VANES
from mixer.ground.reports.pictures import LIMIT, PALETTE, SHADE, drawing, series
from mixer.ground.tables.scales import NO_THRUST_RATIO
from mixer.ground.vehicle.vehicle import Vehicle

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

DEMANDED = {"color": "#e69f00", "linestyle": "-", "linewidth": 3.2, "alpha": 0.75}
GIVEN = {"color": "#0072b2", "linestyle": "-", "linewidth": 1.1}
HELD = {"color": "#d55e00", "linestyle": "-", "linewidth": 4.5, "alpha": 0.45}
SHOWN_BEYOND = 2.0  # a demand is drawn up to this many times what can be given
RIM = 1.35  # demands further out than this many times the reach are drawn there
MISSED = 0.005  # of the reach: what counts as not met in a picture
NEAR_FULL = 0.9  # of the run's highest pressure: when the envelope is worth a picture
MOST_POINTS = 1500  # of what is not drawn as a line, which thins itself out


def reach_over(bins: Bins, vehicle: Vehicle) -> Reach:
    """What is within reach, by travel alone, at each bin's row with the largest demand."""
    deflection_deg = bins.peak[:, DEFLECTION]
    jammed = np.stack([bins.marked(JAMMED + vane) for vane in range(VANES)], -1)
    return reach(
        vehicle,
        bins.at_peaks("time_s"),
        bins.at_peaks("load_s"),
        bins.at_peaks("pressure_bar") / vehicle.engine.chamber_pressure_bar,
        np.where(jammed, deflection_deg, np.nan),
    )


def thrusting(bins: Bins, vehicle: Vehicle) -> np.ndarray:
    """Whether there is a jet to steer with at each bin's row with the largest demand."""
    reference_bar = vehicle.engine.chamber_pressure_bar
    return bins.at_peaks("pressure_bar") >= NO_THRUST_RATIO * reference_bar


def moments(bins: Bins, vehicle: Vehicle) -> Figure:
    """Demanded and given moments, over what was within reach beside what else was given."""
    with drawing(3, 1, width_in=9, height_in=7.4, sharex=True) as (figure, axes):
        draw_moments(axes[:, 0], bins, vehicle)
        time_axis(axes, bins)
    return figure


def close_up(bins: Bins, vehicle: Vehicle, from_s: float, to_s: float) -> Figure:
    """Moments and deflections of a short time."""
    bins = bins.between(from_s, to_s)
    with drawing(4, 1, width_in=9, height_in=8.2, sharex=True) as (figure, axes):
        draw_moments(axes[:3, 0], bins, vehicle)
        panel = axes[3, 0]
        for vane in range(VANES):
            line = bins.line(f"vane{vane + 1}_deg")
            panel.plot(*line, label=f"vane {vane + 1}", **series(vane))
        for limit_deg in np.unique(vehicle.vanes.travel_deg):
            panel.axhline(limit_deg, **LIMIT)
        panel.set_ylabel("deflection, deg")
        low, high = vehicle.vanes.travel_deg.min(), vehicle.vanes.travel_deg.max()
        panel.set_ylim(1.15 * low, high + 0.25 * (high - low))
        panel.legend(ncols=VANES, loc="upper center")
        time_axis(axes, bins)
    return figure


def draw_moments(panels: np.ndarray, bins: Bins, vehicle: Vehicle) -> None:
    """Pitch, yaw and roll in a panel each."""
    few = bins.coarser(MOST_POINTS)
    reached, thrust = reach_over(few, vehicle), thrusting(few, vehicle)
    pitch, yaw = (few.at_peaks(f"{axis}_nm") for axis in ("pitch", "yaw"))
    ranges = (
        reached.primary_range_nm(PITCH, yaw, kept_back=0),
        reached.primary_range_nm(YAW, pitch, kept_back=0),
        reached.roll_range_nm(pitch, yaw),
    )
    flags = (PRIMARY_LIMITED, PRIMARY_LIMITED, ROLL_LIMITED)
    for panel, axis, limits, flag in zip(panels, AXES, ranges, flags, strict=True):
        limits = np.where(thrust[:, None], limits, 0.0)
        panel.fill_between(
            few.at_peaks("time_s"), *limits.T, label="within reach by travel", **SHADE
        )
        panel.plot(*bins.line(f"demand_{axis}_nm"), label="demanded", **DEMANDED)
        panel.plot(*bins.line(f"{axis}_nm"), label="given", **GIVEN)
        strip(panel, bins, bins.marks & flag != 0, "limited")
        panel.set_ylabel(f"{axis}, N·m")
        keep_in_sight(panel, bins, axis, np.nanmax(np.abs(limits), initial=0.0))
    panels[0].legend(loc="upper left", ncols=4, bbox_to_anchor=(0, 1.22))


def keep_in_sight(panel: Axes, bins: Bins, axis: str, most_nm: float) -> None:
    """Do not let a demand that is far out of reach flatten everything else."""
    given = np.abs(bins.line(f"{axis}_nm")[1]).max()
    demanded = np.abs(bins.line(f"demand_{axis}_nm")[1]).max()
    edge = SHOWN_BEYOND * max(given, most_nm)
    if demanded > edge > 0:
        panel.set_ylim(-edge, edge)
        panel.annotate(
            f"demands up to {demanded:.4g} N·m lie outside the picture",
            (0.995, 0.96), xycoords="axes fraction", ha="right", va="top", fontsize=8,
        )  # fmt: skip


def deflections(bins: Bins, vehicle: Vehicle) -> Figure:
    """Deflections within their travel, and where slew held them; slew in use."""
    heights = [*[1.0] * VANES, 0.8]
    with drawing(
        VANES + 1, 1, width_in=9, height_in=8.6, sharex=True,
        gridspec_kw={"height_ratios": heights},
    ) as (figure, axes):  # fmt: skip
        for vane, panel in enumerate(axes[:VANES, 0]):
            time_s, deflection_deg = bins.line(f"vane{vane + 1}_deg")
            each = len(time_s) // max(len(bins), 1)
            held = np.repeat(bins.marked(AT_SLEW + vane), each)
            panel.plot(time_s, np.where(held, deflection_deg, np.nan), label="held by slew", **HELD)
            panel.plot(time_s, deflection_deg, label="deflection", **GIVEN)
            for limit_deg in vehicle.vanes.travel_deg[vane]:
                panel.axhline(limit_deg, label="travel" if limit_deg > 0 else None, **LIMIT)
            jammed = bins.marked(JAMMED + vane)
            if jammed.any():
                shade(panel, bins, jammed, "jammed")
                panel.text(
                    bins.lo[np.argmax(jammed), 0], 0.9, " jammed", va="top", fontsize=8.5,
                    transform=panel.get_xaxis_transform(),
                )  # fmt: skip
            low, high = vehicle.vanes.travel_deg[vane]
            panel.set_ylim(1.15 * low - 0.5, 1.15 * high + 0.5)
            panel.set_ylabel(f"vane {vane + 1}, deg")
        slew = axes[VANES, 0]
        slew.plot(*bins.line("slew_percent"), **GIVEN)
        slew.axhline(100, **LIMIT)
        slew.set_ylim(0, 115)
        slew.set_ylabel("slew in use, %\n(fastest vane)")
        axes[0, 0].legend(loc="upper left", ncols=3, bbox_to_anchor=(0, 1.3))
        time_axis(axes, bins)
    return figure


def pulses(bins: Bins, vehicle: Vehicle) -> Figure:
    """What the four servos were told, with neutral and the pulses at the ends of travel."""
    with drawing(2, 2, width_in=9, height_in=4, sharex=True, sharey=True) as (figure, axes):
        for vane, panel in enumerate(axes.flat):
            servo = vehicle.servos[vane]
            for pulse_us in servo.pulse_us([*vehicle.vanes.travel_deg[vane], 0.0]):
                panel.axhline(pulse_us, **LIMIT)
            panel.plot(*bins.line(f"pulse{vane + 1}_us"), **GIVEN)
            panel.set_title(f"servo {vane + 1}")
            panel.set_ylabel("" if vane % 2 else "pulse, µs")
        time_axis(axes, bins)
    return figure


def strips(bins: Bins, vehicle: Vehicle) -> Figure:
    """Which flags were up and which vanes stood at a limit, when; and how much was asked for."""
    rows = [(name, bins.marked(bit), PALETTE[1]) for bit, name in enumerate(FLAG_NAMES)]
    for vane in range(VANES):
        rows.append((f"vane {vane + 1} at its travel", bins.marked(AT_TRAVEL + vane), PALETTE[0]))
    with drawing(
        2, 1, width_in=9, height_in=5.2, sharex=True, gridspec_kw={"height_ratios": [1.0, 1.5]}
    ) as (figure, axes):
        share, panel = axes[:, 0]
        reached, thrust = reach_over(bins, vehicle), thrusting(bins, vehicle)
        asked = 100 * reached.primary_share(
            bins.at_peaks("demand_pitch_nm"), bins.at_peaks("demand_yaw_nm")
        )
        share.plot(bins.at_peaks("time_s"), np.where(thrust, asked, np.nan), **GIVEN)
        share.axhline(100, **LIMIT)
        share.set_ylim(0, min(200, 10 + max(110, np.nanmax(asked[thrust], initial=0.0))))
        share.set_ylabel("pitch and yaw asked,\n% of reach by travel")
        for place, (_, up, colour) in enumerate(rows):
            panel.broken_barh(spans(bins, up), (place - 0.32, 0.64), color=colour, linewidth=0.6)
        panel.set_yticks(range(len(rows)), [name for name, _, _ in rows])
        panel.set_ylim(len(rows) - 0.4, -0.6)
        panel.grid(axis="y", visible=False)
        time_axis(axes, bins)
    return figure


def in_the_envelope(bins: Bins, vehicle: Vehicle) -> Figure:
    """Demands and what was given, in what was within reach early, midway and late under thrust."""
    bins = bins.coarser(MOST_POINTS)
    reached, under_thrust = reach_over(bins, vehicle), np.flatnonzero(thrusting(bins, vehicle))
    pressure_bar = bins.at_peaks("pressure_bar")
    shown = under_thrust[pressure_bar[under_thrust] >= NEAR_FULL * pressure_bar.max()]
    with drawing(1, 2, width_in=9, height_in=4.6) as (figure, axes):
        primary, with_roll = axes[0]
        for index, bin_ in enumerate(instants(shown)):
            look = {**series(index), "label": instant_name(bins, bin_)}
            one = at_instant(reached, bin_)
            primary.plot(*one.outline_nm().T, **look)
            with_roll.plot(*one.roll_outline_nm(PITCH).T, **look)
        for panel, axis in ((primary, "yaw"), (with_roll, "roll")):
            scatter(panel, bins, under_thrust, axis)
            panel.set_xlabel("pitch, N·m")
            panel.set_ylabel(f"{axis}, N·m")
        primary.set_aspect("equal", adjustable="datalim")
        primary.set_title("Pitch and yaw")
        with_roll.set_title("Pitch and roll; the lines hold where yaw is 0")
        figure.legend(*primary.get_legend_handles_labels(), loc="outside lower center", ncols=5)
    return figure


def scatter(panel: Axes, bins: Bins, rows: np.ndarray, axis: str) -> None:
    """What was given as dots, and as crosses the demands that were not met, those far out on the
    rim of the picture.
    """
    given, demanded = (
        np.column_stack([bins.at_peaks(f"{kind}{name}_nm")[rows] for name in ("pitch", axis)])
        for kind in ("", "demand_")
    )
    panel.scatter(*given.T, label="given", marker=".", s=12, color="#444444", linewidths=0)
    edge = np.array([np.abs(panel.get_xlim()).max(), np.abs(panel.get_ylim()).max()])
    missed = demanded[(np.abs(demanded - given) > MISSED * edge).any(1)]
    missed = np.clip(missed, -RIM * edge, RIM * edge)
    panel.scatter(*missed.T, label="demanded, not met", marker="x", s=16, color="#e69f00")


def burn(bins: Bins, vehicle: Vehicle) -> Figure:
    """Chamber pressure, burn load, what the vanes have left, and the lever arm."""
    time_s = bins.at_peaks("time_s")
    with drawing(2, 2, width_in=9, height_in=4.2, sharex=True) as (figure, axes):
        pressure, load, left, lever = axes.flat
        pressure.plot(*bins.line("pressure_bar"), label="read", **GIVEN)
        doubted = bins.marked(FLAG_NAMES.index("doubted-pressure"))
        if doubted.any():
            pressure.plot(*bins.line("counted_bar"), label="counted", **series(1))
            pressure.legend()
        pressure.axhline(vehicle.engine.chamber_pressure_bar, **LIMIT)
        pressure.set_ylabel("chamber pressure, bar")
        load.plot(*bins.line("load_s"), **GIVEN)
        load.set_ylabel("burn load, s")
        effectiveness = vehicle.effectiveness(bins.at_peaks("load_s"))
        for vane in range(VANES):
            left.plot(time_s, effectiveness[:, vane], label=f"vane {vane + 1}", **series(vane))
        left.legend(ncols=2)
        left.set_ylabel("effectiveness")
        lever.plot(time_s, vehicle.lever_arm_m_at(time_s), **GIVEN)
        lever.set_ylabel("lever arm, m")
        time_axis(axes, bins)
    return figure


def thrust_loss(bins: Bins, vehicle: Vehicle) -> Figure:
    """What the vanes' drag takes from the thrust."""
    engine = vehicle.engine
    rest_n = sum(float(curve.drag_at(0.0)) for curve in vehicle.vanes.curves)
    with drawing(1, 1, width_in=9, height_in=2.4) as (figure, axes):
        panel = axes[0, 0]
        panel.plot(*bins.line("drag_n"), label="as commanded", **GIVEN)
        time_s, pressure_bar = bins.line("pressure_bar")
        panel.plot(
            time_s,
            rest_n * pressure_bar / engine.chamber_pressure_bar,
            label="all vanes at 0 deg",
            **{**LIMIT, "linewidth": 1.2},
        )
        panel.set_ylabel("drag of four vanes, N")
        panel.set_ylim(bottom=0)
        percent = panel.secondary_yaxis(
            "right",
            functions=(lambda n: 100 * n / engine.thrust_n, lambda p: p * engine.thrust_n / 100),
        )
        percent.set_ylabel("% of the full thrust")
        panel.legend(loc="lower center", ncols=2)
        time_axis(axes, bins)
    return figure
