"""Pictures of a vane: its section and planform, forces over deflection, hinge moment, heat."""

from collections.abc import Sequence

import numpy as np

from mixer.ground.drawn_vane.geometry import VaneGeometry, WornEdge
from mixer.ground.drawn_vane.hinge import HingeTable
from mixer.ground.drawn_vane.vane_forces import VaneCurve
from mixer.ground.inputs.arrays import Array
from mixer.ground.reports.pictures import LIMIT, SHADE, drawing, series, svg
from mixer.ground.vane_life.life import Life
from mixer.ground.wear.prediction import WearPrediction

BODY = {"color": "#444444", "linestyle": "-", "linewidth": 1.2}


def section_picture(geometry: VaneGeometry, edges: Sequence[WornEdge]) -> str:
    """The middle section, as worn as each edge, to scale."""
    station = 0.5 * (geometry.root_station_mm + geometry.span_mm)
    with drawing(height_in=2.4) as (figure, axes):
        axis = axes[0, 0]
        for index, edge in enumerate(edges):
            depth = float(edge.at(station))
            x, y = geometry.outline_at(station, depth, edge.face_mm).drawn()
            label = (
                "new"
                if depth == 0.0
                else f"edge receded {depth:.2g} mm, each face {edge.face_mm:.2g} mm"
            )
            axis.plot(1e3 * x, 1e3 * y, label=label, zorder=3 - index, **series(index))
        axis.axvline(geometry.hinge_line_mm, **LIMIT)
        axis.annotate(
            "hinge line", (geometry.hinge_line_mm, 0.0), xytext=(4, 0),
            textcoords="offset points", va="center", fontsize=8.5,
        )  # fmt: skip
        axis.set_aspect("equal", adjustable="datalim")
        axis.set(xlabel="behind the new leading edge, mm", ylabel="thickness, mm")
        axis.legend(loc="upper right")
    return svg(figure)


