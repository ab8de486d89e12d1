"""The bench's page of a servo, for the module's log book."""

from collections.abc import Sequence

import numpy as np

from mixer.ground.reports.page import Chapter, Table, Verdict, render_page
from mixer.ground.servo_bench.figures import Figure
from mixer.ground.servo_bench.pictures import (
    calibration_picture,
    endurance_picture,
    frequency_picture,
    loop_picture,
    step_picture,
)
from mixer.ground.servo_bench.response import LATENCY_SHARE
from mixer.ground.servo_bench.verdict import ServoVerdict
from mixer.ground.servo_fit.accuracy import iso_230_2_lacks
from mixer.ground.vehicle.acceptance import Judgement, Outcome

Facts = Sequence[tuple[str, object]]

NOT_MEASURED = "–"
NOTHING_ASKED = (
    "the vehicle file sets no limits for what was measured in [acceptance], so nothing was asked "
    "for and nothing says whether it may be bolted on"
)
REHEARSED = "Emulated servos, a rehearsal: it says nothing about a real servo."
NOT_AT_HAND = "(Its text was not at hand here: hold its clauses against a copy of your own.)"
CAUTIONS = (
    "Powered servos move without warning: fingers and tools out of the linkage, module unpowered "
    "while hands are in it, battery fused, no pyrotechnics connected.",
    "A servo that passes on the bench has passed on the bench: without jet, heat, vibration and "
    "the vane's load. Local law, the range's safety officer and licensed people decide about "
    "tests and flights.",
)


def servo_page(
    verdict: ServoVerdict, vehicle_name: str, facts: Facts, rehearsal: bool = False
) -> str:
    """The HTML page of one servo. rehearsal: it is an emulated one."""
    whole = verdict.outcome in ("pass", "fail")
    line = verdict_line(
        verdict.outcome,
        verdict.reasons,
        verdict.judgements,
        not_measured([judgement.figure for judgement in verdict.open]),
        verdict.doubts,
    )
    return render_page(
        f"{'Rehearsal: servo' if rehearsal else 'Servo'} {verdict.servo} on the bench",
        f"Steering module of {vehicle_name}: what this servo with its linkage does"
        f"{', and whether it may be bolted on' if whole else ', as far as it was measured'}.",
        [chapter for chapter in servo_chapters(verdict) if chapter is not None],
        facts,
        rehearsed(line) if rehearsal else line,
        CAUTIONS,
    )


def rehearsed(verdict: Verdict) -> Verdict:
    """A rehearsal's verdict: never looks like a real pass."""
    outcome = "open" if verdict.outcome == "pass" else verdict.outcome
    word = f"rehearsal: {verdict.word or verdict.outcome}"
    return Verdict(outcome, f"{REHEARSED} {verdict.reason}", word)


def verdict_line(
    outcome: Outcome,
    reasons: Sequence[str],
    judgements: Sequence[Judgement],
    missing: str = "",
    doubts: Sequence[str] = (),
) -> Verdict:
    """Pass, fail or what is between them, with the reasons in one line."""
    if outcome == "fail":
        return Verdict("fail", "; ".join(reasons))
    if outcome == "no fault found":
        return Verdict("open", NOTHING_ASKED, outcome)
    tightest = min(judgements, key=lambda j: (j.margin or 0) / j.limit, default=None)
    near = "" if tightest is None else f"; nearest to its limit: {tightest}"
    near += "".join(f"; {doubt}" for doubt in doubts)
    if outcome == "not judged":
        missed = f"{missing}; " if missing else ""
        return Verdict("open", f"no limit was judged; {missed}no fault found in what was", outcome)
    if outcome == "pass":
        return Verdict("pass", f"no fault found{near}")
    return Verdict("open", f"{missing}; no fault found in what was{near}", outcome)


def not_measured(limits: Sequence[str], servos: Sequence[int] = ()) -> str:
    """What is still to be measured, in words; empty where nothing is."""
    parts = []
    if limits:
        plural = "" if len(limits) == 1 else "s"
        parts.append(f"{len(limits)} limit{plural} not measured ({', '.join(limits)})")
    if servos:
        parts.append(f"servo {', '.join(map(str, servos))} not measured at all")
    return ", ".join(parts)


def servo_chapters(verdict: ServoVerdict) -> list[Chapter | None]:
    return [
        findings_chapter(verdict),
        figures_chapter(verdict),
        calibration_chapter(verdict),
        steps_chapter(verdict),
        frequency_chapter(verdict),
        endurance_chapter(verdict),
    ]


def findings_chapter(verdict: ServoVerdict) -> Chapter | None:
    """The named faults, or why no table could be made."""
    if not verdict.findings and not verdict.refused:
        return None
    rows = [(f.name, f.seen, f.remedy) for f in verdict.findings]
    refusal = verdict.figures.refusal.splitlines() if verdict.refused and not rows else []
    tables = [Table(("Fault", "What was seen", "What to do"), rows)] if rows else []
    return Chapter("Faults found", refusal, tables)


def figures_chapter(verdict: ServoVerdict) -> Chapter:
    """Every figure with its limit, margin, method and standard."""
    limits = {j.figure: j for j in (*verdict.judgements, *verdict.open)}
    left = {judgement.figure for judgement in verdict.open}
    rows = [
        (
            *figure_cells(figure),
            *limit_cells(limits.get(figure.name), figure.name in left),
            figure.method,
        )
        for figure in verdict.figures.figures.values()
    ]
    head = ("Figure", "Value", "Unit", "Limit", "Margin", "", "Method")
    return Chapter(
        "Figures",
        (
            "A dash: not measured, or not to be had from what was measured. Where a limit asks for "
            "such a figure it fails, or stays open where its run was not made.",
            *iso_words(verdict),
        ),
        [Table(head, rows)],
    )


