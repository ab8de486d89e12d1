"""The page of a replayed record: what was demanded and given, what gave way, what went wrong."""

from typing import Any

import numpy as np

from mixer.flight import FLAG_NAMES, FlightTables
from mixer.flight import layout as at
from mixer.ground.flight_record.findings import AXES, stretches
from mixer.ground.flight_record.replay import Replayed
from mixer.ground.reports.facts import counted
from mixer.ground.reports.page import Chapter, Picture, Table, Verdict, render_page
from mixer.ground.reports.pictures import LIMIT, PALETTE, drawing, series, svg

MOST_POINTS = 3000  # of a curve
MOST_STRETCHES = 40  # in the table
WHY = at.PRIMARY_LIMITED | at.ROLL_LIMITED | at.NO_THRUST | at.STALE_DEMAND


def sentence(found: Replayed) -> str:
    """What came of the comparison."""
    if not found.compared:
        return "Nothing could be compared: the record holds no answer."
    if not found.differing:
        return (
            f"0 integers differ, {counted(found.compared, 'integer')} of "
            f"{counted(found.cycles, 'cycle')} compared."
        )
    heard = "" if found.exact else " Time steps heard on a line are not those of the node's clock."
    return (
        f"{counted(found.differing, 'integer')} of {found.compared} differ, cycle "
        f"{found.first_cycle} first ({found.first_words}).{heard}"
    )


def page(
    name: str, found: Replayed, told: dict[str, Any], tables: FlightTables, torn_bytes: int = 0
) -> str:
    """The HTML. name: of the vehicle; told: `findings.facts`."""
    times_s = np.cumsum(found.columns["dt_us"]) / 1e6
    return render_page(
        f"A flight replayed: {name}",
        "What the steering was told, cycle by cycle, run through the flight core again.",
        [
            Chapter("Demanded and given", pictures=[moments(found, times_s)]),
            gave_way(found, times_s),
            Chapter("Vanes", tables=behind_table(told), pictures=[vanes(found, times_s)]),
            Chapter(
                "Pressure", [pressure_words(told)], pictures=[pressure(found, times_s, tables)]
            ),
            Chapter("The line", tables=[line_table(told)]),
        ],
        facts=summary(found, told),
        verdict=verdict(found, torn_bytes),
    )


def verdict(found: Replayed, torn_bytes: int = 0) -> Verdict:
    """A record that was listened to has other time steps than the node: what differs stays open,
    and so does what is behind the tear of a torn one.
    """
    if torn_bytes and not found.differing:
        words = f"{sentence(found)} The record is torn: what came after is not known."
        return Verdict("open", words, "torn")
    if found.compared and not found.differing:
        return Verdict("pass", sentence(found))
    return Verdict("fail" if found.compared and found.exact else "open", sentence(found))


def summary(found: Replayed, told: dict[str, Any]) -> list[tuple[str, object]]:
    """The facts at the top."""
    worn = told["effectiveness"]
    flags = [f"{flag} {count}" for flag, count in told["cycles_flagged"].items() if count]
    believed = "no jet" if worn is None else ", ".join(f"{value:.3f}" for value in worn)
    return [
        ("Cycles replayed", found.cycles),
        ("Before the first snapshot", found.skipped),
        ("Without room in the node", found.lost),
        ("Of a torn block, unchecked", found.unchecked),
        ("Duration", f"{told['duration_s']:.2f} s"),
        ("Burn time, burn load", f"{told['burn_time_s']:.2f} s, {told['burn_load_s']:.2f} s"),
        ("Effectiveness believed at the end", believed),
        ("Cycles with each flag", ", ".join(flags) or "none"),
    ]


