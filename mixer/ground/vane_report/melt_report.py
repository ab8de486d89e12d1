"""How far the melt gets by the burn's end: in a sentence, in a picture, for scripts."""

from typing import Any

import numpy as np

from mixer.ground.reports.page import Chapter, Picture
from mixer.ground.reports.pictures import LIMIT, SHADE, drawing, series, svg
from mixer.ground.vane_life.melting import MeltBand
from mixer.ground.vane_report.examined import DrawnVane

MODEL = (
    "By enthalpy along the chord of the middle section, the jet sweeping melt off as it forms. At"
    " best the film is at its lower end and the melt stays; at worst the film is at its upper end."
)

SINK_AT_ITS_BEST = (
    "The heat sink is taken at its best, with perfect contact from vane to shaft to hub: of a real"
    " one, clamped and with a gap, the vane has less."
)


def melt_sentence(found: DrawnVane) -> str | None:
    """The melt in words; None for what does not melt."""
    melt, burn_s = found.melt, found.vehicle.engine.burn_time_s
    if melt is None:
        return None
    low, high = melt.depth_band_mm
    if melt.middle.through:
        said = (
            f"The melt is through {melt.middle.time_s[-1]:.3g} s into the burn of {burn_s:g} s: the"
            f" front {melt.deepest_mm:.3g} mm of the vane are gone, and with them its force."
        )
    elif melt.middle.share[-1] > 0.0:
        said = (
            f"By the burn's end at {burn_s:g} s the melt has come {melt.depth_mm:.2g} mm from the"
            f" leading edge ({low:.2g} to {_deep(melt, high)} mm) and {melt.tail_mm:.2g} mm from"
            f" the trailing one; what is left is at {melt.middle.mean_k[-1]:.0f} K in the mean."
        )
    elif high > 0.0:
        said = (
            f"Nothing melts by the burn's end at {burn_s:g} s; at worst {_deep(melt, high)} mm of"
            " the leading edge do."
        )
    else:
        said = f"Nothing melts by the burn's end at {burn_s:g} s, at worst neither."
    if melt.middle.ends_k.size:
        shaft_k, hub_k = melt.middle.ends_k[-1]
        said += f" Then the shaft is at {shaft_k:.0f} K" + (
            f", the hub at {hub_k:.0f} K, before they soak." if _has_hub(found) else "."
        )
        said += f" {SINK_AT_ITS_BEST}"
    return said


def _deep(melt: MeltBand, depth_mm: float) -> str:
    return "over " * (depth_mm >= melt.deepest_mm) + f"{depth_mm:.2g}"


def _has_hub(found: DrawnVane) -> bool:
    sink = found.geometry.heat_sink
    return sink is not None and sink.hub_mass_g > 0.0


def melt_cell(found: DrawnVane) -> str:
    """The melt from the leading edge as a cell of the table of drawings."""
    melt = found.melt
    if melt is None:
        return "does not melt"
    low, high = melt.depth_band_mm
    if low >= melt.deepest_mm:
        return f"through, over {low:.2g}"
    return f"{_deep(melt, melt.depth_mm)} ({low:.2g} to {_deep(melt, high)})"


def melt_result(found: DrawnVane) -> dict[str, Any]:
    """For `--json`; all null where nothing can melt, shaft and hub where there is no sink."""
    melt = found.melt
    keys = (
        "melt_begins_s", "melted_through", "melt_from_leading_edge_mm",
        "melt_from_leading_edge_band_mm", "melt_from_trailing_edge_mm", "molten_share",
        "shaft_at_end_k", "hub_at_end_k",
    )  # fmt: skip
    if melt is None:
        return dict.fromkeys(keys)
    middle = melt.middle
    shaft_k, hub_k = middle.ends_k[-1] if middle.ends_k.size else (None, None)
    told = (
        middle.begins_s, middle.through, melt.depth_mm, melt.depth_band_mm, melt.tail_mm,
        float(middle.share[-1]), shaft_k, hub_k if _has_hub(found) else None,
    )  # fmt: skip
    return dict(zip(keys, told, strict=True))


def melt_chapter(found: DrawnVane) -> list[Chapter]:
    """The melt's part of the page; none where nothing melts or solids leave it worthless."""
    sentence = melt_sentence(found)
    if sentence is None or found.melt is None or found.solids:
        return []
    pictures = []
    if found.melt.worst.share[-1] > 0.0:
        pictures = [Picture(melt_picture(found.melt), "How deep the melt is from the leading edge;"
                            " shaded, from best to worst; the dashed line is as far as a vane can"
                            " be described.")]  # fmt: skip
    return [Chapter("How far does it melt", [sentence, MODEL], pictures=pictures)]


def melt_picture(melt: MeltBand) -> str:
    """Depth of the melt from the leading edge over the burn, with its band."""
    time_s = np.linspace(0.0, max(float(m.time_s[-1]) for m in (melt.best, melt.worst)), 200)
    low, middle, high = (
        np.minimum(1e3 * np.interp(time_s, m.time_s, m.nose_m), melt.deepest_mm)
        for m in (melt.best, melt.middle, melt.worst)
    )
    for depth, of in ((middle, melt.middle), (high, melt.worst)):
        if of.through:  # no further followed: all of it is gone from there on
            depth[time_s >= of.time_s[-1]] = melt.deepest_mm
    with drawing(height_in=2.8) as (figure, axes):
        axis = axes[0, 0]
        axis.fill_between(time_s, low, high, **SHADE, label="best to worst")
        axis.plot(time_s, middle, label="estimate", **series(0))
        if high.max() > 0.6 * melt.deepest_mm:
            axis.axhline(melt.deepest_mm, **LIMIT)
            axis.annotate(
                "no vane beyond",
                (0.0, melt.deepest_mm),
                xytext=(2, 3),
                textcoords="offset points",
                fontsize=8.5,
            )
        axis.set(xlabel="time at reference pressure, s", ylabel="melt, mm")
        axis.set_ylim(0.0, max(1.35 * float(high.max()), 1.0))  # room for the legend
        axis.legend(loc="upper right", ncols=2)
    return svg(figure)
