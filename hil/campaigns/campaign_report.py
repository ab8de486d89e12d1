"""The report of a campaign: how the figures are spread, and which flights were the worst."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from hil.campaigns.campaign import QUANTILES, Spread
from hil.campaigns.what_drives import MOST, all_drivers, picture
from hil.flights.cautions import FLYING_CAUTION, LEFT_OUT, NOTHING_REQUIRED
from mixer.ground.reports.page import CAUTIONS, Chapter, Picture, Table, Verdict, render_page
from mixer.ground.reports.pictures import LIMIT, PALETTE, drawing, series, svg
from mixer.ground.vehicle.vehicle import Vehicle

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

BINS = 40


def facts(found: Sequence[Spread]) -> dict[str, Any]:
    """The figures, for other programs."""
    return {
        "passes": None
        if all(each.limit is None for each in found)
        else not any(each.failed for each in found),
        **{
            each.column: {
                "median": each.quantiles[0],
                "bad_10_percent": each.quantiles[1],
                "bad_1_percent": each.quantiles[2],
                "worst": float(each.values[each.worst[0]]),
                "worst_seed": int(each.seeds[each.worst[0]]),
                "required": each.limit,
                "failed": each.failed,
            }
            for each in found
        },
    }


def verdict(found: Sequence[Spread], flights: int) -> Verdict:
    """Whether every flight met every requirement."""
    failed = [each for each in found if each.failed]
    if failed:
        parts = (
            f"{each.failed} of {flights} flights break the required {each.name}" for each in failed
        )
        return Verdict("fail", "; ".join(parts) + ".")
    if all(each.limit is None for each in found):
        return Verdict("open", NOTHING_REQUIRED, "not judged")
    return Verdict("pass", f"All {flights} flights meet what is required.")


def distributions(found: Sequence[Spread]) -> Figure:
    """How many flights had how much of each figure."""
    with drawing(1, len(found), height_in=2.7, sharey=True) as (figure, axes):
        for panel, each in zip(axes[0], found, strict=True):
            judged = each.values[~np.isnan(each.values)]
            panel.hist(judged, bins=BINS, color=PALETTE[0], edgecolor="white", linewidth=0.3)
            if np.isfinite(each.quantiles[-1]):
                panel.axvline(each.quantiles[-1], label="1 % are worse", **series(1))
            finish(panel, each)
        axes[0, 0].set_ylabel("flights")
        figure.legend(*legend_of(axes), loc="outside upper right", ncols=2)
    return figure


def exceedance(found: Sequence[Spread]) -> Figure:
    """What share of the flights was as bad as each value, or worse."""
    with drawing(1, len(found), height_in=2.7, sharey=True) as (figure, axes):
        for panel, each in zip(axes[0], found, strict=True):
            judged = np.sort(each.values[~np.isnan(each.values)])
            share = 100.0 * np.arange(1, len(judged) + 1) / max(len(judged), 1)
            bad = share[::-1] if each.much_is_bad else share
            panel.plot(judged, bad, label="as bad or worse", **series(0))
            panel.set_yscale("log")
            panel.set_ylim(50.0 / max(len(judged), 1), 100.0)
            finish(panel, each)
        axes[0, 0].set_ylabel("flights as bad or worse, %")
        figure.legend(*legend_of(axes), loc="outside upper right", ncols=2)
    return figure


def finish(panel: Axes, each: Spread) -> None:
    """Name the figure, and draw what is required unless it is far off the picture."""
    name = f"{each.name}, {each.unit}"
    if each.limit is not None:
        low, high = panel.get_xlim()
        if low - (high - low) < each.limit < high + (high - low):
            panel.axvline(each.limit, label="required", **LIMIT)
        else:
            name += f"\n(required: {each.limit:g}, off the picture)"
    panel.set_xlabel(name)


def legend_of(axes: np.ndarray) -> tuple[list[Any], list[str]]:
    """Each label once, from all panels."""
    entries: dict[str, Any] = {}
    for panel in axes.flat:
        handles, labels = panel.get_legend_handles_labels()
        entries |= dict(zip(labels, handles, strict=True))
    return list(entries.values()), list(entries)


def driving(vehicle: Vehicle, found: Sequence[Spread]) -> list[Chapter]:
    """What drives each figure, ranked; nothing of a handful of flights."""
    by_figure = all_drivers(vehicle, found)
    if not any(by_figure.values()):
        return []
    text = (
        "How each input goes with each figure over the flights (Spearman's rank correlation): 1 "
        "where the figure always grows with it, -1 where it always falls, near 0 where it says "
        f"nothing. Of the first {MOST} flights at most. What is not strong here may still matter: "
        "in one flight, or together with something else."
    )
    caption = "The inputs that go with each figure, the strongest on top."
    return [
        Chapter("What drives it", [text], (), [Picture(svg(picture(found, by_figure)), caption)])
    ]


def page(vehicle: Vehicle, found: Sequence[Spread], first_seed: int, folder: object) -> str:
    """The HTML report."""
    flights = len(found[0].values)
    head = ("", "median", *(f"{100 * (1 - q):.0f} % are worse than" for q in QUANTILES[1:]))
    figures = [
        (
            f"{each.name}, {each.unit}",
            *("too few flights" if np.isnan(q) else f"{q:.2f}" for q in each.quantiles),
            f"{each.values[each.worst[0]]:.2f}",
            "not judged" if each.limit is None else f"{each.limit:g}",
            each.failed,
        )
        for each in found
    ]
    worst = [
        Table(
            ("seed", each.unit, "fly it again"),
            [
                (
                    int(each.seeds[row]),
                    f"{each.values[row]:.2f}",
                    f"fourvane ascent {vehicle.path.name} --seed {each.seeds[row]}",
                )
                for row in each.worst
            ],
            f"The worst by {each.name}",
        )
        for each in found
    ]
    return render_page(
        f"Campaign: {vehicle.vehicle.name}",
        f"{flights} simulated flights, each with its own draw of what may differ from the vehicle "
        "file: thrust, mass, wind, alignment, air, vanes, servos, sensor.",
        [
            Chapter(
                "How the flights are spread",
                tables=[Table((*head, "worst", "required", "flights that fail"), figures)],
                pictures=[
                    Picture(svg(distributions(found)), "Flights by figure."),
                    Picture(
                        svg(exceedance(found)),
                        "Share of the flights as bad as a value or worse. The last few say little "
                        "about how often such a thing comes.",
                    ),
                ],
            ),
            *driving(vehicle, found),
            Chapter("The worst flights", tables=worst),
            Chapter("What these flights do not tell", LEFT_OUT),
        ],
        facts=[
            ("Vehicle file", vehicle.path),
            ("Flights", f"{flights}, seeds {first_seed} to {first_seed + flights - 1}"),
            ("Every flight", folder),
        ],
        verdict=verdict(found, flights),
        cautions=(FLYING_CAUTION, *CAUTIONS),
    )