def planform_picture(
    chord_station_mm: Array,
    chord_mm: Array,
    load_s: Array,
    edges: Sequence[WornEdge],
    band: tuple[WornEdge, WornEdge] | None = None,
    hinge_line_mm: float | None = None,
) -> str:
    """The vane seen square to its face; where its leading edge recedes, that magnified as well.

    The band is that of the leading edge at the end of the burn.
    """
    deepest_mm = max(float(np.max(edge.recession_mm)) for edge in edges)
    shown = sorted({0, len(edges) // 2, len(edges) - 1}) if deepest_mm > 0.0 else [0]
    ratios = [1.0, 1.4] if deepest_mm > 0.0 else [1.0]
    with drawing(1, len(ratios), height_in=3.4, width_ratios=ratios) as (figure, axes):
        whole, near = axes[0, 0], axes[0, -1]
        station = np.concatenate([chord_station_mm[:1], chord_station_mm, chord_station_mm[-1:]])
        whole.plot(station, np.concatenate([[0.0], chord_mm, [0.0]]), **BODY)
        for axis in axes[0]:
            for index, pick in enumerate(shown):
                depth = edges[pick].at(chord_station_mm)
                axis.plot(chord_station_mm, depth, label=after(load_s[pick]), **series(index))
            axis.set(xlabel="station from the root, mm", ylabel="behind the new edge, mm")
        if hinge_line_mm is not None:
            whole.axhline(hinge_line_mm, **LIMIT)
            whole.annotate(
                "hinge line", (float(np.mean(chord_station_mm)), hinge_line_mm), xytext=(0, 3),
                textcoords="offset points", ha="center", fontsize=8.5,
            )  # fmt: skip
        whole.invert_yaxis()
        whole.set_title("The jet flows downwards")
        if near is not whole:
            if band is not None:
                low, high = (edge.at(chord_station_mm) for edge in band)
                near.fill_between(
                    chord_station_mm, low, high, **SHADE, label="95 % band at the end"
                )
                deepest_mm = max(deepest_mm, float(high.max()))
            near.set_ylim(1.45 * deepest_mm, -0.08 * deepest_mm)  # downwards; room for the legend
            near.set_title("Leading edge, magnified")
            near.legend(loc="lower left", ncols=2)
    return svg(figure)


def after(load_s: float) -> str:
    """How long a vane has been in the jet, for a legend."""
    return "new" if load_s == 0.0 else f"after {load_s:.3g} s"


def forces_picture(curve: VaneCurve) -> str:
    """Side force, drag and centre of pressure over deflection."""
    with drawing(1, 3, height_in=2.8) as (figure, axes):
        for axis, values, label in (
            (axes[0, 0], curve.force_n, "side force, N"),
            (axes[0, 1], curve.drag_n, "drag, N"),
            (axes[0, 2], curve.centre_of_pressure_mm, "centre of pressure, mm"),
        ):
            axis.plot(curve.deflection_deg, values, **series(0))
            axis.set(xlabel="deflection, deg", ylabel=label)
            for side in (-1.0, 1.0):
                if abs(curve.detachment_deg) < np.max(np.abs(curve.deflection_deg)):
                    axis.axvline(side * curve.detachment_deg, **LIMIT)
        axes[0, 1].set_ylim(bottom=0.0)
    return svg(figure)


def hinge_picture(table: HingeTable, rated_torque_nm: float | None) -> str:
    """Hinge moment over deflection for a few burn loads, and what the servo is rated for."""
    with drawing(height_in=3.0) as (figure, axes):
        axis = axes[0, 0]
        wears = bool(np.ptp(table.moment_nm, axis=0).any())
        rows = {0, len(table.load_s) // 2, len(table.load_s) - 1} if wears else {0}
        for index, row in enumerate(sorted(rows)):
            axis.plot(
                table.deflection_deg,
                table.moment_nm[row],
                label=after(table.load_s[row]),
                **series(index),
            )
        new, doubt = table.moment_nm[0], table.doubt_nm[0]
        axis.fill_between(table.deflection_deg, new - doubt, new + doubt, **SHADE)
        if rated_torque_nm is not None:
            for sign in (-1.0, 1.0):
                axis.axhline(sign * rated_torque_nm, **LIMIT)
            axis.annotate(
                "rated servo torque",
                (table.deflection_deg[0], rated_torque_nm),
                xytext=(2, 3),
                textcoords="offset points",
                fontsize=8.5,
            )
        axis.set(xlabel="deflection, deg", ylabel="hinge moment, N·m")
        top = 1.35 * max(table.peak_band_nm[1], rated_torque_nm or 0.0)  # room for the legend
        axis.set_ylim(-top, top)
        axis.legend(loc="upper right", ncols=3)
    return svg(figure)


def effectiveness_picture(wear: WearPrediction) -> str:
    """Effectiveness over burn load with its band."""
    with drawing(height_in=2.8) as (figure, axes):
        axis = axes[0, 0]
        axis.fill_between(
            wear.load_s, wear.low, wear.high, **SHADE, label="95 % band, one more vane"
        )
        axis.plot(wear.load_s, wear.effectiveness, label="effectiveness", **series(0, marker=True))
        axis.set(xlabel="burn load, s", ylabel="effectiveness")
        axis.set_ylim(top=1.005)
        axis.legend(loc="lower left")
    return svg(figure)


def heating_picture(life: Life) -> str:
    """Temperature of the edge and recession over time; temperature along the chord at the end."""
    with drawing(1, 2, height_in=2.9) as (figure, axes):
        left, right = axes[0]
        heating, material = life.heating, life.material
        left.plot(heating.time_s, heating.surface_k, label="leading edge", **series(0))
        cells = heating.temperature_k.shape[1]
        along = ((np.arange(cells) + 0.5) / cells) ** 2
        middle = heating.temperature_k[:, int(np.searchsorted(along, 0.5))]
        left.plot(heating.time_s, middle, label="half chord", **series(1))
        left.axhline(material.fails_at_k, **LIMIT)
        left.annotate(
            material.fails_by,
            (0.0, material.fails_at_k),
            xytext=(2, 3),
            textcoords="offset points",
            fontsize=8.5,
        )
        left.set(xlabel="time at reference pressure, s", ylabel="temperature, K")
        left.set_ylim(
            bottom=0.0, top=1.12 * max(material.fails_at_k, float(heating.surface_k.max()))
        )
        left.legend(loc="lower right")
        if material.receding:
            right.plot(heating.time_s, 1e3 * heating.recession_m, **series(0))
            right.axhline(life.allowed_recession_mm, **LIMIT)
            right.annotate(
                "allowed",
                (0.0, life.allowed_recession_mm),
                xytext=(2, -10),
                textcoords="offset points",
                fontsize=8.5,
            )
            right.set(xlabel="time at reference pressure, s", ylabel="recession of the edge, mm")
        else:
            for index, pick in enumerate((0.25, 0.5, 1.0)):
                row = int(np.searchsorted(heating.time_s, pick * heating.time_s[-1]))
                row = min(row, len(heating.time_s) - 1)
                right.plot(
                    100.0 * along,
                    heating.temperature_k[row],
                    label=f"at {heating.time_s[row]:.2g} s",
                    **series(index),
                )
            right.set(xlabel="along the chord, %", ylabel="temperature, K")
            right.legend()
    return svg(figure)


def doubts_picture(life: Life) -> str:
    """What each uncertain input makes of the life, the dominating one on top."""
    with drawing(height_in=1.0 + 0.4 * len(life.doubts)) as (figure, axes):
        axis = axes[0, 0]
        names = []
        for index, doubt in enumerate(reversed(life.doubts)):
            low, high = (min(end, life.horizon_s) for end in (doubt.low_s, doubt.high_s))
            colour = series(0)["color"]
            axis.barh(
                index, high - low, left=low, height=0.5, color=colour, edgecolor=colour, alpha=0.75
            )
            names.append(doubt.name)
        if np.isfinite(life.life_s):
            axis.axvline(life.life_s, **LIMIT)
        axis.set_yticks(range(len(names)), names)
        axis.set_xlim(left=0.0)
        axis.set(xlabel=f"life, s (no further than {life.horizon_s:g} s)")
        axis.grid(visible=False, axis="y")
    return svg(figure)