def iso_words(verdict: ServoVerdict) -> list[str]:
    """Why figures are named "after" the standard, where they are."""
    fit = verdict.figures.fit
    if fit is None:
        return []
    stated = verdict.sensor_deg is not None
    lacks = iso_230_2_lacks(fit.deflection_deg, fit.passes, stated)
    if not lacks:
        return [
            f"The conditions of ISO 230-2 for runs, targets and uncertainty hold. {NOT_AT_HAND}"
        ]
    return [
        f"Figures are computed as ISO 230-2 does; to go by its name it asks for more: "
        f"{'; '.join(lacks)}. {NOT_AT_HAND} With --passes 5 the bench takes uneven "
        "targets, and the sensor's non-linearity goes into [acceptance] as sensor_nonlinearity_deg."
    ]


def figure_cells(figure: Figure) -> tuple[str, str, str]:
    value = NOT_MEASURED if figure.value is None else f"{figure.value:.3g}"
    return readable(figure.name), value, figure.unit


def readable(name: str) -> str:
    """A figure's name without its unit: 'backlash_deg' reads 'backlash'."""
    for unit in ("_deg_s", "_deg", "_percent", "_us", "_ms", "_hz", "_v", "_nm"):
        if name.endswith(unit):
            return name.removesuffix(unit).replace("_", " ")
    return name.replace("_", " ")


def limit_cells(judgement: Judgement | None, left_open: bool) -> tuple[str, str, str]:
    if judgement is None:
        return "", "", ""
    bound = f"{'≥' if judgement.at_least else '≤'}\N{NO-BREAK SPACE}{judgement.limit:g}"
    if left_open:
        return bound, "", "open"
    margin = "" if judgement.margin is None else f"{judgement.margin:+.3g}"
    return bound, margin, "pass" if judgement.passed else "FAIL"


def calibration_chapter(verdict: ServoVerdict) -> Chapter | None:
    """Sweep and table."""
    if verdict.data.sweep is None:
        return None
    fit = verdict.figures.fit
    pictures = [loop_picture(verdict.data.sweep)]
    if fit is None:
        return Chapter("Calibration", ("No servo table: see the faults.",), (), pictures)
    rows = [
        (f"{deflection:z.2f}", f"{pulse:.2f}")
        for deflection, pulse in zip(fit.table.deflection_deg, fit.table.pulse_us, strict=True)
    ]
    outliers = [f"Left out: {outlier}." for outlier in fit.outliers]
    text = (
        f"{fit.passes} passes up and down. From either side the table brings the vane to within "
        f"±{fit.repeatability_deg / 2:.2f} deg of what is asked for (half of the repeatability, "
        f"with one timer step of {fit.resolution_deg:.3f} deg in it). Nothing is extrapolated."
    )
    return Chapter(
        "Calibration",
        [text, *outliers],
        [Table(("Deflection, deg", "Pulse, µs"), rows, "Servo table")],
        [calibration_picture(fit), *pictures],
    )


def steps_chapter(verdict: ServoVerdict) -> Chapter | None:
    if not verdict.figures.steps:
        return None
    head = (
        "Step, deg",
        "Latency, ms",
        "Rise 10–90 %, ms",
        "Overshoot, %",
        "Settling, ms",
        "within ±, %",
        "Slew, deg/s",
    )
    rows = [
        (
            f"{step.size_deg:+.1f}",
            NOT_MEASURED if step.latency_s is None else f"{1000 * step.latency_s:.0f}",
            f"{1000 * step.rise_s:.1f}",
            f"{step.overshoot_percent:.1f}",
            f"{1000 * step.settling_s:.0f}",
            f"{step.settling_band_percent:.1f}",
            f"{step.slew_deg_s:.0f}",
        )
        for _, step in verdict.figures.steps
    ]
    text = (
        f"Latency is told only of steps large against noise and resolution of the readings: what a "
        f"reading is uncertain by (five standard deviations) stays within {LATENCY_SHARE:.0%} of "
        "the step."
    )
    return Chapter("Step response", (text,), [Table(head, rows)], [step_picture(verdict.figures)])


def frequency_chapter(verdict: ServoVerdict) -> Chapter | None:
    frequency = verdict.figures.frequency
    if frequency is None:
        return None
    head = ("Frequency, Hz", "Amplitude, deg", "Fastest, deg/s", "Gain", "Phase, deg", "Rest, deg")
    rows = [
        (
            f"{point.frequency_hz:.2f}",
            f"{point.amplitude_deg:.2f}",
            f"{2 * np.pi * point.frequency_hz * point.amplitude_deg:.0f}",
            f"{point.gain:.3f}",
            f"{phase_deg:z.1f}",
            f"{point.residual_deg:.3f}",
        )
        for point, phase_deg in zip(
            sorted(verdict.data.sines, key=lambda p: p.frequency_hz),
            frequency.phase_deg,
            strict=True,
        )
    ]
    text = (
        f"Static gain {frequency.static_gain:.3f} of what the vehicle file says; highest gain "
        f"{frequency.peak_gain:.2f} of that at {frequency.peak_hz:.1f} Hz. Play and dead band "
        "flatten small sines, so this is the response at these amplitudes."
    )
    return Chapter(
        "Frequency response", (text,), [Table(head, rows)], [frequency_picture(frequency)]
    )


def endurance_chapter(verdict: ServoVerdict) -> Chapter | None:
    if len(verdict.data.cycles) < 2:
        return None
    return Chapter("Endurance", (), (), [endurance_picture(verdict.data)])
