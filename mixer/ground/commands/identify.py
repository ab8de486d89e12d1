"""`fourvane identify`: from a static test to a corrected vehicle file, or a programme for one."""

from pathlib import Path
from typing import Any

import click
import numpy as np
from rich.table import Table as Shown

from mixer.ground.command_line.fourvane import emit, result_option
from mixer.ground.command_line.next_step import next_step
from mixer.ground.command_line.path_options import RESULT, SOURCE, beside
from mixer.ground.evidence.evidence import evidence_of
from mixer.ground.evidence.on_page import write_page
from mixer.ground.identification.corrected_vehicle import Corrected, corrected
from mixer.ground.identification.expected_errors import Expected, StandCells, expect
from mixer.ground.identification.findings import (
    Finding,
    findings,
    not_told,
    refuse_if_nothing_told,
    second_look,
)
from mixer.ground.identification.fit import identify as fit
from mixer.ground.identification.model import WEAR_POINTS
from mixer.ground.identification.plausible import implausible, refuse_implausible
from mixer.ground.identification.report import identify_page, written
from mixer.ground.inputs.arrays import VANES
from mixer.ground.inputs.csv_files import InputError, origin_of
from mixer.ground.inputs.log_book import GivenLog, asker, log_book_options, now, readable
from mixer.ground.inputs.section_errors import VehicleError
from mixer.ground.reports.console import output, progress
from mixer.ground.reports.page import Verdict
from mixer.ground.static_test.excitation import condition_number, movements, not_excited
from mixer.ground.static_test.log import LOAD_UNITS, read_stand_log
from mixer.ground.static_test.mixed_up_columns import refuse_mixed_up_columns
from mixer.ground.static_test.programme import Programme, plan, write_programme
from mixer.ground.vehicle.vehicle import Vehicle, load_vehicle, parse_vehicle

STEPS = 4.0


@click.command()
@click.argument("log_file", metavar="[LOG]", type=SOURCE, required=False)
@click.option("--vehicle", "vehicle_file", required=True, type=SOURCE,
              help="Vehicle file of the module that was, or will be, tested.")  # fmt: skip
@click.option("--out", required=True, type=RESULT,
              help="Vehicle file to write; with --plan, the programme as CSV.")  # fmt: skip
@click.option("--report", "report_file", type=RESULT,
              help="HTML report to write, not with --plan; by default beside --out.")  # fmt: skip
@click.option("--plan", "planned", is_flag=True,
              help="Propose deflections for a burn that would tell everything apart.")  # fmt: skip
@click.option("--wear-points", type=click.IntRange(2, 6), default=WEAR_POINTS, show_default=True,
              help="Values of effectiveness over the burn to fit for each vane.")  # fmt: skip
@click.option("--bend", is_flag=True, help="Fit how the force curves are bent, too.")
@click.option("--still", type=click.IntRange(1, 4), multiple=True,
              help="A vane that was locked in the test. Can be repeated.")  # fmt: skip
@click.option(
    "--keep-neutrals", is_flag=True, help="The jig's neutrals stay, whatever the test finds."
)
@click.option(
    "--although-implausible",
    is_flag=True,
    help="Take loads in what looks like a wrong unit or sign.",
)
@click.option(
    "--burn-s",
    type=click.FloatRange(0, 600, min_open=True),
    help="With --plan: how long the test burns, if not the burn time.",
)
@click.option("--noise", "noise_share", type=click.FloatRange(0, 1, min_open=True), default=0.01,
              show_default=True, help="With --plan: noise and drift of the load cells, as a share "
              "of the largest load.")  # fmt: skip
@click.option("--rate-hz", type=click.FloatRange(20, 100_000), default=200.0, show_default=True,
              help="With --plan: rows a second that will be recorded.")  # fmt: skip
