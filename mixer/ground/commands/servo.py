"""`fourvane servo`: servo tables from sweeps, and what the bench measured into the vehicle file."""

from pathlib import Path
from typing import Any

import click
from rich.table import Table

from mixer.ground.command_line.fourvane import FAILED, emit, result_option, stop
from mixer.ground.command_line.path_options import RESULT, SOURCE
from mixer.ground.inputs.csv_files import DataError, write_whole
from mixer.ground.inputs.run_files import writes
from mixer.ground.reports.console import messages, output
from mixer.ground.servo_bench.adopt import adopt
from mixer.ground.servo_bench.data import only_swept
from mixer.ground.servo_bench.report import not_measured, servo_page, verdict_line
from mixer.ground.servo_bench.results import BenchRun, read_run
from mixer.ground.servo_bench.verdict import ServoVerdict, servo_verdict
from mixer.ground.servo_fit.accuracy import iso_230_2_lacks
from mixer.ground.servo_fit.fit import (
    ServoFit,
    ServoRefusedError,
    SweepError,
    fit_servo,
    write_servo_table,
)
from mixer.ground.servo_fit.sweep import Sweep, read_sweeps
from mixer.ground.vehicle.vehicle import Vehicle, load_vehicle

vehicle_option = click.option(
    "--vehicle", "vehicle_file", type=SOURCE, required=True, help="The vehicle file."
)


@click.group()
def servo() -> None:
    """Servo tables: fit one from a sweep, or put the bench's measurements into the vehicle file.

    Example: fourvane servo fit sweep.csv --vehicle vehicle.toml --out servo.csv
    """


@servo.command()
@click.argument("sweep_file", metavar="SWEEP", type=SOURCE)
@vehicle_option
@click.option(
    "--out",
    type=RESULT,
    default=Path("servo.csv"),
    show_default=True,
    help="The servo table; with several servos in the sweep, servo-1.csv and so on.",
)
@click.option(
    "--timer-us",
    type=click.FloatRange(0.005, 20),
    default=1.0,
    show_default=True,
    help="The smallest step of the pulse that the board can make.",
)
@click.option(
    "--report",
    type=RESULT,
    help="A page of figures and pictures; with several servos, numbered as the tables are.",
)
@result_option
def fit(
    sweep_file: Path,
    vehicle_file: Path,
    out: Path,
    timer_us: float,
    report: Path | None,
    as_json: bool,
) -> None:
    """Make the servo table of each servo in a sweep file, measured on a bench or by hand.

    The sweep has the columns servo, pulse_us, angle_deg (0 = edge-on to the jet, positive =
    clockwise seen from outside along the shaft), direction (up or down) and pass, with at least
    two passes in each direction over the whole travel. A servo that turns back, sticks or slips
    is refused with the place; one that misses a limit of [acceptance] that a sweep can tell fails,
    its table being written all the same. The exit status is 1 for both.

    Example: fourvane servo fit sweep.csv --vehicle vehicle.toml --out servo.csv
    """
    vehicle = load_vehicle(vehicle_file)
    sweeps = read_sweeps(sweep_file)
    if len(sweeps) > 1:
        named = [path for path in (out, report) if path is not None]
        writes(*(of_servo(path, number, sweeps) for path in named for number in sweeps))
    results: dict[str, Any] = {}
    verdicts: list[ServoVerdict] = []
    for number, sweep in sweeps.items():
        verdict = servo_verdict(vehicle, only_swept(sweep), timer_us, ("sweep",))
        if report is not None:
            write_report(of_servo(report, number, sweeps), vehicle, verdict, sweep_file)
        try:
            found = fit_of(sweep_file, sweep, vehicle, timer_us)
        except ServoRefusedError as refusal:
            results[str(number)] = {"refused": str(refusal), **verdict_result(verdict)}
            messages.print(f"refused: {refusal}", soft_wrap=True)
            verdicts.append(verdict)
            continue
        path = of_servo(out, number, sweeps)
        write_servo_table(path, found.table)
        results[str(number)] = {"table": path, **fit_result(found, verdict)}
        verdicts.append(verdict)
    passed = all(verdict.passed for verdict in verdicts)
    emit(
        {"sweep": sweep_file, "passed": passed, "servos": results},
        as_json,
        lambda: show_fits(verdicts, results),
    )
    if not passed:
        raise SystemExit(FAILED)


