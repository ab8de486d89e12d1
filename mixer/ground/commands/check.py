"""`fourvane check`: the acceptance of a vehicle before integration, on its own flight tables."""

from collections.abc import Sequence
from pathlib import Path
from random import SystemRandom
from typing import TYPE_CHECKING, Any

import click
from rich.table import Table as Shown

from mixer.ground.authority.required import AXES, required_nm
from mixer.ground.authority.verdict import Judged, judge_reach, reach_words
from mixer.ground.command_line.fourvane import FAILED, emit, result_option
from mixer.ground.command_line.next_step import next_step
from mixer.ground.command_line.path_options import RESULT, SOURCE
from mixer.ground.evidence.evidence import evidence_of
from mixer.ground.evidence.on_page import write_page
from mixer.ground.reports.console import output, progress
from mixer.ground.reports.page import Chapter, Table, Verdict, render_page
from mixer.ground.tables.scales import COUNTS
from mixer.ground.vehicle.vehicle import Vehicle, load_vehicle

if TYPE_CHECKING:
    from mixer.ground.check.search import Searched

EXAMPLES = 300
SEEDS = 1 << 32
ILL_CONDITIONED = (
    "Ill-conditioned: there the policy's own answer moves further than the bound when the demand "
    "moves by a hair; such cases are counted, and are no breach."
)
NO_USE = (
    "A bound of more than 4096 counts, a vane's whole force, says nothing: opposite vanes that are "
    "nearly, but not exactly, parallel let a hair of pitch or yaw move roll a long way."
)
NOT_CHECKED = (
    "This is a search, not a proof, and it is about arithmetic: servos, linkages and the jet "
    "itself are tried on the bench and on the test stand."
)


@click.command()
@click.argument("vehicle_file", metavar="VEHICLE", type=SOURCE)
@click.option(
    "--examples", metavar="N", type=click.IntRange(1, 1_000_000), default=EXAMPLES,
    show_default=True, help="How many flights each promise is tried on.",
)  # fmt: skip
@click.option(
    "--seed", metavar="N", type=click.IntRange(0), help="Repeat the search that printed this seed."
)
@click.option("--report", metavar="FILE", type=RESULT, help="A page for the module's log book.")
@result_option
def check(
    vehicle_file: Path, examples: int, seed: int | None, report: Path | None, as_json: bool
) -> None:
    """Search for a flight that breaks a promise of the steering, on the vehicle's own tables.

    Demands, wear, pressure, jammed vanes and time steps are varied. The promises: limits (travel
    and slew), priority (roll never costs pitch or yaw), continuity, recovery, accuracy of each
    cycle against the exact policy, and rest (where a held demand ends). The smallest flight that
    breaks one is printed as Python to paste. Then the moments within reach are compared with
    [requirements] over the burn, in the worst case of [uncertainty] where that is stated, as
    fourvane envelope does. Exit status 1 where a promise is broken or a requirement is not met.

    CAUTION: what passes here has still to pass on the bench, on the test stand and before the
    range's safety officer.

    Example: fourvane check vehicle.toml --examples 2000
    """
    from mixer.ground.check import search as searching
    from mixer.ground.check.steering_on_trial import SteeringOnTrial

    vehicle = load_vehicle(vehicle_file)
    seed = SystemRandom().randrange(SEEDS) if seed is None else seed
    total = examples * len(searching.PROMISES)
    with progress(f"Searching, seed {seed}", total) as done:
        findings = searching.check_promises(SteeringOnTrial(vehicle), examples, seed, done)
    judged = judge_reach(vehicle)
    passed = judged.met is not False and all(finding.kept for finding in findings)
    required = required_nm(vehicle.requirements)
    result: dict[str, Any] = {
        "vehicle": vehicle.vehicle.name,
        "examples": examples,
        "seed": seed,
        "promises": [facts(finding, vehicle_file) for finding in findings],
        "required_nm": dict(zip(AXES, required, strict=True)),
        "requirements_met": judged.met,
        "unmet": [vars(one) for one in judged.nominal],
        "unmet_worst_case": [vars(one) for one in judged.unmet],
        "unmet_cases": [{"says": str(one), **vars(one)} for one in judged.cases],
        "passed": passed,
    }
    found = verdict(vehicle, findings, judged)
    evidence = evidence_of("check", vehicle, found)
    if report is not None:
        write_page(report, lambda: page(vehicle, findings, found, examples, seed), evidence)
        result["report"] = report

    def tell() -> None:
        show(vehicle, vehicle_file, findings, found, examples, seed)
        if report is not None:
            output.print(f"Report: {report}", soft_wrap=True)

    following = next_step(vehicle, vehicle_file, "check", passed)
    emit(result, as_json, tell, following, evidence.plain)
    if not passed:
        raise SystemExit(FAILED)


