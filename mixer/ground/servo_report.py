"""The bench's reports: one page a servo, one for the module, for the module's log book."""

from collections.abc import Sequence

import numpy as np

from mixer.ground.acceptance import Judgement, Outcome
from mixer.ground.page import Section, Table, Verdict, render_page
from mixer.ground.response import LATENCY_SHARE
from mixer.ground.servo_figures import Figure
from mixer.ground.servo_pictures import (
    calibration_picture,
    endurance_picture,
    frequency_picture,
    kick_picture,
    loop_picture,
    step_picture,
)
from mixer.ground.servo_verdict import ModuleVerdict, ServoVerdict

Facts = Sequence[tuple[str, object]]

NOT_MEASURED = "–"
NOTHING_ASKED = (
    "the vehicle file sets no limits for what was measured in [acceptance], so nothing was asked "
    "for and nothing says whether it may be bolted on"
)
CAUTIONS = (
    "Powered servos move without warning: fingers and tools out of the linkage, module unpowered "
    "while hands are in it, battery fused, no pyrotechnics connected.",
    "A servo that passes on the bench has passed on the bench: without jet, heat, vibration and "
    "the vane's load. Local law, the range's safety officer and licensed people decide about "
    "tests and flights.",
)


def servo_page(verdict: ServoVerdict, vehicle_name: str, facts: Facts) -> str:
    """The HTML page of one servo."""
    whole = verdict.outcome in ("pass", "fail")
    return render_page(
        f"Servo {verdict.servo} on the bench",
        f"Steering module of {vehicle_name}: what this servo with its linkage does"
        f"{', and whether it may be bolted on' if whole else ', as far as it was measured'}.",
        [section for section in servo_sections(verdict) if section is not None],
        facts,
        verdict_line(
            verdict.outcome,
            verdict.reasons,
            verdict.judgements,
            not_measured([judgement.figure for judgement in verdict.open]),
        ),
        CAUTIONS,
    )


def verdict_line(
    outcome: Outcome, reasons: Sequence[str], judgements: Sequence[Judgement], missing: str = ""
) -> Verdict:
    """Pass, fail or what is between them, with the reasons in one line."""
    if outcome == "fail":
        return Verdict("fail", "; ".join(reasons))
    if outcome == "no fault found":
        return Verdict("open", NOTHING_ASKED, outcome)
    tightest = min(judgements, key=lambda j: (j.margin or 0) / j.limit, default=None)
    near = "" if tightest is None else f"; nearest to its limit: {tightest}"
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


def servo_sections(verdict: ServoVerdict) -> list[Section | None]:
    return [
        findings_section(verdict),
        figures_section(verdict),
        calibration_section(verdict),
        steps_section(verdict),
        frequency_section(verdict),
        endurance_section(verdict),
    ]


def findings_section(verdict: ServoVerdict) -> Section | None:
    """The named faults, or why no table could be made."""
    if not verdict.findings and not verdict.refused:
        return None
    rows = [(f.name, f.seen, f.remedy) for f in verdict.findings]
    refusal = verdict.figures.refusal.splitlines() if verdict.refused and not rows else []
    tables = [Table(("Fault", "What was seen", "What to do"), rows)] if rows else []
    return Section("Faults found", refusal, tables)


def figures_section(verdict: ServoVerdict) -> Section:
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
    return Section(
        "Figures",
        (
            "A dash: not measured, or not to be had from what was measured. Where a limit asks for "
            "such a figure it fails, or stays open where its run was not made. Standards are cited "
            "as remembered, their texts were not at hand.",
        ),
        [Table(head, rows)],
    )


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


def calibration_section(verdict: ServoVerdict) -> Section | None:
    """Sweep and table."""
    if verdict.data.sweep is None:
        return None
    fit = verdict.figures.fit
    pictures = [loop_picture(verdict.data.sweep)]
    if fit is None:
        return Section("Calibration", ("No servo table: see the faults.",), (), pictures)
    rows = [
        (f"{deflection:.2f}", f"{pulse:.2f}")
        for deflection, pulse in zip(fit.table.deflection_deg, fit.table.pulse_us, strict=True)
    ]
    outliers = [f"Left out: {outlier}." for outlier in fit.outliers]
    text = (
        f"{fit.passes} passes up and down. From either side the table brings the vane to within "
        f"±{fit.repeatability_deg / 2:.2f} deg of what is asked for (half of the repeatability, "
        f"with one timer step of {fit.resolution_deg:.3f} deg in it). Nothing is extrapolated."
    )
    return Section(
        "Calibration",
        [text, *outliers],
        [Table(("Deflection, deg", "Pulse, µs"), rows, "Servo table")],
        [calibration_picture(fit), *pictures],
    )


