"""`fourvane servo`: servo tables from sweeps, and what the bench measured into the vehicle file."""

from pathlib import Path
from typing import Any

import click
from rich.table import Table

from mixer.ground.command_line.fourvane import FAILED, emit, result_option
from mixer.ground.command_line.next_step import next_step
from mixer.ground.command_line.path_options import RESULT, SOURCE
from mixer.ground.commands.servo_adopt import adopt_command
from mixer.ground.evidence.evidence import evidence_of
from mixer.ground.evidence.on_page import stamped
from mixer.ground.inputs.csv_files import DataError, write_whole
from mixer.ground.inputs.run_files import writes
from mixer.ground.reports.console import messages, output
from mixer.ground.reports.page import Verdict
from mixer.ground.servo_bench.data import only_swept
from mixer.ground.servo_bench.report import not_measured, servo_page, verdict_line
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
        next_step(vehicle, vehicle_file, "servo fit"),
        evidence_of(
            "servo fit", vehicle, Verdict("pass" if passed else "fail", ""), files=[sweep_file]
        ).plain,
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
    evidence = evidence_of("servo fit", vehicle, line_of(verdict), files=[sweep_file])
    with write_whole(path) as stream:
        stream.write(stamped(page, evidence))


def line_of(verdict: ServoVerdict) -> Verdict:
    """What [acceptance] says of a servo, in a line."""
    missing = not_measured([judgement.figure for judgement in verdict.open])
    return verdict_line(
        verdict.outcome, verdict.reasons, verdict.judgements, missing, verdict.doubts
    )


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
        output.print(
            f"servo {verdict.servo}: {verdict.outcome.upper()}. {line_of(verdict).reason}",
            soft_wrap=True,
        )
    for number, result in results.items():
        if "table" in result:
            output.print(f"table of servo {number}: {result['table']}", soft_wrap=True)


servo.add_command(adopt_command)
