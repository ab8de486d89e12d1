"""`fourvane board`: build, run, deploy to and verify boards."""

from pathlib import Path

import click
import numpy as np
from rich.table import Table

from hil.boards.deploy import compile_for, core_form, deploy, install
from hil.boards.firmware import build_firmware, cached_firmware
from hil.boards.link import Link
from hil.boards.node_on_board import kept_tables_crc32, serve_on
from hil.boards.open_board import open_board, served_board
from hil.pad.command import check_command
from hil.verify.report import (
    NOT_CYCLES,
    cost_unit,
    deployed_page,
    figures,
    verdict,
    verified_page,
)
from hil.verify.stages import Stages
from hil.verify.verify import CYCLES, SEEDS, Findings, Rows, verify
from mixer.ground.allocation.demands import DemandFile
from mixer.ground.command_line.fourvane import FAILED, emit, result_option
from mixer.ground.command_line.next_step import next_step
from mixer.ground.command_line.path_options import RESULT, SOURCE
from mixer.ground.evidence.evidence import evidence_of, sums_of
from mixer.ground.evidence.on_page import write_page
from mixer.ground.inputs.log_book import GivenLog, asker, log_book_options, now, readable
from mixer.ground.reports.console import messages, output, progress
from mixer.ground.tables.build import flight_tables
from mixer.ground.vehicle.vehicle import Vehicle, load_vehicle

CAUTION = (
    "CAUTION: an armed node moves powered servos without warning. Fingers and tools out of the "
    "linkages, servo power off until you mean it, no pyrotechnics or propellant connected."
)
WIRINGS = ("rp2", "stm32")
firmware_option = click.option(
    "--firmware",
    type=SOURCE,
    help="MicroPython's ELF file for the emulated board, instead of the one that is built.",
)
wiring_option = click.option(
    "--wiring",
    type=click.Choice(WIRINGS),
    default="rp2",
    show_default=True,
    help="How a real board is wired: its file in firmware_port/boards.",
)
report_option = click.option(
    "--report", metavar="FILE", type=RESULT, help="A page for the module's log book."
)
vehicle_argument = click.argument("vehicle", type=SOURCE)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
def board() -> None:
    """Put the flight core on a microcontroller and prove that it computes the same.

    Boards: `emulated` (a Cortex-M3 in QEMU), `unix` (an interpreter on this computer), or the port
    of a real one, such as /dev/ttyACM0 or COM3.

    Example: fourvane board verify --board unix vehicle.toml
    """


board.add_command(check_command)


@board.command()
@click.option("--again", is_flag=True, help="Build even if a built firmware is kept.")
@result_option
def build(again: bool, as_json: bool) -> None:
    """Build MicroPython's firmware for the emulated board, once. Debian only; about 20 s.

    Example: fourvane board build
    """
    kept = cached_firmware().exists() and not again
    with messages.status("building") as status:
        firmware = build_firmware(lambda stage: status.update(stage), again=again)
    following = "fourvane board verify --board emulated VEHICLE: the board computes the same"
    emit({"firmware": str(firmware), "built": not kept}, as_json, None, following)


@board.command()
@click.option(
    "--board",
    "name",
    type=click.Choice(("emulated", "unix")),
    default="emulated",
    show_default=True,
    help="emulated, or unix, which keeps one core of this computer busy.",
)
@firmware_option
@result_option
@vehicle_argument
def run(name: str, firmware: Path | None, vehicle: Path, as_json: bool) -> None:
    """Run the node with a vehicle's tables for a program of your own; its port is printed.

    The node is safe and serves in real time, by the emulator's or the interpreter's clock: a flight
    computer's end opens the port, asks, arms and demands. No servo hangs on it. Ctrl-C ends it.

    Example: fourvane board run vehicle.toml
    """
    loaded = load_vehicle(vehicle)
    tables = flight_tables(loaded)
    with messages.status("starting") as status:
        opened = served_board(name, firmware, status.update)
    with opened:
        serve_on(opened, tables.to_bytes())
        evidence = evidence_of("board run", loaded, tables=sums_of(tables), board=name)
        following = f"a program of your own opens {opened.port}; firmware_port/FRAMES.md tells how"
        emit({"port": opened.port}, as_json, None, following, evidence.plain)
        if not as_json:
            messages.print("the node runs, safe; Ctrl-C ends it")
        opened.wait()


@board.command("deploy")
@click.option("--board", "name", required=True, metavar="PORT", help="The real board's port.")
@wiring_option
@report_option
@log_book_options
@result_option
@vehicle_argument
def deploy_command(
    name: str, wiring: str, report: Path | None, vehicle: Path, as_json: bool, given_log: GivenLog
) -> None:
    """Put the node and a vehicle's flight tables on a real board; it serves after its next reset.

    CAUTION: take the servo power off first.

    Example: fourvane board deploy --board /dev/ttyACM0 --wiring rp2 vehicle.toml
    """
    loaded = load_vehicle(vehicle)
    tables = flight_tables(loaded)
    book = given_log.kept_in(vehicle.parent, (), asker(as_json))
    messages.print(CAUTION)
    with open_board(name, wiring=wiring) as opened, Link(opened.port) as link:
        facts = link.facts()
        files = compile_for(facts)
        core = core_form(facts, files)
        messages.print(f"flight core: {core}")
        with progress("deploying", 1.0) as done:
            size = deploy(link, facts, files, done)
        install(link, facts, wiring, tables.to_bytes())
        kept = kept_tables_crc32(link, facts)
    evidence = evidence_of(
        "board deploy",
        loaded,
        says=f"code and flight tables put on the board; it keeps tables {kept}",
        tables=sums_of(tables),
        board=f"{name}: {facts.machine}",
        firmware=facts.release,
        on_board=kept,
        rehearsal=False,
        pieces=book.stated,
    )
    if report is not None:
        about = [("Board", name), ("Flight core", core), ("On the board", f"{size} bytes")]
        write_page(
            report, lambda: deployed_page(loaded.vehicle.name, [*about, *book.facts]), evidence
        )
    result = {"board": name, "machine": facts.machine, "core": core, "image_bytes": size}
    following = next_step(loaded, vehicle, "board deploy")
    told = {"at": now(), **book.stated, **result}
    emit(told, as_json, following=following, evidence=evidence.plain)


