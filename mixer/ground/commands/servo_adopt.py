"""`fourvane servo adopt`: what the bench measured into the vehicle file."""

from pathlib import Path

import click

from mixer.ground.command_line.fourvane import FAILED, emit, result_option, stop
from mixer.ground.command_line.next_step import next_step
from mixer.ground.command_line.path_options import RESULT, SOURCE
from mixer.ground.evidence.evidence import evidence_of, write_beside
from mixer.ground.reports.console import messages, output
from mixer.ground.reports.page import Verdict
from mixer.ground.servo_bench.adopt import adopt
from mixer.ground.servo_bench.results import BenchRun, read_run
from mixer.ground.vehicle.vehicle import load_vehicle, parse_vehicle


@click.command(name="adopt")
@click.argument("folder", metavar="FOLDER", type=click.Path(path_type=Path, file_okay=False))
@click.option("--vehicle", "vehicle_file", type=SOURCE, required=True, help="The vehicle file.")
@click.option("--out", type=RESULT, required=True, help="The new vehicle file.")
@click.option("--without-tables", is_flag=True, help="Take slew, latency and backlash only.")
@click.option(
    "--slew-share",
    type=click.FloatRange(0.1, 1.0),
    default=0.9,
    show_default=True,
    help="What part of the slew measured without load is counted on in flight.",
)
@click.option(
    "--keep-jig", is_flag=True, help="Edge-on is the jig's, whatever a static test found."
)
@click.option("--although-failed", is_flag=True, help="Take a run that failed all the same.")
@click.option(
    "--rehearsal", is_flag=True, help="Take a rehearsal with emulated servos, for practice."
)
@result_option
def adopt_command(
    folder: Path,
    vehicle_file: Path,
    out: Path,
    without_tables: bool,
    slew_share: float,
    keep_jig: bool,
    although_failed: bool,
    rehearsal: bool,
    as_json: bool,
) -> None:
    """Put the measurements in a bench FOLDER into a new vehicle file, comments kept.

    The allocator then moves no vane faster than its own servo was measured to, less the share
    kept back for the load, and the measured tables make the pulses.

    Where a static test has found edge-on elsewhere than the jig ([servos] edge_on_deg, written by
    fourvane identify), the tables are moved to what the test found, unless --keep-jig.

    A run that failed is refused with exit status 1. So is, with 2, a rehearsal with emulated
    servos and a run made on a vehicle of another name.

    Example: fourvane servo adopt fourvane-bench --vehicle vehicle.toml --out measured.toml
    """
    vehicle = load_vehicle(vehicle_file)
    run = read_run(folder, not without_tables)
    run.same_vehicle(vehicle.vehicle.name)
    if run.reasons and not although_failed:
        stop(
            f"{run.path}: the bench run failed, nothing was written:{listed(run.reasons)}\n"
            "Put it right and measure again with --anew, or say --although-failed if these "
            "figures are meant to be counted on.",
            FAILED,
        )
    if not rehearsal:
        run.real()
    changes = adopt(vehicle, out, run.servos, slew_share, keep_jig)
    measured = parse_vehicle(out.read_bytes().decode("utf-8"), str(out))
    failed = Verdict("fail", f"adopted although the run failed: {'; '.join(run.reasons)}")
    evidence = evidence_of(
        "servo adopt",
        vehicle,
        failed if run.reasons else None,
        says=f"servo {', '.join(map(str, sorted(run.servos)))} adopted from {folder.name}",
        made=measured,
        files=measured_files(folder, run),
        rehearsal=run.rehearsal,
    )
    record = write_beside(out, evidence)
    tell_doubts(run)
    result = {
        "vehicle": out,
        "servos": sorted(run.servos),
        "passed": not run.reasons,
        "reasons": run.reasons,
        "not_measured": run.not_measured,
        "rehearsal": run.rehearsal,
        "changes": changes,
        "record": record,
    }

    def show() -> None:
        for change in changes or ["nothing changed"]:
            output.print(change, soft_wrap=True)
        output.print(f"written to {out}", soft_wrap=True)

    emit(result, as_json, show, next_step(measured, out, "servo adopt"), evidence.plain)


def measured_files(folder: Path, run: BenchRun) -> list[Path]:
    """What of a bench's folder stands behind the figures: journals and tables."""
    tables = [servo.table for servo in run.servos.values() if servo.table is not None]
    return [*sorted(folder.glob("servo-*.journal")), *tables]


def tell_doubts(run: BenchRun) -> None:
    """What speaks against flying by measurements that were adopted all the same."""
    if run.reasons:
        messages.print(
            f"adopted although the bench run failed:{listed(run.reasons)}", soft_wrap=True
        )
    elif run.not_measured:
        messages.print(f"passed so far, not measured: {', '.join(run.not_measured)}")
    if run.rehearsal:
        messages.print("a rehearsal: these are emulated servos, not to be flown by")


def listed(reasons: list[str]) -> str:
    return "".join(f"\n! {reason}" for reason in reasons)