def steps_section(verdict: ServoVerdict) -> Section | None:
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
    return Section("Step response", (text,), [Table(head, rows)], [step_picture(verdict.figures)])


def frequency_section(verdict: ServoVerdict) -> Section | None:
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
            f"{phase_deg:.1f}",
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
    return Section(
        "Frequency response", (text,), [Table(head, rows)], [frequency_picture(frequency)]
    )


def endurance_section(verdict: ServoVerdict) -> Section | None:
    if len(verdict.data.cycles) < 2:
        return None
    return Section("Endurance", (), (), [endurance_picture(verdict.data)])


def module_page(module: ModuleVerdict, facts: Facts) -> str:
    """The HTML page of the module: the four servos beside each other and together."""
    limits = [j for servo in module.servos.values() for j in servo.judgements] + module.judgements
    return render_page(
        "Steering module on the bench",
        f"The servos of {module.vehicle.vehicle.name}, one by one and together.",
        [comparison_section(module), *together_sections(module)],
        facts,
        verdict_line(
            module.outcome,
            module.reasons,
            limits,
            not_measured(module.open_limits, module.absent),
        ),
        CAUTIONS,
    )


def comparison_section(module: ModuleVerdict) -> Section:
    """A column a servo, a row a figure, and how far apart they are."""
    numbers = list(module.servos)
    values = {number: module.servos[number].figures.values() for number in numbers}
    figures = next(iter(module.servos.values())).figures.figures.values() if numbers else ()
    rows = [
        ("verdict", "", *(shown(module.servos[n].outcome) for n in numbers), ""),
        *(
            (
                readable(figure.name),
                figure.unit,
                *(cell(values[n][figure.name]) for n in numbers),
                spread([values[n][figure.name] for n in numbers]),
            )
            for figure in figures
        ),
    ]
    head = ("Figure", "Unit", *(f"Servo {n}" for n in numbers), "Spread")
    return Section("The servos beside each other", (), [Table(head, rows)])


def shown(outcome: Outcome) -> str:
    """An outcome as tables show it: a fail stands out."""
    return "FAIL" if outcome == "fail" else outcome


def cell(value: float | None) -> str:
    return NOT_MEASURED if value is None else f"{value:.3g}"


def spread(values: Sequence[float | None]) -> str:
    """From the least to the largest; empty where not all were measured."""
    known = [value for value in values if value is not None]
    return f"{max(known) - min(known):.2g}" if known and len(known) == len(values) else ""


def together_sections(module: ModuleVerdict) -> list[Section]:
    """What the differences do to roll."""
    match = module.match
    if match is None:
        text = "Roll of the four together cannot be told: not every servo has a table."
        return [Section("Together", (text,))]
    parts = ", ".join(f"{moment:.2f}" for moment in match.per_vane_nm)
    text = [
        f"With the tables flown, the vanes may stand off by half of each servo's repeatability: "
        f"at worst {match.roll_nm:.2f} N·m of roll, all four in one sense ({parts} N·m of vanes "
        f"1 to 4), likely {match.likely_nm:.2f} N·m (root sum of squares). Reference pressure, "
        "new vanes.",
        *(str(judgement) for judgement in module.judgements),
    ]
    if match.straight_nm is not None:
        text.append(
            f"With the vehicle file's straight lines instead of the tables, neutral alone would "
            f"leave {match.straight_nm:+.2f} N·m of roll."
        )
    if match.kick is None:
        return [Section("Together", text)]
    text.append(
        f"In motion: a full pitch demand kicks the roll by up to {match.kick.largest_nm:.2f} N·m "
        "while the vanes are on their way."
    )
    return [Section("Together", text, (), [kick_picture(match)])]
