"""`fourvane allocate`: a vehicle and its demands in; deflections, pulses and a report out."""

from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Any

import click
from rich.table import Table

from mixer.ground.allocation import report as flight_report
from mixer.ground.allocation.commands_csv import CommandsWriter
from mixer.ground.allocation.demands import DemandFile
from mixer.ground.allocation.record import AXES, FlightRecord
from mixer.ground.allocation.run import Jam
from mixer.ground.allocation.run import allocate as run_demands
from mixer.ground.command_line.fourvane import emit, result_option
from mixer.ground.command_line.next_step import next_step
from mixer.ground.command_line.path_options import RESULT, SOURCE, beside
from mixer.ground.evidence.evidence import Evidence, evidence_of
from mixer.ground.evidence.on_page import stamped
from mixer.ground.inputs.arrays import VANES
from mixer.ground.inputs.csv_files import InputError, write_whole
from mixer.ground.reports.console import messages, output, progress
from mixer.ground.reports.facts import counted
from mixer.ground.tables.build import flight_tables
from mixer.ground.vehicle.vehicle import Vehicle, load_vehicle


@click.command()
@click.argument("vehicle_file", metavar="VEHICLE", type=SOURCE)
@click.argument("demands_file", metavar="DEMANDS", type=SOURCE)
@click.option(
    "--out",
    required=True,
    metavar="FILE",
    type=RESULT,
    help="Where the commands go: CSV with deflections, pulses, moments and flags.",
)
@click.option(
    "--report",
    metavar="FILE",
    type=RESULT,
    help="Where the report goes. Left out: beside the commands, with the ending .html.",
)
@click.option(
    "--load",
    "load_s",
    metavar="SECONDS",
    type=click.FloatRange(0, 1000),
    help="Burn load already on the vanes at the first row. Left out: that row's time.",
)
@click.option(
    "--jam",
    "jams",
    multiple=True,
    metavar="VANE SECONDS",
    type=(click.IntRange(1, VANES), click.FloatRange(0, 3600)),
    help="This vane stands still from this burn time on. Can be repeated.",
)
@result_option
def allocate(
    vehicle_file: Path,
    demands_file: Path,
    out: Path,
    report: Path | None,
    load_s: float | None,
    jams: tuple[tuple[int, float], ...],
    as_json: bool,
) -> None:
    """Turn pitch, yaw and roll demands into four vane deflections and four servo pulses.

    DEMANDS is a CSV file with the columns time_s, pitch_nm, yaw_nm, roll_nm and, if you have it,
    chamber_pressure_bar; every row is one control cycle. The same code runs on the board. A demand
    too large to be one is refused, flagged bad-demand, and the last good one is held.

    CAUTION: played to a servo, these pulses move vanes. Hands out of the linkage.

    Example: fourvane allocate vehicle.toml demands.csv --out commands.csv
    """
    report = beside(out, ".html") if report is None else report
    vehicle = load_vehicle(vehicle_file)
    evidence = evidence_of("allocate", vehicle, files=[demands_file])
    made_to_jam = [Jam(*jam) for jam in jams]
    record = allocate_files(vehicle, demands_file, out, report, evidence, made_to_jam, load_s)
    warning = flight_report.gap_warning(record, vehicle)
    if warning:
        messages.print(f"Warning: {warning}", soft_wrap=True)
    result: dict[str, Any] = {
        "vehicle": vehicle.vehicle.name,
        "commands": out,
        "report": report,
        **flight_report.facts(record, vehicle),
    }
    following = next_step(vehicle, vehicle_file, "allocate")
    emit(result, as_json, lambda: show(result), following, evidence.plain)


def allocate_files(
    vehicle: Vehicle,
    demands_file: Path,
    out: Path,
    report: Path,
    evidence: Evidence,
    jams: Sequence[Jam] = (),
    load_s: float | None = None,
) -> FlightRecord:
    """Run a demand file and write commands and report, both whole or neither."""
    tables = flight_tables(vehicle)
    demands = DemandFile(demands_file, vehicle)
    with ExitStack() as files:
        commands_stream = files.enter_context(write_whole(out))
        report_stream = files.enter_context(write_whole(report))
        with progress("Steering", demands.bytes_total) as done:
            record = run_demands(
                vehicle, tables, demands, CommandsWriter(commands_stream), jams, load_s, done
            )
        refuse_late(jams, record.last_s)
        sources = {
            "Vehicle file": vehicle.path,
            "Demands": demands_file,
            "Commands": out,
        }
        page = flight_report.page(vehicle, record, sources, notes(record, vehicle, jams, load_s))
        report_stream.write(stamped(page, evidence))
        for stream in (commands_stream, report_stream):  # trouble comes before either is in place
            stream.flush()
    return record


def refuse_late(jams: Sequence[Jam], last_s: float) -> None:
    """InputError for a jam that comes after the last demand, so never."""
    for jam in jams:
        if jam.time_s > last_s:
            raise InputError(
                f"--jam {jam.vane} {jam.time_s:g}: never happens, since the demands end at "
                f"{last_s:g} s; name a time up to there"
            )


def notes(
    record: FlightRecord, vehicle: Vehicle, jams: Sequence[Jam], load_s: float | None
) -> list[str]:
    """What a reader of the report has to know first."""
    found = [
        f"Vane {jam.vane} was made to stand still from {jam.time_s:g} s on, and the steering was "
        "told so."
        for jam in jams
    ]
    if load_s is not None:
        found.append(f"The vanes had a burn load of {load_s:g} s at the first row.")
    warning = flight_report.gap_warning(record, vehicle)
    if warning:
        found.append(f"Warning: {warning}")
    return found


def show(result: dict[str, Any]) -> None:
    """The run in a few lines."""
    counts = {flag: count for flag, count in result["rows_flagged"].items() if count}
    table = Table("flag", "control cycles", "share", box=None, pad_edge=False)
    for column in table.columns[1:]:
        column.justify = "right"
    for flag, count in counts.items():
        table.add_row(flag, str(count), f"{100 * count / result['rows']:.1f} %")
    worst = result["worst_shortfall_nm"]
    output.print(
        f"{counted(result['rows'], 'control cycle')}, {result['from_s']:g} to "
        f"{result['to_s']:g} s of burn time",
        soft_wrap=True,
    )
    if counts:
        output.print(table)
    told = ", ".join(f"{axis} {worst[axis]:.4g}" for axis in AXES)
    output.print(f"Largest shortfall: {told} N·m", soft_wrap=True)
    output.print(f"Commands: {result['commands']}", soft_wrap=True)
    output.print(f"Report:   {result['report']}", soft_wrap=True)
