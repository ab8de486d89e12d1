"""`fourvane board`: build, run, deploy to and verify boards."""

from pathlib import Path
from typing import ClassVar

import click
import numpy as np
from rich.table import Table

from hil.boards.deploy import compile_for, core_form, deploy, install
from hil.boards.emulated import EmulatedBoard
from hil.boards.firmware import Say, build_firmware, cached_firmware
from hil.boards.link import Link
from hil.boards.node_on_board import serve_on
from hil.boards.open_board import open_board
from hil.boards.unix import UnixBoard
from hil.verify.verify import CYCLES, SEEDS, Findings, Rows, verify
from mixer.ground.allocation.demands import DemandFile
from mixer.ground.command_line.fourvane import FAILED, emit, result_option
from mixer.ground.command_line.path_options import SOURCE
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
vehicle_argument = click.argument("vehicle", type=SOURCE)


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
def board() -> None:
    """Put the flight core on a microcontroller and prove that it computes the same.

    Boards: `emulated` (a Cortex-M3 in QEMU), `unix` (an interpreter on this computer), or the port
    of a real one, such as /dev/ttyACM0 or COM3.

    Example: fourvane board verify --board unix vehicle.toml
    """


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
    emit({"firmware": str(firmware), "built": not kept}, as_json)


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
    tables = flight_tables(load_vehicle(vehicle)).to_bytes()
    with messages.status("starting") as status:
        opened = served_board(name, firmware, status.update)
    with opened:
        with progress(f"deploying to {name}", 1.0) as done:
            serve_on(opened, tables, done)
        emit({"port": opened.port}, as_json)
        if not as_json:
            messages.print("the node runs, safe; Ctrl-C ends it")
        opened.wait()


def served_board(name: str, firmware: Path | None, say: Say) -> EmulatedBoard | UnixBoard:
    """A board that drives no servo, its clock this computer's."""
    if name == "unix":
        return UnixBoard()
    return EmulatedBoard(firmware or build_firmware(say))


@board.command("deploy")
@click.option("--board", "name", required=True, metavar="PORT", help="The real board's port.")
@wiring_option
@log_book_options
@result_option
@vehicle_argument
def deploy_command(
    name: str, wiring: str, vehicle: Path, as_json: bool, given_log: GivenLog
) -> None:
    """Put the node and a vehicle's flight tables on a real board; it serves after its next reset.

    CAUTION: take the servo power off first.

    Example: fourvane board deploy --board /dev/ttyACM0 --wiring rp2 vehicle.toml
    """
    tables = flight_tables(load_vehicle(vehicle)).to_bytes()
    book = given_log.kept_in(vehicle.parent, (), asker(as_json))
    messages.print(CAUTION)
    with open_board(name, wiring=wiring) as opened, Link(opened.port) as link:
        facts = link.facts()
        files = compile_for(facts)
        core = core_form(facts, files)
        messages.print(f"flight core: {core}")
        with progress("deploying", 1.0) as done:
            size = deploy(link, facts, files, done)
        install(link, facts, wiring, tables)
    result = {"board": name, "machine": facts.machine, "core": core, "image_bytes": size}
    emit({"at": now(), **book.stated, **result}, as_json)


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
        for what, value in (("Date", readable(record["at"])), *book.facts):
            output.print(f"{what}: {value}", soft_wrap=True)

    emit({**record, **findings.as_dict()}, as_json, tell)
    if not findings.passed:
        raise SystemExit(FAILED)


class Stages:
    """How far the whole is when one stage has come so far; the shares are those of the time."""

    SHARES: ClassVar = {
        "deploying": 0.08,
        "recorded flight": 0.2,
        "random cycles": 0.6,
        "round trips": 0.12,
    }

    def overall(self, stage: str, share: float) -> float:
        """The share of the whole."""
        names = list(self.SHARES)
        before = sum(self.SHARES[name] for name in names[: names.index(stage)])
        return before + share * self.SHARES[stage]


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
    said = findings.as_dict()
    instructions = said["worst_instructions"] is not None
    unit = "instructions" if instructions else "µs"
    worst, middle = findings.costs(findings.unit)
    no_heap = findings.heap_locked and findings.heap_bytes_per_cycle == 0
    heap = (
        "none, proved under a locked heap"
        if no_heap
        else f"{findings.heap_bytes_per_cycle:g} bytes"
    )
    flags = ", ".join(f"{name} {count}" for name, count in said["flags"].items())
    table = Table(title=f"{findings.board}: {findings.machine}", show_header=False)
    for label, value in (
        ("firmware", findings.release),
        ("flight core", findings.core),
        ("on the board", f"{findings.image_bytes} bytes"),
        ("cycles compared", f"{findings.played.cycles}, seeds {seed_range(findings.seeds)}"),
        ("answers that differ", f"{findings.played.mismatches}"),
        (f"worst step, {unit}", f"{worst}"),
        (f"median step, {unit}", f"{middle}"),
        ("heap a cycle", heap),
        ("round trips a second", f"{findings.round_trips_per_s:.0f}"),
        ("record of a flight, s", f"{findings.record_s:.1f}"),
        ("cycles with each flag", flags),
    ):
        table.add_row(label, value)
    output.print(table)
    if findings.played.first_mismatch:
        output.print(f"first difference: {findings.played.first_mismatch}")
    if instructions:
        output.print(
            "Instructions are not cycles: a real core takes more, and waits for its flash."
        )
    if not findings.heap_locked:
        output.print("A cycle needed heap while it was locked.")


def seed_range(seeds: list[int]) -> str:
    """Consecutive seeds, short."""
    return f"{seeds[0]} to {seeds[-1]}"
