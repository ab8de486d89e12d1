"""What became of the flights with failures: tables, a picture, a page, rows for other programs."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hil.campaigns import failure_pairs
from hil.campaigns.failure_campaign import (
    OUTCOMES,
    Flown,
    JamCount,
    Limits,
    by_family,
    count_jams,
    counted,
)
from hil.campaigns.plans import Steered
from hil.faults.text import fault_text
from hil.flights.cautions import FLYING_CAUTION, LEFT_OUT
from mixer.ground.inputs.csv_files import write_whole
from mixer.ground.reports.page import CAUTIONS, Chapter, Picture, Table, Verdict, render_page
from mixer.ground.reports.pictures import PALETTE, drawing, svg
from mixer.ground.vehicle.vehicle import Vehicle

if TYPE_CHECKING:
    from matplotlib.figure import Figure

NAMES: dict[Steered, str] = {"flight-core": "flight core", "clipped": "clipped pseudo-inverse"}
HEAD = ("failure", "steered by", "flights", *OUTCOMES)
LOOKS = (
    ("kept attitude", PALETTE[2], ""),
    ("lost roll only", PALETTE[4], "//"),
    ("beyond required", PALETTE[0], ".."),
)
LOST_LOOK = ("lost", PALETTE[1], "xx")
CSV_HEAD = (
    "first_fault",
    "second_fault",
    "seed",
    "steered_by",
    "outcome",
    "attitude_error_deg",
    "roll_rate_deg_s",
    "margin_percent",
    "reach_used_percent",
)


def rows(vehicle: Vehicle, flown: Sequence[Flown]) -> list[tuple[object, ...]]:
    """One row per family of failures and way of steering: how many flights came to what."""
    found = []
    for name, flights in by_family(vehicle, flown).items():
        for steered, title in NAMES.items():
            mine = [each for each in flights if each.steered == steered]
            if mine:
                counts = counted(mine, steered)
                found.append((name, title, len(mine), *(counts[each] for each in OUTCOMES)))
    return found


def split(flown: Sequence[Flown]) -> tuple[list[Flown], list[Flown]]:
    """Flights with one failure, and with two."""
    single = [each for each in flown if len(each.plan.faults) == 1]
    return single, [each for each in flown if len(each.plan.faults) == 2]


def healthy(flown: Sequence[Flown]) -> list[Flown]:
    """Flights in which nothing failed: what is bad there no failure brought about."""
    return [each for each in flown if not each.plan.faults]


def healthy_sentence(flown: Sequence[Flown]) -> str:
    """How the flight core's flights went without a failure, where that was not well; else ""."""
    counts = counted(healthy(flown), "flight-core")
    total = sum(counts.values())
    bad = total - counts["kept attitude"]
    if not bad:
        return ""
    return (
        f" With nothing failing {bad} of its {total} flights did not keep attitude or roll either."
    )


def jam_sentence(jams: JamCount) -> str:
    """What the comparison of single jams came to."""
    return (
        f"Of {jams.jams} flights with one vane jammed at a known angle, the exact check says that "
        f"the attitude can be held in {jams.reachable}. The flight core held {jams.kept_by_core} "
        f"of them, the clipped pseudo-inverse {jams.kept_by_rival}. Of all {jams.jams}, the "
        f"flight core lost {jams.lost_by_core}, the clipped pseudo-inverse {jams.lost_by_rival}."
    )


def facts(vehicle: Vehicle, flown: Sequence[Flown]) -> dict[str, Any]:
    """The counts, for other programs."""
    single, pairs = split(flown)
    jams = count_jams(flown)
    return {
        "passes": not jams.broken,
        "flights": len(flown),
        "healthy": {title: counted(healthy(flown), how) for how, title in NAMES.items()},
        "single": {title: counted(single, steered) for steered, title in NAMES.items()},
        "pairs": {title: counted(pairs, steered) for steered, title in NAMES.items()},
        "jams": {
            "flights": jams.jams,
            "reachable": jams.reachable,
            "kept_by_flight_core": jams.kept_by_core,
            "kept_by_clipped": jams.kept_by_rival,
            "lost_by_flight_core": jams.lost_by_core,
            "lost_by_clipped": jams.lost_by_rival,
        },
        "table": [dict(zip(HEAD, row, strict=True)) for row in rows(vehicle, flown)],
    }


def write_csv(path: Path, flown: Sequence[Flown]) -> None:
    """Every flight; a fault's text can be given to `fourvane ascent --fault`."""
    with write_whole(path) as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(CSV_HEAD)
        for each in flown:
            faults = [fault_text(fault) for fault in each.plan.faults]
            writer.writerow(
                [
                    *[*faults, ""][:2],
                    "" if each.plan.seed is None else each.plan.seed,
                    each.steered,
                    each.outcome,
                    f"{each.attitude_error_deg:.4f}",
                    f"{each.roll_rate_deg_s:.4f}",
                    f"{each.margin_percent:.3f}",
                    "" if each.used != each.used else f"{100.0 * each.used:.3f}",
                ]
            )


