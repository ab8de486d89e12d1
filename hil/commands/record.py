"""`fourvane record`: fetch the record of a flight from the node, and run it through the core."""

from pathlib import Path

import click

from hil.boards.link import BAUD
from hil.commands.record_tap import tap, vehicle_option
from hil.node.record_fetch import clear, fetch
from hil.node.served_line import served_line
from mixer.ground.command_line.fourvane import FAILED, emit, result_option
from mixer.ground.command_line.path_options import RESULT, SOURCE
from mixer.ground.evidence.evidence import evidence_of, sums_of
from mixer.ground.evidence.on_page import write_page
from mixer.ground.flight_record.findings import facts
from mixer.ground.flight_record.kept_record import kept_beside, whose
from mixer.ground.flight_record.record_file import read_record, record_in
from mixer.ground.flight_record.replay import replay
from mixer.ground.flight_record.report import page, sentence, verdict
from mixer.ground.flight_record.vane_angles import put_angles
from mixer.ground.reports.console import messages, output, progress
from mixer.ground.tables.build import flight_tables
from mixer.ground.vehicle.vehicle import load_vehicle


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
def record() -> None:
    """The record of a flight: what the steering was told, fetched or heard, and replayed.

    Example: fourvane record replay flight.record --vehicle vehicle.toml
    """


record.add_command(tap)


@record.command("fetch")
@click.option("--board", "port", required=True, metavar="PORT", help="The line the node serves.")
@click.option("--baud", type=click.IntRange(1200), default=BAUD, show_default=True)
@click.option(
    "--out",
    type=RESULT,
    default="flight.record",
    show_default=True,
    help="Where to; a fetch that was cut off goes on there.",
)
@click.option("--clear", "clears", is_flag=True, help="Then let the node forget it.")
@vehicle_option
@result_option
def fetch_command(
    port: str, baud: int, out: Path, clears: bool, vehicle_file: Path | None, as_json: bool
) -> None:
    """Fetch what the node recorded, over the line that it serves; it must be safe.

    Each block is checked by its CRC-32 and on disk before the next one comes. Interrupted, the same
    command goes on. Power off and the record is gone: it is kept in the node's memory alone.

    CAUTION: before anyone goes near the rocket, the range's safety officer has declared it safe.
    Take the servo power off first; the node needs its own.

    Example: fourvane record fetch --board /dev/ttyACM0 --out flight.record
    """
    vehicle = None if vehicle_file is None else load_vehicle(vehicle_file)
    with served_line(port, baud) as link:
        with progress("fetching", 1.0) as done:
            held, before = fetch(link, out, done)
        if clears:
            clear(link, held)
    if held.lost:
        messages.print(
            f"The node's memory was full: its last {held.lost} cycles are not in the record."
        )
    told = {"record": out, "blocks": held.blocks, "blocks_from_before": before,
            "cycles": held.cycles, "cycles_without_room": held.lost, "cleared": clears}  # fmt: skip
    evidence = None if vehicle is None else kept_beside("record fetch", vehicle, record_in(out))
    emit(
        told,
        as_json,
        lambda: output.print(f"{held.blocks} blocks are in {out}", soft_wrap=True),
        f"fourvane record replay {out} --vehicle {vehicle_file or 'VEHICLE'}",
        evidence,
    )


@record.command("replay")
@click.argument("record_file", metavar="RECORD", type=SOURCE)
@click.option("--vehicle", "vehicle_file", type=SOURCE, required=True, help="The one that flew.")
@click.option("--report", "report_file", type=RESULT, default="replay.html", show_default=True)
@click.option(
    "--angles",
    "angles_file",
    type=SOURCE,
    help="Vane angles that were measured: a CSV file of time_s and vane1_deg to vane4_deg.",
)
@click.option(
    "--angles-began",
    "began_s",
    type=float,
    default=0.0,
    show_default=True,
    metavar="SECONDS",
    help="What the clock of --angles said at the record's first cycle.",
)
@result_option
def replay_command(
    record_file: Path,
    vehicle_file: Path,
    report_file: Path,
    angles_file: Path | None,
    began_s: float,
    as_json: bool,
) -> None:
    """Run a record through the flight core here, and report the flight that it tells.

    Exit status 1 where a single integer differs from what the node answered; 2 where the record is
    of another vehicle's tables, or damaged. With --angles the report tells which servo fell behind.

    Example: fourvane record replay flight.record --vehicle vehicle.toml
    """
    vehicle = load_vehicle(vehicle_file)
    tables = flight_tables(vehicle)
    kept = read_record(record_file)
    if kept.torn_bytes:
        messages.print(
            f"{record_file} is torn: {kept.torn_bytes} bytes of its last block are there, what "
            "stands in them is unchecked",
            soft_wrap=True,
        )
    with progress("replaying", max(len(kept.blocks), 1)) as done:
        found = replay(kept, tables, done)
    if angles_file is not None:
        put_angles(found, angles_file, began_s)
    told = facts(found, tables)
    evidence = evidence_of(
        "record replay", vehicle, verdict(found, kept.torn_bytes), tables=sums_of(tables),
        files=[record_file, *([angles_file] if angles_file else [])], **whose(kept),
    )  # fmt: skip
    write_page(
        report_file,
        lambda: page(vehicle.vehicle.name, found, told, tables, kept.torn_bytes),
        evidence,
    )

    def tell() -> None:
        output.print(sentence(found), soft_wrap=True)
        output.print(f"The report is in {report_file}", soft_wrap=True)

    following = f"fourvane handover {vehicle_file} --from . --out handover.html"
    emit({**told, "report": report_file}, as_json, tell, following, evidence.plain)
    if found.differing and found.exact:
        raise SystemExit(FAILED)
