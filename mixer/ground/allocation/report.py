"""The report of one run of demands through the flight core, as a page and as facts."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from mixer.flight import FLAG_NAMES
from mixer.flight.layout import NO_THRUST, PRIMARY_LIMITED, ROLL_LIMITED, STALE_DEMAND
from mixer.ground.allocation import pictures as draw
from mixer.ground.allocation.commands_csv import flag_names
from mixer.ground.allocation.record import (
    AT_SLEW,
    AT_TRAVEL,
    AXES,
    FLAGS,
    UNMET,
    FlightRecord,
    marked_vanes,
)
from mixer.ground.reports.facts import counted
from mixer.ground.reports.page import Chapter, Picture, Table, render_page
from mixer.ground.reports.pictures import svg
from mixer.ground.vehicle.vehicle import Vehicle

LONGEST_CLOSE_UP_S, BESIDE_IT_S = 2.0, 0.3

READING = (
    "Pitch and yaw come first: where they are out of reach, the steering goes to the nearest "
    "reachable point, or back along the demand's direction, as the policy says. Roll takes what is "
    "left and gives way first. The moments given are those of the commanded deflections; what the "
    "vanes do in the jet, a servo bench and a static test have to show.",
)
SLEW_NOTE = (
    "Reach by travel leaves slew out: a demand inside it can still be short for some cycles, while "
    "the vanes are on their way."
)
DRAG_NOTE = (
    "Estimated from the drag of new vanes at the reference pressure, scaled with chamber pressure. "
    "How wear changes a vane's drag is not known here, so the share of the worn-off edge is left "
    "out; it may go either way."
)


def facts(record: FlightRecord, vehicle: Vehicle) -> dict[str, Any]:
    """The figures of a run, by names that tell their units."""
    return {
        "rows": record.rows,
        "from_s": record.first_s,
        "to_s": record.last_s,
        "burn_load_s": record.last_load_s,
        "rows_flagged": dict(zip(FLAG_NAMES, record.flagged.tolist(), strict=True)),
        "worst_shortfall_nm": dict(zip(AXES, record.worst_nm.tolist(), strict=True)),
        "gave_way": [
            {
                "from_s": row["from_s"],
                "to_s": row["to_s"],
                "what": row["what"],
                "rows": row["rows"],
                "flags": row["flags"],
                "worst_shortfall_nm": dict(zip(AXES, row["worst"], strict=True)),
                "vanes_at_travel": row["at_travel"],
                "vanes_at_slew": row["at_slew"],
            }
            for row in gave_way(record)
        ],
        "thrust_loss_percent": thrust_loss_percent(record, vehicle),
        "rows_after_a_long_gap": record.gaps,
        "longest_gap_s": record.longest_gap_s,
    }


def gave_way(record: FlightRecord) -> list[dict[str, Any]]:
    """The stretches in which something gave way, in order of time."""
    rows = [
        {
            "what": what_gave_way(int(stretches.marks[n])),
            "from_s": float(stretches.from_s[n]),
            "to_s": float(stretches.to_s[n]),
            "rows": int(stretches.rows[n]),
            "flags": flag_names(int(stretches.marks[n]) & FLAGS).split(";"),
            "worst": [float(value) for value in stretches.worst[n]],
            "at_travel": marked_vanes(int(stretches.marks[n]), AT_TRAVEL),
            "at_slew": marked_vanes(int(stretches.marks[n]), AT_SLEW),
        }
        for stretches in record.stretches
        for n in range(len(stretches))
    ]
    return sorted(rows, key=lambda row: row["from_s"])


def what_gave_way(marks: int) -> str:
    """The moments that were not given as demanded, by a stretch's marks."""
    if marks & NO_THRUST:
        return "all: no thrust"
    if marks & STALE_DEMAND:
        return "all: no valid demand"
    limited = [
        name
        for name, flag in (("pitch, yaw", PRIMARY_LIMITED), ("roll", ROLL_LIMITED))
        if marks & flag
    ]
    return ", ".join(limited) or "none: last good demand held"