def thin(count: int) -> slice:
    return slice(None, None, max(1, count // MOST_POINTS))


def moments(found: Replayed, times_s: np.ndarray) -> Picture:
    """Three axes, demanded and given."""
    cut = thin(found.cycles)
    with drawing(3, 1, height_in=6.0, sharex=True) as (figure, axes):
        for row, axis in enumerate(AXES):
            plot = axes[row, 0]
            for index, (key, label) in enumerate(
                (("demand_mnm", "demanded"), ("moment_mnm", "given"))
            ):
                values = found.columns[key][cut, row] / 1e3
                plot.plot(times_s[cut], values, label=label, **series(index))
            plot.set_ylabel(f"{axis}, N·m")
        axes[0, 0].legend(loc="lower right", bbox_to_anchor=(1.0, 0.97), ncols=2)
        axes[2, 0].set_xlabel("time since the record's first cycle, s")
        return Picture(
            svg(figure),
            "Given: what the commanded deflections give at the pressure that counted.",
        )


def gave_way(found: Replayed, times_s: np.ndarray) -> Chapter:
    """Where authority ran out, and why."""
    rows = stretches(found.columns["flags"], times_s, WHY | at.SLEW_LIMITED | at.JAMMED_VANE)
    longest = sorted(rows, key=lambda row: row[0] - row[1])[:MOST_STRETCHES]
    cells = [
        (
            f"{start:.3f}",
            f"{end:.3f}",
            ", ".join(flag for bit, flag in enumerate(FLAG_NAMES) if flags >> bit & 1),
        )
        for start, end, flags in sorted(longest)
    ]
    if not cells:
        return Chapter("Where authority ran out", ["Nowhere."])
    caption = f"{counted(len(rows), 'stretch') if len(rows) == 1 else f'{len(rows)} stretches'}"
    if len(rows) > len(cells):
        caption += f"; the {len(cells)} longest"
    table = Table(("from, s", "to, s", "flags seen"), cells, caption)
    return Chapter("Where authority ran out", tables=[table])


def vanes(found: Replayed, times_s: np.ndarray) -> Picture:
    """Deflections, with what the sensors read."""
    cut = thin(found.cycles)
    readings = found.columns["reading_mdeg"]
    with drawing(4, 1, height_in=6.5, sharex=True) as (figure, axes):
        for vane in range(at.VANES):
            plot = axes[vane, 0]
            commands = found.columns["deflection_mdeg"][cut, vane] / 1e3
            plot.plot(times_s[cut], commands, label="commanded", color=PALETTE[0])
            there = np.flatnonzero(readings[:, vane] != at.NO_READING)[thin(found.cycles)]
            if there.size:
                read = readings[there, vane] / 1e3
                plot.plot(times_s[there], read, ".", markersize=3, color=PALETTE[1], label="read")
            plot.set_ylabel(f"vane {vane + 1}, °")
            if there.size or vane == 0:
                plot.legend(loc="lower right", bbox_to_anchor=(1.0, 0.97), ncols=2)
        axes[3, 0].set_xlabel("time since the record's first cycle, s")
        return Picture(svg(figure), "Dots: what the vane's angle sensor read, where it has one.")


def behind_table(told: dict[str, Any]) -> list[Table]:
    """Which servo fell behind."""
    behind = told["vanes_behind"]
    if not behind:
        return []
    worst = max(behind, key=lambda vane: behind[vane]["outside_its_band"])
    said = (
        f"Vane {worst} fell behind most often."
        if behind[worst]["outside_its_band"]
        else "No vane was farther from its command than a healthy servo comes to."
    )
    rows = [
        (vane, each["readings"], f"{each['mean_deg']:z.2f}", f"{each['farthest_deg']:z.2f}",
         each["outside_its_band"], f"{each['band_deg']:.2f}")
        for vane, each in behind.items()
    ]  # fmt: skip
    head = ("vane", "readings", "mean apart, °", "farthest, °", "outside its band", "band, °")
    return [Table(head, rows, f"{said} On its way at the slew, a vane is apart from its command.")]


def pressure_words(told: dict[str, Any]) -> str:
    count = told["doubted_pressure_cycles"]
    if not count:
        return "No reading of the chamber pressure was doubted."
    return (
        f"In {counted(count, 'cycle')} the reading was doubted, and the broken line stood for it."
    )


def pressure(found: Replayed, times_s: np.ndarray, tables: FlightTables) -> Picture:
    """What was read, and what counted."""
    cut = thin(found.cycles)
    reference_bar = tables.words[at.PA_MAX] / 2e5
    with drawing(height_in=2.6) as (figure, axes):
        plot = axes[0, 0]
        read = found.columns["pressure_pa"][cut] / 1e5
        counts = found.columns["ratio_q14"][cut] / (1 << 14) * reference_bar
        plot.plot(times_s[cut], read, label="read", **series(0))
        plot.plot(times_s[cut], counts, label="counted", **series(1))
        plot.axhline(reference_bar, **LIMIT)
        plot.set_ylabel("chamber pressure, bar")
        plot.set_xlabel("time since the record's first cycle, s")
        plot.legend(loc="lower right", bbox_to_anchor=(1.0, 0.97), ncols=2)
        return Picture(svg(figure), "Dotted: the reference pressure.")


def line_table(told: dict[str, Any]) -> Table:
    """Late cycles, silence, refused and damaged frames."""
    refused = ", ".join(f"{name} {count}" for name, count in told["frames_refused"].items())
    rows = [
        ("late cycles", told["late_cycles"]),
        ("longest cycle, ms", f"{told['longest_cycle_ms']:.1f}"),
        ("longest time without a demand, ms", f"{told['longest_silence_ms']:.1f}"),
        ("times the link was lost", told["times_link_lost"]),
        ("frames refused", refused or "none"),
        ("frames damaged", told["frames_damaged"]),
    ]
    return Table(("what", "how much"), rows)