@log_book_options
@result_option
def identify(
    log_file: Path | None,
    vehicle_file: Path,
    out: Path,
    report_file: Path | None,
    planned: bool,
    wear_points: int,
    bend: bool,
    still: tuple[int, ...],
    keep_neutrals: bool,
    although_implausible: bool,
    burn_s: float | None,
    noise_share: float,
    rate_hz: float,
    as_json: bool,
    given_log: GivenLog,
) -> None:
    """Find out from a static test what the vanes really give, and correct the vehicle file.

    LOG is the test's CSV: time_s, chamber_pressure_bar, vane1_deg to vane4_deg as measured, and
    what acts on the vehicle: side_y_n, side_z_n, roll_nm, axial_n. Found, each with its standard
    error: effectiveness of each vane and its wear over the burn, misclocking, where edge-on is,
    roll arm, thrust lost at rest and deflected. What the test did not tell keeps the file's value
    and is named. Neutrals move only where edge-on is off them by more than two standard errors.
    Loads in another unit, or of a wrong sign, are refused with the likely reason. Comments in the
    vehicle file stay.

    With --plan and no LOG it proposes the deflections for a burn instead.

    CAUTION: a static test is fire under pressure with servos moving: people behind cover, hands
    off, the test stand's rules and local law first. Run the programme cold before it is run hot.

    Example: fourvane identify test.csv --vehicle vehicle.toml --out tested.toml
    """
    vehicle = load_vehicle(vehicle_file)
    if planned:
        if log_file is not None or report_file is not None:
            raise InputError("--plan makes a programme for a test to come: leave out LOG, --report")
        propose(vehicle, out, burn_s, noise_share, rate_hz, as_json)
        return
    if log_file is None:
        raise InputError("name the LOG of a static test, or ask for a programme with --plan")
    page_file = report_file or beside(out, ".html")
    book = given_log.kept_in(vehicle_file.parent, range(1, VANES + 1), asker(as_json))
    at = now()
    record = [("date of this report", readable(at)), *book.facts]
    with progress("Static test", STEPS) as done:
        log = read_stand_log(log_file, vehicle, still)
        refuse_mixed_up_columns(log, vehicle)
        done(1)
        found = fit(log, vehicle, wear_points, bend)
        refuse_if_nothing_told(log, found)
        if not although_implausible:
            refuse_implausible(log, found)
        done(2)
        all_findings = findings(found)
        warnings = [
            *not_excited(log, vehicle),
            *not_told(all_findings),
            *second_look(log, found),
        ]
        done(3)
        new = corrected(found, out, origin_of(log_file, log.rehearsal), keep_neutrals)
        warnings += new.notes
        if log.rehearsal:
            warnings.insert(0, "REHEARSAL: the log is of an emulated stand; nothing was burnt")
        if although_implausible:
            warnings += implausible(log, found)
        condition = condition_number(movements(log, vehicle))
        done(4)
    try:
        tested = parse_vehicle(new.file.text(out), str(out))
        new.file.write(out)
    except VehicleError as refusal:
        warnings.insert(0, f"the file with these changes was refused and not written: {refusal}")
        refused = Verdict("fail", f"the corrected file was refused: {refusal}")
        evidence = evidence_of(
            "identify", vehicle, refused, files=[log_file], pieces=book.stated,
            rehearsal=log.rehearsal,
        )  # fmt: skip
        write_page(
            page_file,
            lambda: identify_page(found, all_findings, [], warnings, condition, record),
            evidence,
        )
        raise InputError(
            f"{refusal}\nThat is the vehicle file as this test corrects it, so it was not written: "
            "what the test found and what the file states do not go together. Change what the line "
            "above names in your own file, for what the test found is how the hardware is, and "
            f"run this again. What it found is in {page_file}"
        ) from refusal
    told = sum(finding.told for finding in all_findings)
    evidence = evidence_of(
        "identify",
        vehicle,
        says=f"{told} of {len(all_findings)} quantities told by the test",
        made=tested,
        files=[log_file],
        pieces=book.stated,
        rehearsal=log.rehearsal,
    )
    write_page(
        page_file,
        lambda: identify_page(found, all_findings, new.changes, warnings, condition, record),
        evidence,
    )
    result: dict[str, Any] = {
        "at": at,
        **book.stated,
        "vehicle": vehicle.vehicle.name,
        "log": log_file,
        "burn_s": log.burn_s,
        "burn_load_s": found.blocks.full_load_s,
        "condition_number": condition,
        "findings": [{**vars(finding), "differs": finding.differs} for finding in all_findings],
        "warnings": warnings,
        "changes": new.changes,
        "out": out,
        "report": page_file,
    }
    emit(
        result,
        as_json,
        lambda: show(all_findings, warnings, new, out, page_file),
        next_step(tested, out, "identify"),
        evidence.plain,
    )