def thrust_loss_percent(record: FlightRecord, vehicle: Vehicle) -> float | None:
    """The vanes' drag impulse over the thrust impulse, both going with pressure; None if the
    vehicle file has no drag or there was no pressure.
    """
    if not np.isfinite(record.drag_impulse_ns) or record.pressure_bar_s <= 0:
        return None
    engine = vehicle.engine
    thrust_ns = engine.thrust_n * record.pressure_bar_s / engine.chamber_pressure_bar
    return 100 * record.drag_impulse_ns / thrust_ns


def gap_warning(record: FlightRecord, vehicle: Vehicle) -> str | None:
    """What to say where rows are further apart than a demand stays good; None if none are."""
    if not record.gaps:
        return None
    return (
        f"{counted(record.gaps, 'row')} came more than the demand timeout of "
        f"{vehicle.control.demand_timeout_ms:g} ms after the one before (the longest gap "
        f"{record.longest_gap_s:g} s). Here every row is one control cycle; on the board, cycles "
        "go on in such gaps and the vanes return to neutral."
    )


def page(
    vehicle: Vehicle, record: FlightRecord, sources: Mapping[str, object], notes: list[str]
) -> str:
    """The HTML report. `sources` are facts of where the numbers came from; `notes` go on top."""
    chapters = [
        Chapter("How to read this", [*notes, *READING]),
        moments_chapter(vehicle, record),
        authority_chapter(vehicle, record),
        Chapter(
            "Deflections",
            pictures=[
                Picture(
                    svg(draw.deflections(record.bins, vehicle)),
                    "Broad: the vane moved as fast as its servo can and a moment was still short. "
                    "Dotted: travel, and at the bottom the slew limit of the fastest vane.",
                )
            ],
        ),
        Chapter(
            "Pulses",
            pictures=[
                Picture(
                    svg(draw.pulses(record.bins, vehicle)),
                    "What each servo is told. Dotted: neutral, and the ends of travel.",
                )
            ],
        ),
        Chapter(
            "The burn",
            [
                "Burn load is ∫(pc/pc_ref)^0.8 dt, equivalent seconds at the reference pressure "
                "(convective heat-flux scaling, Bartz 1957)."
            ],
            pictures=[
                Picture(
                    svg(draw.burn(record.bins, vehicle)),
                    "Effectiveness: what is left of a new vane's force at the same pressure.",
                )
            ],
        ),
        thrust_chapter(vehicle, record),
    ]
    return render_page(
        f"Demands into deflections: {vehicle.vehicle.name}",
        "What the flight code made of the demands, cycle by cycle: moments, deflections, pulses, "
        "and where authority ran out.",
        chapters,
        facts=[*sources.items(), *summary(vehicle, record)],
    )


def summary(vehicle: Vehicle, record: FlightRecord) -> list[tuple[str, object]]:
    """The facts at the top of the page."""
    control = vehicle.control
    flagged = [
        f"{name} {100 * count / record.rows:.1f} %"
        for name, count in zip(FLAG_NAMES, record.flagged, strict=True)
        if count
    ]
    worst = ", ".join(f"{axis} {nm:.4g}" for axis, nm in zip(AXES, record.worst_nm, strict=True))
    return [
        ("Rows", f"{counted(record.rows, 'control cycle')}, "
                 f"{record.first_s:g} to {record.last_s:g} s of burn time"),
        ("Control", f"{control.rate_hz:g} Hz, policy {control.policy}, demands good for "
                    f"{control.demand_timeout_ms:g} ms"),
        ("Largest shortfall", f"{worst} N·m"),
        ("Cycles flagged", ", ".join(flagged) or "none"),
        ("Burn load at the end", f"{record.last_load_s:.2f} s"),
    ]  # fmt: skip


