"""The part of the failure report about pairs: which failures make one another worse."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from hil.campaigns.failure_campaign import OUTCOMES, Flown, counted
from hil.campaigns.failures import family
from hil.campaigns.plans import Steered
from mixer.ground.inputs.arrays import Array
from mixer.ground.reports.page import Chapter, Picture, Table
from mixer.ground.reports.pictures import drawing, svg
from mixer.ground.vehicle.vehicle import Vehicle

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MOST_SHOWN = 25


def lost_share(flights: Sequence[Flown]) -> float:
    """Share of the flights that were lost, in percent."""
    return 100.0 * sum(each.outcome == "lost" for each in flights) / len(flights)


def lost_by_family(
    vehicle: Vehicle, flown: Sequence[Flown], steered: Steered
) -> tuple[dict[str, float], dict[tuple[str, str], float]]:
    """Percent lost with one failure, by its family, and with two, by theirs in order of names."""
    groups: dict[tuple[str, ...], list[Flown]] = {}
    for each in flown:
        if each.steered == steered:
            names = tuple(sorted(family(fault, vehicle) for fault in each.plan.faults))
            groups.setdefault(names, []).append(each)
    single = {names[0]: lost_share(group) for names, group in groups.items() if len(names) == 1}
    pairs = {(n[0], n[1]): lost_share(group) for n, group in groups.items() if len(n) == 2}
    return single, pairs


def matrix(single: dict[str, float], pairs: dict[tuple[str, str], float]) -> Array:
    """Percent lost, families against families; not-a-number where no such pair can be."""
    place = {name: n for n, name in enumerate(single)}
    table = np.full((len(single), len(single)), np.nan)
    for (one, other), share in pairs.items():
        table[place[one], place[other]] = table[place[other], place[one]] = share
    return table


def picture(single: dict[str, float], pairs: dict[tuple[str, str], float]) -> Figure:
    """The matrix as shades with its numbers; beside each name what it loses alone."""
    table = matrix(single, pairs)
    with drawing(width_in=8.0, height_in=7.6) as (figure, axes):
        panel = axes[0, 0]
        panel.imshow(table, cmap="Blues", vmin=0.0, vmax=100.0)
        for row, column in np.argwhere(~np.isnan(table)):
            share = table[row, column]
            panel.text(
                column,
                row,
                f"{share:.0f}",
                ha="center",
                va="center",
                fontsize=7,
                color="white" if share > 55.0 else "#23282d",
            )
        names = [f"{name} ({share:.0f})" for name, share in single.items()]
        panel.set_yticks(range(len(names)), names, fontsize=8)
        panel.set_xticks(range(len(names)), list(single), fontsize=8, rotation=90)
        panel.grid(visible=False)
        for spine in panel.spines.values():
            spine.set_visible(False)
    return figure


def chapter(vehicle: Vehicle, flown: Sequence[Flown], names: dict[Steered, str]) -> Chapter:
    """Counts of all pairs, the matrix of the flight core, and what is worse than its parts."""
    pairs = [each for each in flown if len(each.plan.faults) == 2]
    totals = []
    for steered, name in names.items():
        counts = counted(pairs, steered)
        totals.append((name, sum(counts.values()), *(counts[each] for each in OUTCOMES)))
    single, together = lost_by_family(vehicle, flown, "flight-core")
    alone = {pair: max(single[pair[0]], single[pair[1]]) for pair in together}
    worse = sorted(
        (pair for pair in together if together[pair] > alone[pair]),
        key=lambda pair: alone[pair] - together[pair],
    )
    rows = [
        (one, other, f"{alone[one, other]:.0f}", f"{together[one, other]:.0f}")
        for one, other in worse[:MOST_SHOWN]
    ]
    return Chapter(
        "Pairs of failures",
        ["The second failure begins a second after the first, unless it was built in."],
        [
            Table(("steered by", "flights", *OUTCOMES), totals, "All pairs"),
            Table(
                ("failure", "and", "worse one alone, % lost", "together, % lost"),
                rows,
                f"Worse together than either alone, flight core: {len(worse)} kinds of pairs, "
                f"the {len(rows)} worst",
            ),
        ],
        [
            Picture(
                svg(picture(single, together)),
                "Flight core: percent of the flights that were lost, for each pair; in brackets "
                "what each failure loses alone. Empty where two failures cannot stand together.",
            )
        ],
    )