def bars(vehicle: Vehicle, flown: Sequence[Flown]) -> Figure:
    """Share of the flights that came to each outcome, family by family, both ways of steering."""
    table = rows(vehicle, flown)
    families = list(dict.fromkeys(str(row[0]) for row in table))
    with drawing(1, 2, height_in=1.2 + 0.24 * len(families), sharey=True) as (figure, axes):
        for panel, (steered, title) in zip(axes[0], NAMES.items(), strict=True):
            mine = {str(row[0]): row[2:] for row in table if row[1] == NAMES[steered]}
            left = [0.0] * len(families)
            for index, (name, colour, hatch) in enumerate((*LOOKS, LOST_LOOK)):
                widths = [
                    100.0 * float(str(mine[each][1 + index])) / float(str(mine[each][0]))
                    if each in mine
                    else 0.0
                    for each in families
                ]
                panel.barh(
                    families,
                    widths,
                    left=left,
                    height=0.72,
                    label=name,
                    color=colour,
                    hatch=hatch,
                    edgecolor="white",
                    linewidth=0.4,
                )
                left = [a + b for a, b in zip(left, widths, strict=True)]
            panel.set_title(title)
            panel.set_xlim(0.0, 100.0)
            panel.set_xlabel("share of the flights, %")
            panel.grid(axis="y", visible=False)
        axes[0, 0].invert_yaxis()
        handles, labels = axes[0, 0].get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside lower center", ncols=4)
    return figure


def page(
    vehicle: Vehicle, flown: Sequence[Flown], limits: Limits, watch_jams: bool, csv_file: Path
) -> str:
    """The HTML report."""
    single, pairs = split(flown)
    jams = count_jams(flown)
    chapters = [
        Chapter(
            "Jammed vanes that can be lived with",
            [
                jam_sentence(jams),
                "The check: in the healthy flight of the same dispersion, from the jam to the "
                "tail-off, the opposite of the moment from thrust and air must be within reach "
                "of the three vanes that move and the one that does not. What the jam does before "
                "it is noticed comes on top; whether there is room for that, the flight shows.",
            ],
        ),
        Chapter(
            "Every single failure",
            [
                "The flight core gives roll up where that keeps pitch and yaw; so it may lose roll "
                "in flights in which the clipped pseudo-inverse keeps it."
            ],
            tables=[Table(HEAD, rows(vehicle, [*healthy(flown), *single]))],
            pictures=[
                Picture(
                    svg(bars(vehicle, [*healthy(flown), *single])),
                    "Single failures, same seeds; first the same flights with nothing failing.",
                )
            ],
        ),
    ]
    if pairs:
        chapters.append(failure_pairs.chapter(vehicle, flown, NAMES))
    chapters.append(Chapter("What these flights do not tell", LEFT_OUT))
    return render_page(
        f"When something fails: {vehicle.vehicle.name}",
        "Simulated flights in which one thing fails, or two. Both ways of steering fly the same "
        "seeds with the same failures.",
        chapters,
        facts=[
            ("Vehicle file", vehicle.path),
            ("Flights", len(flown)),
            ("Kept attitude, beyond required", kept_words(limits)),
            ("Lost", f"tilted more than {limits.attitude_deg:g} deg from the vertical"),
            ("Lost roll only", f"upright, but rolled faster than {limits.roll_deg_s:g} deg/s"),
            ("Jams noticed", "by angle sensors on the vanes" if watch_jams else "never"),
            ("Every flight", csv_file.name),
        ],
        verdict=verdict(flown),
        cautions=(FLYING_CAUTION, *CAUTIONS),
    )


def kept_words(limits: Limits) -> str:
    """What "kept attitude" means in these flights."""
    if limits.required_deg is None:
        return (
            f"kept: not lost, within {limits.attitude_deg:g} deg of the vertical; the vehicle file "
            "requires no attitude_error_deg"
        )
    return (
        f"kept: within the required {limits.required_deg:g} deg of the vertical; beyond: not lost, "
        f"but up to {limits.attitude_deg:g} deg"
    )


def acceptance(flown: Sequence[Flown]) -> Verdict:
    """The verdict as the exit status has it: a pass where every jam that can be lived with was,
    with the word that says that flights were lost all the same.
    """
    found = verdict(flown)
    return Verdict("fail" if found.outcome == "fail" else "pass", found.reason, found.word)


def verdict(flown: Sequence[Flown]) -> Verdict:
    """Whether every jam that can be lived with was; no pass while flights of the core were lost."""
    jams = count_jams(flown)
    core = counted([each for each in flown if each.plan.faults], "flight-core")
    total = sum(core.values())
    came_to = (
        f"Of the flight core's {total} flights with a failure {core['kept attitude']} kept "
        f"attitude, {core['lost roll only']} lost roll only, {core['beyond required']} tilted "
        f"beyond what is required, {core['lost']} were lost.{healthy_sentence(flown)}"
    )
    if not jams.broken:
        held = "Every jam in which the attitude can be held was held."
        if core["lost"] or core["beyond required"] or core["lost roll only"]:
            return Verdict("open", f"{held} {came_to}", "jams held")
        return Verdict("pass", f"{held} {came_to}")
    first = jams.broken[0]
    return Verdict(
        "fail",
        f"{len(jams.broken)} jams that can be lived with were lost, such as "
        f"{first.plan.faults[0]} with seed {first.plan.seed}. {came_to}",
    )
