"""A bench command from start to end: board, servos one by one, journals, verdicts, reports."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click
from rich.table import Table

from hil.bench import RUNS, items_of, run_bench
from hil.bench_board import bench_board
from hil.bench_options import BenchOptions, OptionError
from hil.bench_plan import BenchPlan
from hil.bench_port import BenchPort
from hil.bench_view import BenchView
from hil.board_port import HOLD_MS, BoardPort
from hil.encoder_zero import read_scales
from hil.journal import Journal, JournalError
from hil.questions import ask
from hil.typed_reader import TypedReader
from mixer.ground.bench_data import bench_data
from mixer.ground.bench_results import (
    RESULTS,
    SWEEP,
    Setup,
    module_result,
    table_name,
    write_results,
)
from mixer.ground.command import INTERRUPTED, stop
from mixer.ground.console import messages, output
from mixer.ground.file_locks import alone_in
from mixer.ground.files import write_whole
from mixer.ground.module_report import module_page, shown
from mixer.ground.quantities import VANES
from mixer.ground.run_files import writes
from mixer.ground.servo_report import NOTHING_ASKED, not_measured, servo_page
from mixer.ground.servo_verdict import ModuleVerdict, module_verdict, servo_verdict
from mixer.ground.vehicle import Vehicle

PATIENT_HOLD_MS = 600_000  # while a person reads a protractor

Result = tuple[dict[str, Any], Callable[[], None]]


def measure(options: BenchOptions, runs: Sequence[str]) -> Result:
    """Make the runs on every servo asked for; what came out, and how to show it."""
    vehicle = options.vehicle()
    plans = {servo: options.plan(vehicle, servo) for servo in options.servos}
    if list(runs) == ["hold"] and not any(plan.load_nm for plan in plans.values()):
        raise OptionError("--load-nm is needed: what hangs on the shaft, such as 0.3")
    options.out.mkdir(parents=True, exist_ok=True)
    writes(*(options.out / name for name in result_names()))
    with alone_in(options.out, "bench"):
        return measured(options, runs, vehicle, plans)


def measured(
    options: BenchOptions, runs: Sequence[str], vehicle: Vehicle, plans: dict[int, BenchPlan]
) -> Result:
    """The runs, in a folder in which nobody else measures."""
    if options.anew:
        set_aside(options, ("ready", *runs))
    current = options.servos[0]
    try:
        with open_port(options, vehicle) as port:
            for servo, plan in plans.items():
                current = servo
                measure_servo(port, plan, runs, options, vehicle)
    except KeyboardInterrupt:
        stop(
            f"interrupted; servo {current} has been led to neutral. What was measured is kept in "
            f"{options.out}: the same command goes on from there",
            INTERRUPTED,
        )
    module = judged(options, vehicle, runs)
    reports = write_reports(options, module)
    setup = Setup(options.board, options.rehearsal)
    files = write_results(options.out, module, setup)
    result = {**module_result(module, setup), "files": [*files, *reports]}
    return result, lambda: show(module, options.out)


def open_port(options: BenchOptions, vehicle: Vehicle):
    """The board's port, or the one whose angles a person types in."""
    if options.rehearsal:
        messages.print(f"rehearsal: emulated servos hang on the pulses of board {options.board}")
    return bench_board(
        options.board,
        vehicle,
        servos=options.emulated(vehicle),
        scales=None if options.rehearsal else read_scales(options.out),
        ask=lambda text: click.pause(f"{text}, then press any key", err=True),
        hold_ms=PATIENT_HOLD_MS if options.by_person else HOLD_MS,
        firmware=options.firmware,
        wiring=options.wiring,
        say=messages.print,
    )


def measure_servo(
    port: BoardPort,
    plan: BenchPlan,
    runs: Sequence[str],
    options: BenchOptions,
    vehicle: Vehicle,
) -> None:
    """One servo through a first look and the runs, each kept in a journal of its own."""
    bench: BenchPort = port
    if options.by_person:
        bench = TypedReader(port, ask, messages.print)
    lists = {run: items_of(plan, [run], bench.can_record) for run in ("ready", *runs)}
    left_out = [run for run, items in lists.items() if not items and run != "hold"]
    if left_out:
        messages.print(f"left out, they need an encoder: {', '.join(left_out)}")
    total = sum(len(items) for items in lists.values())
    with BenchView(plan.servo, total, off=options.by_person) as view:
        for run, items in lists.items():
            if not items:
                continue
            with open_journal(options, vehicle, plan, run) as journal:
                if not run_bench(bench, items, journal, view.show):
                    return


