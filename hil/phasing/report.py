"""The page of a phasing check: findings, each motion with what came of it, the line's curves."""

from collections.abc import Sequence

import numpy as np

from hil.phasing.motions import AXES
from hil.phasing.session import Held
from hil.phasing.verdict import Phasing
from hil.tap.exchanges import Exchange
from mixer.ground.inputs.arrays import VANES
from mixer.ground.reports.page import Chapter, Picture, Table, Verdict, render_page
from mixer.ground.reports.pictures import SHADE, drawing, series, svg
from mixer.ground.servo_bench.report import rehearsed
from mixer.ground.vane_report.from_behind import behind_chapter
from mixer.ground.vehicle.vehicle import Vehicle

CAUTIONS = (
    "Servos were powered and armed for this check: nobody at vanes, linkage or nozzle. Igniters "
    "not connected, no propellant, the vehicle held so that it cannot fall.",
    "It shows signs, no more: not the size of gains, not what engine, heat or vibration do, not "
    "that the vehicle will hold its attitude. Local law, the range's safety officer and licensed "
    "people decide about tests and flights.",
)
TURNED = {1: "clockwise", -1: "anti-clockwise", 0: "not", None: "cannot tell"}


def phasing_page(
    found: Phasing,
    held: Sequence[Held],
    exchanges: Sequence[Exchange],
    vehicle: Vehicle,
    facts: Sequence[tuple[str, object]],
    rehearsal: bool,
) -> str:
    """The page as HTML."""
    verdict = verdict_of(found)
    said = [axis.words for axis in found.axes] + found.commands + found.vanes.words
    if found.checked is not None:
        said += [f"in the control check: {fault}" for fault in found.checked.faults]
    if found.vanes.looked:
        said.append(f"{found.vanes.fits} of {found.vanes.answers} answers about vanes fit this")
    chapters = [
        Chapter("What was found", [f"{text[0].upper()}{text[1:]}." for text in said]),
        Chapter("Not told by this check", [f"{t[0].upper()}{t[1:]}." for t in found.open])
        if found.open
        else None,
        Chapter("Motion by motion", (), [demand_table(held), vane_table(held)]),
        Chapter("On the line", pictures=line_pictures(held, exchanges)),
    ]
    return render_page(
        "Phasing check",
        f"{vehicle.vehicle.name}, tilted by hand: do the demands and the vanes work against the "
        "motion?",
        [*(chapter for chapter in chapters if chapter), *behind_chapter(vehicle)],
        facts,
        rehearsed(verdict) if rehearsal else verdict,
        CAUTIONS,
    )


def verdict_of(found: Phasing) -> Verdict:
    """Passed or not, why, and what the check does not tell."""
    if found.faults:
        return Verdict("fail", "; ".join(found.faults))
    vanes = ", every vane as commanded" if found.eyes else ""
    untold = f"; not told: {'; '.join(found.open)}" if found.open else ""
    return Verdict("pass", f"every axis works against its motion{vanes}{untold}")


def demand_table(held: Sequence[Held]) -> Table:
    """What each motion changed in the demand."""
    rows = []
    for each in held:
        change_nm = each.hold.demand_nm - each.rest.demand_nm
        rows.append(
            (
                each.motion.key.replace("-", "−"),
                each.motion.aim,
                each.hold.demands,
                *map(signed, change_nm),
            )
        )
    head = ("Motion", "", "Demands heard", *(f"{name}, N·m" for name in AXES))
    return Table(head, rows, "Change of the demand from rest to hold.")


def vane_table(held: Sequence[Held]) -> Table:
    """What each motion turned, commanded and seen."""
    rows = []
    for each in held:
        turned_deg = each.hold.deflection_deg - each.rest.deflection_deg
        cells = [
            f"{signed(turned_deg[i], 1)}° / {'–' if each.seen is None else TURNED[each.seen[i]]}"
            for i in range(VANES)
        ]
        rows.append((each.motion.key.replace("-", "−"), *cells))
    head = ("Motion", *(f"Vane {i + 1}" for i in range(VANES)))
    return Table(
        head,
        rows,
        "Each vane's turn from rest to hold as the node commanded it, and as it was seen; "
        "positive is clockwise from outside along the shaft.",
    )


def signed(value: float, digits: int = 2) -> str:
    return f"{value:+.{digits}f}".replace("-", "−") if np.isfinite(value) else "–"


def line_pictures(held: Sequence[Held], exchanges: Sequence[Exchange]) -> list[Picture]:
    """Demands and commanded vanes over time, the holds shaded and named."""
    demands = [(each.at_s, each.demand) for each in exchanges if each.demand]
    cycles = [(each.at_s, each.cycle) for each in exchanges if each.cycle]
    if not demands or not held:
        return []
    start_s = demands[0][0]
    time_s = np.array([at_s for at_s, _ in demands]) - start_s
    moment_nm = np.array([demand.moment_mnm for _, demand in demands]) / 1e3
    with drawing(4, 1, height_in=7.2, sharex=True) as (figure, axes):
        for axis, name in enumerate(AXES):
            panel = axes[axis, 0]
            panel.plot(time_s, moment_nm[:, axis], **series(axis))
            panel.set_ylabel(f"{name}, N·m")
        vanes = axes[3, 0]
        if cycles:
            turned_deg = np.array([cycle.deflection_mdeg for _, cycle in cycles]) / 1e3
            for i in range(VANES):
                vanes.plot(
                    np.array([at_s for at_s, _ in cycles]) - start_s,
                    turned_deg[:, i],
                    label=f"vane {i + 1}",
                    **series(i),
                )
            vanes.legend(ncols=VANES, loc="upper center", bbox_to_anchor=(0.5, -0.35))
        vanes.set(ylabel="vanes, deg", xlabel="time since the first demand, s")
        for each in held:
            for panel in axes[:, 0]:
                panel.axvspan(each.from_s - start_s, each.to_s - start_s, **SHADE)
            middle_s = 0.5 * (each.from_s + each.to_s) - start_s
            axes[0, 0].annotate(
                each.motion.key.replace("-", "−"),
                (middle_s, 1.02),
                xycoords=("data", "axes fraction"),
                ha="center",
                fontsize=8,
            )
    return [
        Picture(
            svg(figure),
            "Demands as they passed on the line, and the vanes as the node commanded them; shaded: "
            "the motion named above was held. A right axis goes down in its positive motion and up "
            "in its negative one.",
        )
    ]