def fit_of(sweep_file: Path, sweep: Sweep, vehicle: Vehicle, timer_us: float) -> ServoFit:
    """The fit over the vehicle's travel; DataError, with the file's name, where there is none."""
    low, high = vehicle.vanes.travel_deg[sweep.servo - 1]
    try:
        return fit_servo(sweep, (float(low), float(high)), timer_us)
    except SweepError as error:
        raise DataError(sweep_file, None, None, None, str(error)) from error


def of_servo(path: Path, number: int, sweeps: dict[int, Sweep]) -> Path:
    """The file of one servo: its number in the name where there are several."""
    return path if len(sweeps) == 1 else path.with_stem(f"{path.stem}-{number}")


def write_report(path: Path, vehicle: Vehicle, verdict: ServoVerdict, sweep_file: Path) -> None:
    """The page of a servo of which there is a sweep only."""
    page = servo_page(verdict, vehicle.vehicle.name, [("Sweep file", sweep_file)])
    with write_whole(path) as stream:
        stream.write(page)


def verdict_result(verdict: ServoVerdict) -> dict[str, Any]:
    """What [acceptance] says of a servo, as far as a sweep tells."""
    return {
        "outcome": verdict.outcome,
        "reasons": verdict.reasons,
        "doubts": verdict.doubts,
        "not_measured": [judgement.figure for judgement in verdict.open],
    }


def fit_result(found: ServoFit, verdict: ServoVerdict) -> dict[str, Any]:
    """The figures of a fit, by names that end in their units."""
    lacks = iso_230_2_lacks(found.deflection_deg, found.passes, verdict.sensor_deg is not None)
    return {
        **verdict_result(verdict),
        "points": len(found.table.pulse_us),
        "repeatability_deg": found.repeatability_deg,
        "iso_230_2": {
            "conditions_not_met": lacks,
            "reversal_deg": found.positions.reversal,
            "repeatability_deg": found.positions.repeatability,
            "accuracy_deg": verdict.figures.values()["accuracy_deg"],
        },
        "iec_61298_2": {
            "hysteresis_percent": found.hysteresis_percent,
            "nonlinearity_percent": found.nonlinearity.percent_of_span,
            "terminal_nonlinearity_percent": found.terminal_nonlinearity.percent_of_span,
        },
        "noise_deg": found.noise_deg,
        "resolution_deg": found.resolution_deg,
        "outliers": [str(outlier) for outlier in found.outliers],
    }


def show_fits(verdicts: list[ServoVerdict], results: dict[str, Any]) -> None:
    """A table of the fits, what was left out, and the verdicts."""
    fits = [verdict.figures.fit for verdict in verdicts if verdict.figures.fit is not None]
    for found in fits:
        for outlier in found.outliers:
            output.print(f"left out: {outlier}", soft_wrap=True)
    if fits:
        # Heads short enough for 80 columns; the files stand below.
        head = ("servo", "points", "promised", "reversal", "hysteresis", "non-linear")
        table = Table(*head, box=None, pad_edge=False)
        for column in table.columns[1:]:
            column.justify = "right"
        for found in fits:
            table.add_row(
                str(found.servo),
                str(len(found.table.pulse_us)),
                f"±{found.repeatability_deg / 2:.3f} deg",
                f"{found.positions.reversal:.3f} deg",
                f"{found.hysteresis_percent:.2f} %",
                f"{found.nonlinearity.percent_of_span:.2f} %",
            )
        output.print(table)
    for verdict in verdicts:
        missing = not_measured([judgement.figure for judgement in verdict.open])
        line = verdict_line(
            verdict.outcome, verdict.reasons, verdict.judgements, missing, verdict.doubts
        )
        output.print(
            f"servo {verdict.servo}: {verdict.outcome.upper()}. {line.reason}", soft_wrap=True
        )
    for number, result in results.items():
        if "table" in result:
            output.print(f"table of servo {number}: {result['table']}", soft_wrap=True)


@servo.command(name="adopt")
@click.argument("folder", metavar="FOLDER", type=click.Path(path_type=Path, file_okay=False))
@vehicle_option
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
    tell_doubts(run)
    result = {
        "vehicle": out,
        "servos": sorted(run.servos),
        "passed": not run.reasons,
        "reasons": run.reasons,
        "not_measured": run.not_measured,
        "rehearsal": run.rehearsal,
        "changes": changes,
    }

    def show() -> None:
        for change in changes or ["nothing changed"]:
            output.print(change, soft_wrap=True)
        output.print(f"written to {out}", soft_wrap=True)

    emit(result, as_json, show)


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
