"""Drawings side by side: which do I mill? One column a drawing, and a picture of the trade."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from mixer.ground.reports.page import Chapter, Picture, Table, render_page
from mixer.ground.reports.pictures import drawing, series, svg
from mixer.ground.vane_report.examined import DrawnVane
from mixer.ground.vane_report.melt_report import melt_cell
from mixer.ground.vane_report.verdict import verdict

HEAD = "per vane, new, at reference pressure"


def comparison_rows(drawings: Sequence[DrawnVane]) -> list[list[str]]:
    """Name of a figure, and its value for each drawing."""
    return [
        [name, *(_told(name, found) for found in drawings)]
        for name in (
            "verdict", "material", "side force, N", "thrust lost at rest, %",
            "thrust lost, all deflected, %", "mass of the blade, g", "largest hinge moment, N·m",
            "servo torque margin", "bending, margin", "chance of breaking", "life, s",
            "life at worst, s", "ends by",
            "melted from the leading edge, mm", "force left at the end, %", "mean at the end, K",
        )
    ]  # fmt: skip


def _told(name: str, found: DrawnVane) -> str:
    curve, life, thrust_n = found.curve, found.life, found.vehicle.engine.thrust_n
    rated_nm = found.geometry.servo_torque_nm
    if found.solids and (name.startswith(("life", "melted")) or "end" in name):
        return "solids: not told"
    told = verdict(found)
    return {
        "verdict": lambda: told.word or told.outcome,
        "material": lambda: found.geometry.material,
        "side force, N": lambda: f"{np.max(np.abs(curve.force_n)):.4g}",
        "thrust lost at rest, %": lambda: f"{400.0 * curve.drag_at_rest_n / thrust_n:.1f}",
        "thrust lost, all deflected, %": lambda: f"{400.0 * curve.drag_n.max() / thrust_n:.1f}",
        "mass of the blade, g": lambda: f"{found.mass_g:.3g}",
        "largest hinge moment, N·m": lambda: "{:.2g} to {:.2g}".format(*found.hinge.peak_band_nm),
        "servo torque margin": lambda: (
            "–"
            if rated_nm is None
            else "{:.2f} to {:.2f}".format(*found.hinge.margin_band(rated_nm))
        ),
        "bending, margin": lambda: f"{min(b.margin for b in found.strength):.2f}",
        "chance of breaking": lambda: f"{max(b.worst_chance for b in found.strength):.1g}",
        "life, s": lambda: _seconds(life.life_s, life.horizon_s),
        "life at worst, s": lambda: _seconds(life.low_s, life.horizon_s),
        "ends by": lambda: life.ends_by.removeprefix("the ") if np.isfinite(life.life_s) else "–",
        "melted from the leading edge, mm": lambda: melt_cell(found),
        "force left at the end, %": lambda: (
            "none" if found.effectiveness is None else f"{100.0 * found.effectiveness:.1f}"
        ),
        "mean at the end, K": lambda: (
            f"{life.mean_at_k(float(found.time_s[-1])):.0f}"
            + ", as it begins to melt" * (life.local_s < found.vehicle.engine.burn_time_s)
        ),
    }[name]()


def _seconds(value_s: float, horizon_s: float) -> str:
    return f"{value_s:.3g}" if np.isfinite(value_s) else f"over {horizon_s:g}"


def trade_picture(names: Sequence[str], drawings: Sequence[DrawnVane]) -> str:
    """Bars: side force, thrust lost, mass, and life with its band against the burn."""
    where = np.arange(len(drawings))
    with drawing(1, 4, height_in=1.6 + 0.45 * len(drawings), sharey=True) as (figure, axes):
        lives = [
            (0.0, 0.0, 0.0)
            if d.solids
            else tuple(
                min(s, d.life.horizon_s) for s in (d.life.low_s, d.life.life_s, d.life.high_s)
            )
            for d in drawings
        ]
        columns: list[tuple[str, list[float]]] = [
            ("side force, N", [float(np.max(np.abs(d.curve.force_n))) for d in drawings]),
            (
                "thrust lost at rest, %",
                [400.0 * d.curve.drag_at_rest_n / d.vehicle.engine.thrust_n for d in drawings],
            ),
            ("mass of the blade, g", [d.mass_g for d in drawings]),
            ("life, s", [life[1] for life in lives]),
        ]
        for axis, (label, values) in zip(axes[0], columns, strict=True):
            axis.barh(where, values, height=0.55, color=series(0)["color"], alpha=0.75)
            axis.set(xlabel=label)
            axis.grid(visible=False, axis="y")
        last = axes[0, -1]
        for row, (low, _, high) in enumerate(lives):
            last.plot([low, high], [row, row], color="#23282d", linestyle="-", marker="|")
        for row, found in enumerate(drawings):
            burn_s = found.vehicle.engine.burn_time_s
            last.plot([burn_s, burn_s], [row - 0.4, row + 0.4], **series(1))
        last.set_title("band; dashed: the burn", fontsize=8.5)
        axes[0, 0].set_yticks(where, names)
        axes[0, 0].invert_yaxis()
    return svg(figure)


def comparison_page(
    names: Sequence[str], drawings: Sequence[DrawnVane], rows: list[list[str]]
) -> str:
    """The comparison as HTML."""
    notes = [
        f"{name}: {text[0].upper()}{text[1:].removesuffix('.')}."
        for name, found in zip(names, drawings, strict=True)
        for text in found.warnings
    ]
    return render_page(
        "Vanes compared",
        "Drawings side by side, before one is milled. Each alone: fourvane vanes FILE --out PAGE.",
        [
            Chapter(
                "Side by side",
                ["Estimates of the same model: differences are surer than the numbers."],
                [Table(("", *names), rows, HEAD)],
                [Picture(trade_picture(names, drawings), "Longer is better but for thrust lost"
                         " and mass.")],
            ),
            *([Chapter("To be looked at", notes)] if notes else []),
        ],
    )  # fmt: skip


def comparison_result(
    rows: list[list[str]], names: Sequence[str], results: Sequence[dict[str, Any]]
) -> dict[str, Any]:
    """For `--json`: each drawing's numbers under its name, and the table."""
    return {
        "drawings": dict(zip(names, results, strict=True)),
        "table": [dict(zip(("figure", *names), row, strict=True)) for row in rows],
    }