def show(
    all_findings: list[Finding], warnings: list[str], new: Corrected, out: Path, page_file: Path
) -> None:
    """What a person sees on the terminal."""
    output.print(table_of(all_findings))
    for warning in warnings:
        output.print(f"Note: {warning}", soft_wrap=True)
    output.print("Changed in the vehicle file:")
    for change in new.changes:
        output.print(f"  {change}", soft_wrap=True)
    output.print(f"vehicle: {out}\nreport: {page_file}", soft_wrap=True)


def table_of(all_findings: list[Finding]) -> Shown:
    """The findings as a terminal table."""
    table = Shown("", "file", "found", "error", "unit", "", box=None, pad_edge=False)
    for column in table.columns[1:4]:
        column.justify = "right"
    for finding in all_findings:
        table.add_row(*written(finding))
    return table


def propose(
    vehicle: Vehicle, out: Path, burn_s: float | None, share: float, rate_hz: float, as_json: bool
) -> None:
    """Write a programme and tell what it would tell."""
    programme = plan(vehicle, burn_s)
    with progress("Programme", None):
        expected = expect(vehicle, programme, StandCells(share, rate_hz))
    write_programme(out, programme)
    result: dict[str, Any] = {
        "vehicle": vehicle.vehicle.name,
        "burn_s": float(programme.time_s[-1]),
        "slot_s": programme.slot_s,
        "frames": programme.frames,
        "largest_deflection_deg": np.abs(programme.deflection_deg).max(axis=0),
        "largest_loads": expected.largest,
        "assumed_noise": expected.noise,
        "expected_errors": {name: error for (name, _), error in expected.rows.items()},
        "out": out,
    }
    evidence = evidence_of("identify --plan", vehicle)
    following = (
        f"fourvane stand play {out} --vehicle {vehicle.path} --board PORT, without fire first, "
        "then hot; fourvane stand merge brings the stand's log and the record onto one clock, and "
        "fourvane identify reads it"
    )
    emit(
        result,
        as_json,
        lambda: show_plan(programme, expected, out),
        following,
        evidence.plain,
    )


def show_plan(programme: Programme, expected: Expected, out: Path) -> None:
    """The programme and what it promises, for a person."""
    rounds = "1 round" if programme.frames == 1 else f"{programme.frames} rounds"
    output.print(
        f"{rounds} of {programme.slot_s * 16:.3g} s over a burn of "
        f"{programme.time_s[-1]:g} s; each vane moves in its own pattern",
        soft_wrap=True,
    )
    table = Shown("load", "largest", "noise assumed", "unit", box=None, pad_edge=False)
    for name, unit in zip(expected.largest, LOAD_UNITS, strict=True):
        table.add_row(name, f"{expected.largest[name]:.4g}", f"{expected.noise[name]:.3g}", unit)
    output.print(table)
    table = Shown("would be known to", "±", "unit", box=None, pad_edge=False)
    for (name, unit), error in expected.rows.items():
        table.add_row(name, f"{error:.2g}", unit)
    output.print(table)
    output.print(
        "The stand must carry the largest loads with room to spare. Run the programme without fire "
        "first, hands off: all four vanes move fast.",
        soft_wrap=True,
    )
    output.print(f"programme: {out}", soft_wrap=True)
