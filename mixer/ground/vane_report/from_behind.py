"""The module seen from behind, to scale: nozzle, jet, numbered vanes, the positive sense."""

from typing import Any

import numpy as np

from mixer.ground.drawn_vane.geometry import VaneGeometry, jet_for
from mixer.ground.inputs.arrays import Array
from mixer.ground.reports.page import Chapter, Picture
from mixer.ground.reports.pictures import LIMIT, PALETTE, drawing, svg
from mixer.ground.vehicle.vehicle import Vehicle

INK = "#23282d"
CAPTION = (
    "To scale, looking forward along the thrust: at neutral, and each vane turned to its largest "
    "positive deflection. Positive turns a vane clockwise as seen from outside along its shaft; "
    "all four positive is positive roll."
)


def seen_from_behind(y: Array, z: Array) -> tuple[Array, Array]:
    """Body y (starboard) and z (down) as right and up in a picture looking forward."""
    return y, -z


def vane_outline(
    geometry: VaneGeometry, exit_radius_mm: float, clocking_deg: float, deflection_deg: float
) -> tuple[Array, Array]:
    """Body y, z in mm of a vane's silhouette from behind: a band from tip to root.

    Turned by a deflection the band is as wide as the chord throws: leading edge to one side,
    trailing edge to the other, at the tip and at the root. Positive is clockwise as seen from
    outside along the shaft: the leading edge goes towards greater clocking.
    """
    angle = np.radians(deflection_deg)
    tip = exit_radius_mm - geometry.immersed_span_mm
    radius = np.array([tip, tip + geometry.span_mm])
    chord = np.array([geometry.tip_chord_mm, geometry.root_chord_mm])
    half = 0.5 * geometry.thickness_mm / geometry.root_chord_mm * chord * np.cos(angle)
    leading = geometry.hinge_line_mm * np.sin(angle)
    trailing = (chord - geometry.hinge_line_mm) * np.sin(angle)
    low = np.minimum(np.minimum(leading, -trailing), -half)
    high = np.maximum(np.maximum(leading, -trailing), half)
    along = np.concatenate([radius, radius[::-1]])
    side = np.concatenate([low, high[::-1]])
    phi = np.radians(clocking_deg)
    return (
        along * np.cos(phi) - side * np.sin(phi),
        along * np.sin(phi) + side * np.cos(phi),
    )


def view_from_behind(vehicle: Vehicle) -> str:
    """Two views as one SVG: neutral, and every vane at its largest positive deflection.

    Needs a drawn vehicle; ValueError otherwise.
    """
    from matplotlib.patches import Circle, Polygon

    geometry = vehicle.vanes.geometry
    if geometry is None:
        raise ValueError("the view from behind needs [vanes.geometry]")
    jet = jet_for(geometry, vehicle.engine)
    exit_mm = 1e3 * jet.exit_radius_m
    root_mm = exit_mm - geometry.immersed_span_mm + geometry.span_mm
    reach = 1.45 * max(root_mm, exit_mm)
    with drawing(1, 2, height_in=4.3) as (figure, axes):
        for axis, full in zip(axes[0], (False, True), strict=True):
            axis.add_patch(Circle((0, 0), exit_mm, facecolor="#fbeee0", edgecolor=INK))
            deflections = [float(t[1]) if full else 0.0 for t in vehicle.vanes.travel_deg]
            for number, (phi, deflection) in enumerate(
                zip(vehicle.layout.clocking_deg, deflections, strict=True), 1
            ):
                y, z = vane_outline(geometry, exit_mm, float(phi), deflection)
                shape = np.column_stack(seen_from_behind(y, z))
                axis.add_patch(Polygon(shape, facecolor=PALETTE[0], edgecolor=INK, alpha=0.55))
                _number(axis, number, float(phi), 1.14 * root_mm)
            gap = exit_mm - geometry.immersed_span_mm
            axis.add_patch(Circle((0, 0), gap, fill=False, **LIMIT))
            title = "neutral" if not full else "all four fully positive: the module rolls positive"
            axis.set_title(title)
            axis.set_aspect("equal")
            axis.set(xlim=(-reach, reach), ylim=(-reach, reach), xlabel="starboard, mm")
            axis.grid(visible=False)
        axes[0, 0].set_ylabel("up (against body z), mm")
        _gap(axes[0, 0], exit_mm - geometry.immersed_span_mm, reach)
        axes[0, 0].annotate(
            f"nozzle exit {2.0 * exit_mm:.1f} mm", (0.0, -exit_mm), xytext=(0, -11),
            textcoords="offset points", ha="center", fontsize=8,
        )  # fmt: skip
        _roll_arrow(axes[0, 1], 0.82 * exit_mm)
    return svg(figure)


def behind_chapter(vehicle: Vehicle) -> list[Chapter]:
    """The view as a chapter of a page; none where the vehicle has no drawing."""
    if vehicle.vanes.geometry is None:
        return []
    return [Chapter("Seen from behind", pictures=[Picture(view_from_behind(vehicle), CAPTION)])]


def _number(axis: Any, number: int, clocking_deg: float, radius_mm: float) -> None:
    phi = np.radians(clocking_deg)
    x, y = seen_from_behind(np.array(radius_mm * np.cos(phi)), np.array(radius_mm * np.sin(phi)))
    axis.annotate(
        str(number), (float(x), float(y)), ha="center", va="center", fontweight="bold",
        bbox={"boxstyle": "circle,pad=0.25", "facecolor": "white", "edgecolor": INK},
    )  # fmt: skip


def _gap(axis: Any, gap_mm: float, reach: float) -> None:
    axis.annotate(
        f"{gap_mm:.1f} mm from\ntip to axis", (0.0, gap_mm), xytext=(0.0, 0.93 * reach),
        ha="center", va="top", fontsize=8,
        arrowprops={"arrowstyle": "-", "color": INK, "linewidth": 0.7},
    )  # fmt: skip


def _roll_arrow(axis: Any, radius_mm: float) -> None:
    """Positive roll: about +x, from starboard towards down, clockwise seen from behind."""
    from matplotlib.patches import Arc

    axis.add_patch(
        Arc((0, 0), 2 * radius_mm, 2 * radius_mm, theta1=65.0, theta2=115.0, color=PALETTE[1],
            linewidth=1.8)
    )  # fmt: skip
    end = np.radians([66.0, 62.0])
    axis.annotate(
        "",
        (radius_mm * np.cos(end[1]), radius_mm * np.sin(end[1])),
        xytext=(radius_mm * np.cos(end[0]), radius_mm * np.sin(end[0])),
        arrowprops={"arrowstyle": "-|>", "color": PALETTE[1], "linewidth": 1.8},
    )
    axis.annotate(
        "positive roll", (0.0, radius_mm), xytext=(0, 4), textcoords="offset points",
        ha="center", fontsize=8, color=PALETTE[1],
    )  # fmt: skip