def facts(finding: "Searched", vehicle_file: Path) -> dict[str, Any]:
    """A finding as JSON has it."""
    found = finding.counter_example
    return {
        "name": finding.name,
        "says": finding.says,
        "flights": finding.flights,
        "kept": finding.kept,
        "closest": [
            {"name": one.name, "value": one.value, "allowed": one.allowed, "unit": one.unit}
            for one in finding.closest.values()
        ],
        "ill_conditioned": finding.ill_conditioned,
        "breach": found and found.breach,
        "case": found and found.code(finding.name, vehicle_file),
    }


def show(
    vehicle: Vehicle,
    vehicle_file: Path,
    findings: Sequence["Searched"],
    found: Verdict,
    examples: int,
    seed: int,
) -> None:
    """The findings as a table, then each counter-example, then the verdict."""
    output.print(
        f"{vehicle.vehicle.name}: each promise tried on {examples} flights; seed {seed} "
        f"(--seed {seed} repeats this search)",
        soft_wrap=True,
    )
    table = Shown("promise", "", "nearest to its bound", box=None)
    some_ill = any(finding.ill_conditioned for finding in findings)
    if some_ill:
        table.add_column("ill-conditioned", justify="right")
    for finding in findings:
        closest = "\n".join(str(figure) for figure in finding.closest.values())
        table.add_row(
            finding.name,
            "kept" if finding.kept else "BROKEN",
            closest if finding.kept else "",
            *([str(finding.ill_conditioned or "")] if some_ill else []),
        )
    output.print(table)
    if some_ill:
        output.print(ILL_CONDITIONED, soft_wrap=True)
    if any(one.allowed > COUNTS for finding in findings for one in finding.closest.values()):
        output.print(NO_USE, soft_wrap=True)
    for finding in findings:
        if finding.counter_example is not None:
            output.print(f"\nBROKEN: {finding.name}. {finding.says}", soft_wrap=True)
            output.print(finding.counter_example.breach, soft_wrap=True)
            output.print("The smallest flight found that shows it, to paste into Python:\n")
            click.echo(finding.counter_example.code(finding.name, vehicle_file))
    output.print(f"{found.outcome.upper()}. {found.reason}", soft_wrap=True)
    output.print(NOT_CHECKED, soft_wrap=True)


def page(
    vehicle: Vehicle, findings: Sequence["Searched"], found: Verdict, examples: int, seed: int
) -> str:
    """The same as a page to keep."""
    rows = [
        (
            finding.name,
            "kept" if finding.kept else "BROKEN",
            "; ".join(str(figure) for figure in finding.closest.values())
            if finding.counter_example is None
            else finding.counter_example.breach,
        )
        for finding in findings
    ]
    return render_page(
        f"Promises of the steering: {vehicle.vehicle.name}",
        f"Each promise tried on {examples} flights with the vehicle's own tables; seed {seed}.",
        [
            Chapter(
                "The search",
                [NOT_CHECKED],
                [Table(("promise", "", "nearest to its bound, or how it broke"), rows)],
            )
        ],
        verdict=found,
    )


def verdict(vehicle: Vehicle, findings: Sequence["Searched"], judged: Judged) -> Verdict:
    """Pass or fail, and of what; the moments are judged as `fourvane envelope` does."""
    broken = [finding.name for finding in findings if not finding.kept]
    kept = f"Broken: {', '.join(broken)}." if broken else "No promise was found broken."
    outcome = "fail" if broken or judged.met is False else "pass"
    return Verdict(outcome, f"{kept} {reach_words(vehicle, judged)}")
