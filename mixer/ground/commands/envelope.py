"""`fourvane envelope`: the moments within reach over the burn, and whether they are enough."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click
import numpy as np
from rich.table import Table as Shown

from mixer.ground.authority import pictures as draw
from mixer.ground.authority.band import reachable_band, whose_vanes
from mixer.ground.authority.instant import Instant, instant
from mixer.ground.authority.reach import KEPT_BACK
from mixer.ground.authority.required import AXES, required_nm
from mixer.ground.authority.verdict import Judged, judge_reach, reach_words
from mixer.ground.command_line.fourvane import FAILED, emit, result_option
from mixer.ground.command_line.next_step import next_step
from mixer.ground.command_line.path_options import RESULT, SOURCE
from mixer.ground.evidence.evidence import evidence_of
from mixer.ground.evidence.on_page import write_page
from mixer.ground.inputs.csv_files import InputError
from mixer.ground.reports.console import output, progress
from mixer.ground.reports.page import Chapter, Picture, Table, Verdict, render_page
from mixer.ground.reports.pictures import png, svg
from mixer.ground.vane_report.from_behind import behind_chapter
from mixer.ground.vehicle.vehicle import Vehicle, load_vehicle

MOST_MAPS = 3
HEAD = (
    "burn time, s",
    "pitch, yaw 0",
    "yaw, pitch 0",
    "pitch and yaw all round",
    "roll, pitch and yaw 0",
    "roll anywhere",
    "roll both ways on the edge",
)
NUMBERS = (
    "Moments in N·m. All round: within reach in every direction of pitch and yaw. On the edge: "
    "what roll is left both ways in the worst corner of pitch and yaw."
)


BAND_HEAD = ("burn time, s", "moment", "nominal", "two standard errors", "worst case")
BAND_NUMBERS = (
    "Within reach both ways, each by itself, N·m, with the errors of [uncertainty]. Worst case: "
    "every number off by two standard errors the wrong way at once."
)


NOT_JUDGED = Verdict("open", "nothing is required in [requirements]", "not judged")


@click.command()
@click.argument("vehicle_file", metavar="VEHICLE", type=SOURCE)
@click.option(
    "--at", "times_s", multiple=True, metavar="SECONDS", type=click.FloatRange(0, 600),
    help="Burn time to look at. Can be repeated. Left out: start, middle and end of the burn.",
)  # fmt: skip
@click.option(
    "--out", metavar="FILE", type=RESULT, default=Path("envelope.html"),
    show_default=True, help="Where the report (.html) or one picture (.png) goes.",
)  # fmt: skip
@result_option
def envelope(vehicle_file: Path, times_s: tuple[float, ...], out: Path, as_json: bool) -> None:
    """Tell what pitch, yaw and roll moments the vanes reach, at chosen burn times.

    Exact geometry from the vehicle file, at the reference pressure, with the wear and the lever arm
    of that time. Where the file states [requirements] (pitch_nm, yaw_nm, roll_nm), each must be
    within reach by itself, both ways, over the whole burn; with together = true all at once too,
    and within rise_time_ms where that is stated: exit status 1 where it is not. With
    [uncertainty] (standard errors, as `fourvane identify` writes them) there is a band about what
    is within reach, and the requirements must be met in the worst case.

    CAUTION: this is authority on paper. A static test shows what the vanes give.

    Example: fourvane envelope vehicle.toml --at 0 --at 20 --out envelope.html
    """
    if out.suffix.lower() not in (".html", ".png"):
        raise InputError(f"{out}: must end in .html for a report or .png for one picture")
    vehicle = load_vehicle(vehicle_file)
    end_s = vehicle.engine.burn_time_s
    for time_s in times_s:
        if time_s > end_s:
            raise InputError(f"--at {time_s:g}: must be at most the burn time, {end_s:g} s")
    times = sorted(set(times_s)) or [0.0, end_s / 2, end_s]
    with progress("Reach", None):
        instants = [instant(vehicle, time_s) for time_s in times]
        judged = judge_reach(vehicle)
    evidence = evidence_of("envelope", vehicle, verdict(vehicle, judged) or NOT_JUDGED)
    if out.suffix.lower() == ".png":
        png(draw.overview(vehicle, times, judged.unmet), out)
    else:
        write_page(out, lambda: page(vehicle, instants, judged), evidence)
    required = required_nm(vehicle.requirements)
    result: dict[str, Any] = {
        "vehicle": vehicle.vehicle.name,
        "instants": [vars(one) for one in instants],
        "required_nm": dict(zip(AXES, required, strict=True)),
        "requirements_met": judged.met,
        "unmet": [vars(one) for one in judged.nominal],
        "unmet_worst_case": [vars(one) for one in judged.unmet],
        "unmet_cases": [{"says": str(one), **vars(one)} for one in judged.cases],
        "band": vars(reachable_band(vehicle, np.array(times))),
        "band_for_new_vanes": None
        if vehicle.uncertainty is None
        else vehicle.uncertainty.knows_scatter,
        "out": out,
    }
    following = next_step(vehicle, vehicle_file, "envelope", judged.met is not False)
    emit(
        result,
        as_json,
        lambda: show(vehicle, instants, judged, out),
        following,
        evidence.plain,
    )
    if judged.met is False:
        raise SystemExit(FAILED)


def rows(instants: Sequence[Instant]) -> list[tuple[str, ...]]:
    """A table row for each instant."""
    return [
        (
            f"{one.time_s:g}",
            span(one.pitch_nm),
            span(one.yaw_nm),
            f"{one.any_direction_nm:.4g}",
            span(one.roll_at_centre_nm),
            span(one.roll_anywhere_nm),
            f"{one.roll_on_the_edge_nm:.2g}",
        )
        for one in instants
    ]


def span(limits_nm: tuple[float, float]) -> str:
    """A range that does not break over lines; ± where both ways are the same."""
    low, high = (f"{limit:.4g}" for limit in limits_nm)
    if low == f"-{high}":
        return f"±{high}"
    return f"{low} to {high}".replace("-", "−").replace(" ", "\N{NO-BREAK SPACE}")


def verdict(vehicle: Vehicle, judged: Judged) -> Verdict | None:
    """Whether the requirements are met over the burn; None where there are none."""
    if judged.met is None:
        return None
    return Verdict("pass" if judged.met else "fail", reach_words(vehicle, judged))


def page(vehicle: Vehicle, instants: Sequence[Instant], judged: Judged) -> str:
    """The HTML report."""
    times_s = [one.time_s for one in instants]
    mapped = times_s if len(times_s) <= MOST_MAPS else [times_s[0], times_s[-1]]
    return render_page(
        f"Moments within reach: {vehicle.vehicle.name}",
        "Exact geometry of what four vanes give within their travel, at the reference chamber "
        "pressure, with the wear and lever arm of each time.",
        [
            Chapter(
                "Pitch, yaw and roll",
                [
                    "Thick lines: where the steering goes. It keeps the last "
                    f"1/{1 / KEPT_BACK:g} of pitch and yaw back, so that roll does not jump on the "
                    "edge; thin lines: the whole set. Roll never takes anything from pitch or yaw: "
                    "it gets what is left."
                ],
                tables=[Table(HEAD, rows(instants), NUMBERS)],
                pictures=[
                    Picture(
                        svg(draw.reach_picture(vehicle, times_s)),
                        "Left: pitch and yaw. Right: roll against pitch while yaw is 0.",
                    ),
                    Picture(
                        svg(draw.roll_map(vehicle, mapped)),
                        "How much roll is left both ways while pitch and yaw are held; dotted: "
                        "the edge the steering goes to.",
                    ),
                ],
            ),
            *behind_chapter(vehicle),
            Chapter(
                "Over the burn",
                tables=band_tables(vehicle, times_s),
                pictures=[
                    Picture(
                        svg(draw.over_burn(vehicle, judged.unmet)),
                        "Each moment by itself, the others 0. Wear lowers it; a longer lever arm "
                        "raises pitch and yaw.",
                    )
                ],
            ),
            Chapter(
                "What this does not tell",
                [
                    "These are nominal figures: no uncertainty of the force curve, the wear or "
                    "the pressure is in them."
                    if vehicle.uncertainty is None
                    else f"{whose_vanes(vehicle.uncertainty)} It knows what [uncertainty] states "
                    "and nothing else; the pressure "
                    "is taken as exact. It can lie below the nominal: within reach both ways is "
                    "the weaker way, and vanes that are not quite alike make one way weaker.",
                    "Slew is in none of the figures above: how soon a moment is there is asked for "
                    "by rise_time_ms in [requirements], all moments at once by together = true. "
                    "With a jammed vane much less is within reach.",
                ],
            ),
        ],
        facts=[
            ("Vehicle file", vehicle.path),
            ("Reference pressure", f"{vehicle.engine.chamber_pressure_bar:g} bar"),
            ("Burn time", f"{vehicle.engine.burn_time_s:g} s"),
        ],
        verdict=verdict(vehicle, judged),
    )


def band_rows(vehicle: Vehicle, times_s: Sequence[float]) -> list[tuple[str, ...]]:
    """What is within reach both ways and how surely, a row for each moment and time; none without
    [uncertainty].
    """
    if vehicle.uncertainty is None:
        return []
    band = reachable_band(vehicle, np.array(times_s))
    return [
        (
            f"{time_s:g}",
            axis,
            f"{band.nominal_nm[row, place]:.4g}",
            f"{band.low_nm[row, place]:.4g} to {band.high_nm[row, place]:.4g}",
            f"{band.worst_nm[row, place]:.4g}",
        )
        for row, time_s in enumerate(times_s)
        for place, axis in enumerate(AXES)
    ]


def band_tables(vehicle: Vehicle, times_s: Sequence[float]) -> list[Table]:
    """The band as a table of a report, where there is one."""
    found = band_rows(vehicle, times_s)
    if vehicle.uncertainty is None:
        return []
    return [Table(BAND_HEAD, found, f"{BAND_NUMBERS} {whose_vanes(vehicle.uncertainty)}")]


def show(vehicle: Vehicle, instants: Sequence[Instant], judged: Judged, out: Path) -> None:
    """The numbers as a table."""
    table = Shown("", *(f"{one.time_s:g} s" for one in instants), box=None, pad_edge=False)
    for column in table.columns[1:]:
        column.justify = "right"
    for name, *cells in list(zip(HEAD, *rows(instants), strict=True))[1:]:
        table.add_row(name, *cells)
    output.print("Moments within reach, N·m, at a burn time of")
    output.print(table)
    if vehicle.uncertainty is not None:
        with_band = band_rows(vehicle, [one.time_s for one in instants])
        table = Shown(*BAND_HEAD, box=None, pad_edge=False)
        for row in with_band:
            table.add_row(*row)
        output.print(f"{BAND_NUMBERS} {whose_vanes(vehicle.uncertainty)}", soft_wrap=True)
        output.print(table)
    found = verdict(vehicle, judged)
    if found is not None:
        output.print(f"{found.outcome.upper()}. {found.reason}", soft_wrap=True)
    kind = "Picture" if out.suffix.lower() == ".png" else "Report"
    output.print(f"{kind}: {out}", soft_wrap=True)