def open_journal(options: BenchOptions, vehicle: Vehicle, plan: BenchPlan, run: str) -> Journal:
    """The journal of one servo's run, with all that must be the same to go on with it."""
    header = {
        "vehicle": vehicle.vehicle.name,
        "run": run,
        "board": options.board if options.rehearsal else "real",
        "reader": "person" if options.by_person else "encoder",
        "emulated": [options.seed, options.faults.get(plan.servo)] if options.rehearsal else None,
        **asdict(plan),
    }
    return Journal(journal_path(options.out, plan.servo, run), header)


def journal_path(folder: Path, servo: int, run: str) -> Path:
    return folder / f"servo-{servo}-{run}.journal"


def set_aside(options: BenchOptions, runs: Sequence[str]) -> None:
    """Keep the journals of an earlier run under another name."""
    for servo in options.servos:
        for run in runs:
            path = journal_path(options.out, servo, run)
            if path.exists():
                path.replace(path.with_suffix(".journal.before"))


def judged(options: BenchOptions, vehicle: Vehicle, asked: Sequence[str]) -> ModuleVerdict:
    """Verdicts on all that stands in the folder's journals with these settings.

    asked: the runs asked for. A servo that should have made all of them fails where a limit was
    not measured, one that made some only has it open.
    """
    verdicts = {}
    every_run = set(asked) >= set(RUNS) - {"ready"}
    for servo in range(1, VANES + 1):
        records = dict(kept_records(options, vehicle, servo))
        runs = tuple(records)
        if runs:
            merged = {key: record for run in records.values() for key, record in run.items()}
            only = () if every_run and servo in options.servos else runs
            verdicts[servo] = servo_verdict(
                vehicle, bench_data(servo, merged), options.timer_us, only
            )
    return module_verdict(vehicle, verdicts)


def kept_records(
    options: BenchOptions, vehicle: Vehicle, servo: int
) -> Iterator[tuple[str, dict[str, dict[str, Any]]]]:
    """Each run of a servo with its records; runs of other settings are named and left out."""
    plan = options.plan(vehicle, servo)
    for run in RUNS:
        if journal_path(options.out, servo, run).exists():
            try:
                with open_journal(options, vehicle, plan, run) as journal:
                    yield run, journal.records
            except JournalError as other:
                messages.print(f"left out of the report: {other}", soft_wrap=True)


def write_reports(options: BenchOptions, module: ModuleVerdict) -> list[Path]:
    """One page a servo and one for the module."""
    facts = [
        ("Vehicle file", options.vehicle_file or "the demo's invented vehicle"),
        ("Board", options.board),
        (
            "Servos",
            "emulated: a rehearsal, not a measurement" if options.rehearsal else "real",
        ),
        ("Angle read by", "a person" if options.by_person else "an encoder or potentiometer"),
    ]
    written = []
    for number, verdict in module.servos.items():
        path = options.out / f"servo-{number}.html"
        with write_whole(path) as stream:
            stream.write(servo_page(verdict, module.vehicle.vehicle.name, facts))
        written.append(path)
    path = options.out / "module.html"
    with write_whole(path) as stream:
        stream.write(module_page(module, facts))
    return [*written, path]


def result_names() -> list[str]:
    """The files that a run may write into its folder, besides its journals."""
    numbers = range(1, VANES + 1)
    pages = [*(f"servo-{number}.html" for number in numbers), "module.html"]
    return [*map(table_name, numbers), SWEEP, RESULTS, *pages]


def show(module: ModuleVerdict, folder: Path) -> None:
    """The verdicts in a table, the reasons below it."""
    table = Table("servo", "verdict", "play", "repeats within", "slew", "bandwidth", "latency")
    for number, servo in module.servos.items():
        values = servo.figures.values()
        table.add_row(
            str(number),
            shown(servo.outcome),
            with_unit(values["backlash_deg"], "°"),
            with_unit(values["repeatability_deg"], "°"),
            with_unit(values["slew_deg_s"], "°/s"),
            with_unit(values["bandwidth_hz"], " Hz"),
            with_unit(values["latency_ms"], " ms"),
        )
    output.print(table)
    for reason in module.reasons:
        output.print(f"! {reason}", soft_wrap=True)
    output.print(f"{headline(module)}.", soft_wrap=True)
    output.print(
        f"The reports are in {folder}, the module's is {folder / 'module.html'}",
        soft_wrap=True,
    )


def headline(module: ModuleVerdict) -> str:
    """The outcome in capitals, and what keeps it from being a pass."""
    word = module.outcome.upper()
    if module.outcome == "pass so far":
        return f"{word}: {not_measured(module.open_limits, module.absent)}"
    return f"{word}: {NOTHING_ASKED}" if module.outcome == "no fault found" else word


def with_unit(value: float | None, unit: str) -> str:
    return "–" if value is None else f"{value:.3g}{unit}"
