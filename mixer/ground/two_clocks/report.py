"""The page of a merge: how both clocks hang together, how surely, and pictures of it."""

import numpy as np

from mixer.ground.inputs.arrays import Array
from mixer.ground.reports.page import Chapter, Picture, Table, render_page
from mixer.ground.reports.pictures import LIMIT, drawing, series, svg
from mixer.ground.two_clocks.by_motion import forces
from mixer.ground.two_clocks.by_sync import edges, nearest_of
from mixer.ground.two_clocks.logger_log import LoggerLog
from mixer.ground.two_clocks.merge import Merged
from mixer.ground.two_clocks.play_record import PlayRecord
from mixer.ground.vehicle.vehicle import Vehicle

SHOWN_S = 2.0


def figures(merged: Merged) -> list[tuple[str, str, str]]:
    """Quantity, value, standard error."""
    clock = merged.clock
    return [
        ("offset: log time at the node's start", f"{clock.offset_s:.6f} s",
         f"{1e3 * clock.offset_error_s:.3f} ms"),
        ("drift of the logger's clock against the node's", f"{1e6 * clock.drift:z.2f} ppm",
         f"{1e6 * clock.drift_error:.2f} ppm"),
        ("in the middle of what both saw", "", f"{1e3 * clock.middle_error_s:.3f} ms"),
    ]  # fmt: skip


def rests_on(merged: Merged) -> str:
    """What the clocks were told by, in a sentence."""
    if merged.by_sync:
        return (
            f"told by {merged.used} edges of the sync line; node and log agree by "
            f"{merged.alike:.2f} (1: at every moment)"
        )
    return (
        f"told by side loads and roll, no sync line: the vanes' motion explains {merged.alike:.1%} "
        f"of their variance in {merged.used} means over the burn"
    )


def merge_page(merged: Merged, record: PlayRecord, log: LoggerLog, vehicle: Vehicle) -> str:
    """The page, as HTML."""
    rows = figures(merged)
    head = ("", "value", "standard error")
    pictures = [
        Picture(
            moved_picture(merged, vehicle),
            "The vanes' motion and the side load that it "
            "should give, on the logger's clock: both should turn at the same moments.",
        ),
    ]
    if merged.by_sync:
        pictures.insert(0, Picture(edges_picture(merged, record, log), (
            "Each edge of the sync line: the middle between the two rows that saw it, less its "
            "time by the fitted clock. Between the dotted lines, half a row to either side, "
            "without a slope or a step: one clock. Beyond them lie edges that a lost row hid."
        )))  # fmt: skip
    return render_page(
        "One clock",
        f"{log.file} brought together with {record.file}: {rests_on(merged)}.",
        [Chapter("The clocks", merged.notes, [Table(head, rows)], pictures)],
        [
            ("Vehicle", vehicle.vehicle.name),
            ("Played", record.outcome),
            ("Rows a second", f"{1 / log.row_s:.4g}"),
        ],
    )


def edges_picture(merged: Merged, record: PlayRecord, log: LoggerLog) -> str:
    """Edges against the fitted clock, in ms, over the node's time."""
    assert log.sync is not None
    node_s, _ = edges(record.time_s, record.sync)
    rows = np.flatnonzero(np.diff(log.sync.astype(int)))
    seen = (log.time_s[rows] + log.time_s[rows + 1]) / 2
    off_ms = 1e3 * (seen[nearest_of(seen, merged.clock.log_s(node_s))] - merged.clock.log_s(node_s))
    half_ms = 500 * log.row_s
    with drawing(height_in=2.6) as (figure, axes):
        axis = axes[0, 0]
        axis.plot(node_s, off_ms, **{**series(0, marker=True), "linestyle": "", "markersize": 2})
        for side in (-half_ms, half_ms):
            axis.axhline(side, **LIMIT)
        axis.set_ylim(-4 * half_ms, 4 * half_ms)
        axis.set_xlabel("node's time [s]")
        axis.set_ylabel("edge off [ms]")
        return svg(figure)


def moved_picture(merged: Merged, vehicle: Vehicle) -> str:
    """The largest side load, measured and as the vanes should give it, about a lively moment."""
    stand = merged.log
    side = forces(stand.vanes_deg, vehicle)
    clocking = np.radians(vehicle.layout.clocking_deg)
    share = stand.pressure_bar / vehicle.engine.chamber_pressure_bar
    should = np.column_stack([-side @ np.sin(clocking), side @ np.cos(clocking)]) * share[:, None]
    channel = int(np.argmax(np.ptp(should, axis=0)))
    middle_s = lively(stand.time_s, should[:, channel])
    rows = np.abs(stand.time_s - middle_s) <= SHOWN_S / 2
    with drawing(2, 1, height_in=4.2, sharex=True) as (figure, axes):
        for vane in range(4):
            axes[0, 0].plot(
                stand.time_s[rows],
                stand.vanes_deg[rows, vane],
                label=f"vane {vane + 1}",
                **series(vane),
            )
        axes[0, 0].set_ylabel("deflection [deg]")
        axes[0, 0].legend(ncols=4, loc="lower left", bbox_to_anchor=(0, 1))
        axes[1, 0].plot(
            stand.time_s[rows], should[rows, channel], label="by the vehicle file", **series(0)
        )
        axes[1, 0].plot(
            stand.time_s[rows], stand.loads[rows, channel], label="load cell", **series(1)
        )
        axes[1, 0].set_ylabel(f"side {'yz'[channel]} [N]")
        axes[1, 0].set_xlabel("logger's time [s]")
        axes[1, 0].legend(ncols=2, loc="lower left", bbox_to_anchor=(0, 1))
        return svg(figure)


def lively(time_s: Array, values: Array) -> float:
    """The time about which the values move most within what is shown."""
    moved = np.abs(np.diff(values, prepend=values[0]))
    width = max(int(SHOWN_S / float(np.median(np.diff(time_s)))), 1)
    return float(time_s[int(np.argmax(np.convolve(moved, np.ones(width), "same")))])