def moments_chapter(vehicle: Vehicle, record: FlightRecord) -> Chapter:
    return Chapter(
        "Moments",
        pictures=[
            Picture(
                svg(draw.moments(record.bins, vehicle)),
                "Broad: what was demanded; thin: what the commanded deflections give. Grey: what "
                "travel lets the vanes reach while the other moments are as they were given. The "
                "strip at the bottom: limited by travel or slew.",
            )
        ],
    )


def authority_chapter(vehicle: Vehicle, record: FlightRecord) -> Chapter:
    rows = gave_way(record)
    longest_s = max(stretches.joined_over_s for stretches in record.stretches)
    cells = [
        (
            f"{row['from_s']:.3f}",
            f"{row['to_s']:.3f}",
            row["what"],
            *(f"{value:.4g}" for value in row["worst"]),
            reason(row),
            "; ".join(row["flags"]),
        )
        for row in rows
    ]
    head = ("from, s", "to, s", "gave way", "pitch, N·m", "yaw, N·m", "roll, N·m", "why", "flags")
    pictures = [
        Picture(
            svg(draw.strips(record.bins, vehicle)),
            "Above: how much of the pitch and yaw within reach by travel was asked for, 100 % "
            "is the edge. Below: flags that were up, and vanes that stood at an end of travel, "
            "or within the 1/32 of it that the steering may keep back.",
        ),
        Picture(
            svg(draw.in_the_envelope(record.bins, vehicle)),
            "Dots: what was given under thrust, of every few cycles where most was asked for. "
            "Crosses: demands that were not met; those far out lie on the rim. Lines: the edge "
            "of reach by travel, at the pressure, wear and jammed vanes of that time.",
        ),
    ]
    span_s = worst_span_s(record)
    if span_s is not None:
        pictures.append(
            Picture(
                svg(draw.close_up(record.bins, vehicle, *span_s)),
                "Where authority was shortest, close up.",
            )
        )
    told = f"stretches less than {1000 * longest_s:g} ms apart are told as one"
    found = Table(head, cells, f"Worst shortfall in each stretch; {told}.")
    return Chapter(
        "Where authority ran out, and why",
        [SLEW_NOTE] if rows else ["It never did: every demand was given in full."],
        tables=[found] if rows else [],
        pictures=pictures,
    )


def worst_span_s(record: FlightRecord) -> tuple[float, float] | None:
    """A few seconds round the start of the stretch with the largest shortfall under thrust, of
    pitch and yaw or else of roll; None if nothing was short.
    """
    limited = record.stretches[UNMET.index(PRIMARY_LIMITED | ROLL_LIMITED)]
    if not len(limited):
        return None
    primary_nm, roll_nm = limited.worst[:, :2].max(1), limited.worst[:, 2]
    by_primary = (limited.marks & PRIMARY_LIMITED).any()
    worst = int(np.argmax(primary_nm if by_primary else roll_nm))
    from_s = float(limited.from_s[worst])
    to_s = min(float(limited.to_s[worst]), from_s + LONGEST_CLOSE_UP_S)
    return from_s - BESIDE_IT_S, to_s + BESIDE_IT_S


def reason(row: Mapping[str, Any]) -> str:
    """Why something gave way: the vanes that stood at a limit at some time in the stretch."""
    parts = []
    if "no-thrust" in row["flags"]:
        parts.append("jet too weak to steer with")
    for key, name in (("at_travel", "at travel"), ("at_slew", "held by slew")):
        if row[key]:
            parts.append(f"{name}: {', '.join(map(str, row[key]))}")
    return "; ".join(parts)


def thrust_chapter(vehicle: Vehicle, record: FlightRecord) -> Chapter:
    percent = thrust_loss_percent(record, vehicle)
    if percent is None:
        return Chapter("Thrust loss", ["Not told: the vehicle file has no drag_n in [vanes]."])
    return Chapter(
        "Thrust loss",
        [
            f"Over this run the vanes take about {percent:.1f} % of the thrust "
            f"({record.drag_impulse_ns:.4g} N·s). {DRAG_NOTE}"
        ],
        pictures=[Picture(svg(draw.thrust_loss(record.bins, vehicle)), "Drag of the four vanes.")],
    )
