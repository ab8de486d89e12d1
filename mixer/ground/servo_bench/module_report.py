"""The bench's page of the module: the four servos beside each other and together."""

from collections.abc import Sequence

from mixer.ground.reports.page import Chapter, Table, Verdict, render_page
from mixer.ground.servo_bench.pictures import kick_picture
from mixer.ground.servo_bench.report import (
    CAUTIONS,
    NOT_MEASURED,
    Facts,
    not_measured,
    readable,
    rehearsed,
    verdict_line,
)
from mixer.ground.servo_bench.verdict import ModuleVerdict
from mixer.ground.vehicle.acceptance import Outcome


def module_page(module: ModuleVerdict, facts: Facts, rehearsal: bool = False) -> str:
    """The HTML page of the module: the four servos beside each other and together.

    rehearsal: they are emulated ones.
    """
    line = verdict_of(module)
    reasons = [Chapter("Why it fails", (), [Table(("Reason",), [[r] for r in module.reasons])])]
    if len(module.reasons) > 1:
        count = len(module.reasons)
        line = Verdict("fail", f"{count} reasons, listed below; the first: {module.reasons[0]}")
    return render_page(
        "Rehearsal: steering module on the bench" if rehearsal else "Steering module on the bench",
        f"The servos of {module.vehicle.vehicle.name}, one by one and together.",
        [
            *(reasons if len(module.reasons) > 1 else ()),
            comparison_chapter(module),
            *together_chapters(module),
        ],
        facts,
        rehearsed(line) if rehearsal else line,
        CAUTIONS,
    )


def verdict_of(module: ModuleVerdict) -> Verdict:
    """The verdict on the module in a line."""
    limits = [j for servo in module.servos.values() for j in servo.judgements] + module.judgements
    return verdict_line(
        module.outcome,
        module.reasons,
        limits,
        not_measured(module.open_limits, module.absent),
    )


def comparison_chapter(module: ModuleVerdict) -> Chapter:
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
    return Chapter("The servos beside each other", (), [Table(head, rows)])


def shown(outcome: Outcome) -> str:
    """An outcome as tables show it: a fail stands out."""
    return "FAIL" if outcome == "fail" else outcome


def cell(value: float | None) -> str:
    return NOT_MEASURED if value is None else f"{value:.3g}"


def spread(values: Sequence[float | None]) -> str:
    """From the least to the largest; empty where not all were measured."""
    known = [value for value in values if value is not None]
    return f"{max(known) - min(known):.2g}" if known and len(known) == len(values) else ""


def together_chapters(module: ModuleVerdict) -> list[Chapter]:
    """What the differences do to roll."""
    match = module.match
    if match is None:
        text = "Roll of the four together cannot be told: not every servo has a table."
        return [Chapter("Together", (text,))]
    parts = ", ".join(f"{moment:z.2f}" for moment in match.per_vane_nm)
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
        return [Chapter("Together", text)]
    text.append(
        f"In motion: a full pitch demand kicks the roll by up to {match.kick.largest_nm:.2f} N·m "
        "while the vanes are on their way."
    )
    return [Chapter("Together", text, (), [kick_picture(match)])]