@board.command("verify")
@click.option(
    "--board",
    "name",
    required=True,
    metavar="BOARD",
    help="emulated, unix, or a real board's port.",
)
@firmware_option
@wiring_option
@click.option("--demands", type=SOURCE, help="A demands CSV to play as well.")
@click.option("--cycles", type=click.IntRange(240), default=CYCLES, show_default=True)
@click.option("--seeds", type=click.IntRange(1), default=SEEDS, show_default=True)
@click.option("--first-seed", type=int, default=0, show_default=True)
@report_option
@log_book_options
@result_option
@vehicle_argument
def verify_command(
    name: str,
    firmware: Path | None,
    wiring: str,
    demands: Path | None,
    cycles: int,
    seeds: int,
    first_seed: int,
    report: Path | None,
    vehicle: Path,
    as_json: bool,
    given_log: GivenLog,
) -> None:
    """Compare a board with this computer, integer for integer, and measure what a cycle costs.

    No servo moves: pulses are recorded instead of driven. Exit status 1 where a single integer
    differs or a cycle takes heap.

    Example: fourvane board verify --board emulated vehicle.toml
    """
    loaded = load_vehicle(vehicle)
    tables = flight_tables(loaded)
    rows = None if demands is None else demand_rows(demands, loaded)
    real = name not in ("emulated", "unix")
    book = given_log.kept_in(vehicle.parent, (), asker(as_json) if real else None)
    with (
        messages.status("starting the board") as status,
        open_board(name, firmware=firmware, wiring=wiring, say=status.update) as opened,
    ):
        status.stop()
        stages = Stages()
        with progress(f"verifying {name}", 1.0) as done:
            findings = verify(
                opened,
                tables,
                name=name,
                seeds=seeds,
                first_seed=first_seed,
                cycles=cycles,
                rows=rows,
                progress=lambda stage, share: done(stages.overall(stage, share)),
            )
    record = {"at": now(), **book.stated}

    def tell() -> None:
        show(findings)
        if found.outcome == "open":
            output.print(f"{found.word.upper()}: {found.reason}", soft_wrap=True)
        for what, value in (("Date", readable(record["at"])), *book.facts):
            output.print(f"{what}: {value}", soft_wrap=True)

    sums = sums_of(tables)
    found = verdict(findings, str(sums.bytes_crc32), real)
    evidence = evidence_of(
        "board verify",
        loaded,
        found,
        files=[] if demands is None else [demands],
        tables=sums,
        board=f"{name}: {findings.machine}",
        firmware=findings.release,
        on_board=findings.kept_tables_crc32,
        rehearsal=not real,
        pieces=book.stated,
    )
    if report is not None:
        write_page(
            report,
            lambda: verified_page(loaded.vehicle.name, findings, found, book.facts),
            evidence,
        )
    following = next_step(loaded, vehicle, "board verify", findings.passed)
    emit({**record, **findings.as_dict()}, as_json, tell, following, evidence.plain)
    if not findings.passed:
        raise SystemExit(FAILED)


def demand_rows(path: Path, vehicle: Vehicle) -> Rows:
    """A demands CSV as a board gets it: dt µs, pitch, yaw, roll mN·m, pressure Pa."""
    rows: list[tuple[int, ...]] = []
    last_us = 0
    for chunk in DemandFile(path, vehicle):
        times_us = np.round(chunk.time_s * 1e6).astype(int)
        demands_mnm = np.round(chunk.demands_nm * 1e3).astype(int)
        pressures_pa = np.round(chunk.chamber_pressure_bar * 1e5).astype(int)
        for time_us, demand, pressure_pa in zip(times_us, demands_mnm, pressures_pa, strict=True):
            rows.append((int(time_us) - last_us, *map(int, demand), int(pressure_pa)))
            last_us = int(time_us)
    return rows


def show(findings: Findings) -> None:
    """What was found, as a table for people."""
    output.print(f"{findings.board}: {findings.machine}", soft_wrap=True)
    table = Table(show_header=False, box=None, pad_edge=False)
    for row in figures(findings):
        table.add_row(*row)
    output.print(table)
    if findings.played.first_mismatch:
        output.print(f"first difference: {findings.played.first_mismatch}")
    if cost_unit(findings) == "instructions":
        output.print(NOT_CYCLES)
    if not findings.heap_locked:
        output.print("A cycle needed heap while it was locked.")
