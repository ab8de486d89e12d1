"""A bench command from start to end: board, servos one by one, journals, verdicts, reports."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from hil.bench.board_port import HOLD_MS, BoardPort
from hil.bench.journal import Journal, JournalError
from hil.bench.open_bench import bench_board
from hil.bench.plan import BenchPlan
from hil.bench.port import BenchPort
from hil.bench.run import RUNS, items_of, run_bench
from hil.bench.typed_reader import TypedReader
from hil.bench_sessions.encoder_zero import read_scales
from hil.bench_sessions.measured_when import MeasuredWhen
from hil.bench_sessions.options import BenchOptions, OptionError
from hil.bench_sessions.paged_port import PagedPort, page_of
from hil.bench_sessions.pages import result_names, write_reports
from hil.bench_sessions.questions import ask
from hil.bench_sessions.shown_verdicts import show
from hil.bench_sessions.view import BenchView
from hil.live_page.serve import Shown
from mixer.ground.command_line.fourvane import INTERRUPTED, stop
from mixer.ground.evidence.evidence import KEY, evidence_of
from mixer.ground.inputs.arrays import VANES
from mixer.ground.inputs.file_locks import alone_in
from mixer.ground.inputs.log_book import LogBook
from mixer.ground.inputs.run_files import writes
from mixer.ground.reports.console import messages
from mixer.ground.servo_bench.data import bench_data
from mixer.ground.servo_bench.module_report import verdict_of
from mixer.ground.servo_bench.results import (
    Setup,
    module_result,
    write_results,
    write_tables,
)
from mixer.ground.servo_bench.verdict import ModuleVerdict, module_verdict, servo_verdict
from mixer.ground.vehicle.vehicle import Vehicle

MOST_OF_ONE = 2  # runs that belong to one command, a sweep and its dead band
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
        return measured(options, runs, vehicle, plans, options.log_book())


def measured(
    options: BenchOptions,
    runs: Sequence[str],
    vehicle: Vehicle,
    plans: dict[int, BenchPlan],
    book: LogBook,
) -> Result:
    """The runs, in a folder in which nobody else measures."""
    if options.anew:
        set_aside(options, ("ready", *runs))
    current = options.servos[0]
    new: dict[int, int] = {}
    try:
        with page_of(options, vehicle) as page, open_port(options, vehicle) as port:
            for servo, plan in plans.items():
                current = servo
                new[servo] = measure_servo(port, page, plan, runs, options, vehicle, book)
    except KeyboardInterrupt:
        stop(
            f"interrupted; servo {current} has been led to neutral. What was measured is kept in "
            f"{options.out}: the same command goes on from there",
            INTERRUPTED,
        )
    when: dict[int, MeasuredWhen] = {}
    module = judged(options, vehicle, runs, book, when)
    for servo, points in new.items():
        when.setdefault(servo, MeasuredWhen()).now = points
    tables = write_tables(options.out, module)
    evidence = evidence_of(
        f"bench {'all' if len(runs) > MOST_OF_ONE else runs[0]}",
        vehicle,
        verdict_of(module),
        files=[*sorted(options.out.glob("servo-*.journal")), *tables],
        pieces=book.stated,
        board=options.board,
        rehearsal=options.rehearsal,
    )
    reports = write_reports(options, module, book, when, evidence)
    record = {
        "at": evidence.at,
        **book.stated,
        "measured": {str(servo): each.facts for servo, each in when.items()},
        KEY: evidence.plain,
    }
    setup = Setup(options.board, options.rehearsal, record)
    files = [*tables, write_results(options.out, module, setup)]
    result = {**module_result(module, setup), "files": [*files, *reports]}
    return result, lambda: show(module, options, when)


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
    page: Shown,
    plan: BenchPlan,
    runs: Sequence[str],
    options: BenchOptions,
    vehicle: Vehicle,
    book: LogBook,
) -> int:
    """One servo through a first look and the runs, each kept in a journal of its own.

    How many points were measured now.
    """
    bench: BenchPort = port
    if options.by_person:
        bench = TypedReader(port, ask, messages.print)
    paged = PagedPort(bench, page, vehicle)
    lists = {run: items_of(plan, [run], bench.can_record) for run in ("ready", *runs)}
    left_out = [run for run, items in lists.items() if not items and run != "hold"]
    if left_out:
        messages.print(f"left out, they need an encoder: {', '.join(left_out)}")
    total = sum(len(items) for items in lists.values())
    new = 0
    with BenchView(plan.servo, total, off=options.by_person) as view:
        for run, items in lists.items():
            if not items:
                continue
            with open_journal(options, vehicle, plan, run, book) as journal:
                before = len(journal.records)
                whole = run_bench(paged, items, journal, paged.told(plan.servo, total, view.show))
                new += len(journal.records) - before
                if not whole:
                    break
    return new


def open_journal(
    options: BenchOptions, vehicle: Vehicle, plan: BenchPlan, run: str, book: LogBook
) -> Journal:
    """The journal of one servo's run, with all that must be the same to go on with it.

    The servo's serial number is part of that: another servo's points never stand for it.
    """
    serial = book.servo(plan.servo)
    header = {
        **({"servo_serial": serial} if serial else {}),
        "vehicle": vehicle.vehicle.name,
        "run": run,
        "board": options.board if options.rehearsal else "real",
        "reader": "person" if options.by_person else "encoder",
        "emulated": [options.seed, options.faults.get(plan.servo)] if options.rehearsal else None,
        **asdict(plan),
    }
    return Journal(journal_path(options.out, plan.servo, run), header, book.operator)


def journal_path(folder: Path, servo: int, run: str) -> Path:
    return folder / f"servo-{servo}-{run}.journal"


def set_aside(options: BenchOptions, runs: Sequence[str]) -> None:
    """Keep the journals of an earlier run under another name."""
    for servo in options.servos:
        for run in runs:
            path = journal_path(options.out, servo, run)
            if path.exists():
                path.replace(path.with_suffix(".journal.before"))


def judged(
    options: BenchOptions,
    vehicle: Vehicle,
    asked: Sequence[str],
    book: LogBook,
    when: dict[int, MeasuredWhen],
) -> ModuleVerdict:
    """Verdicts on all that stands in the folder's journals with these settings.

    when: gets the times of each servo's points. asked: the runs asked for; a servo that should
    have made all of them fails where a limit was not measured, another only has it open.
    """
    verdicts = {}
    every_run = set(asked) >= set(RUNS) - {"ready"}
    for servo in range(1, VANES + 1):
        kept = dict(kept_records(options, vehicle, servo, book))
        runs = tuple(kept)
        if runs:
            merged = {key: each for run in kept.values() for key, each in run.records.items()}
            times = [at for run in kept.values() for at in run.times.values()]
            when[servo] = MeasuredWhen(0, times)
            only = () if every_run and servo in options.servos else runs
            verdicts[servo] = servo_verdict(
                vehicle, bench_data(servo, merged), options.timer_us, only
            )
    return module_verdict(vehicle, verdicts)


def kept_records(
    options: BenchOptions, vehicle: Vehicle, servo: int, book: LogBook
) -> Iterator[tuple[str, Journal]]:
    """Each run of a servo, its journal closed; runs of other settings are named and left out."""
    plan = options.plan(vehicle, servo)
    for run in RUNS:
        if journal_path(options.out, servo, run).exists():
            try:
                with open_journal(options, vehicle, plan, run, book) as journal:
                    yield run, journal
            except JournalError as other:
                messages.print(f"left out of the report: {other}", soft_wrap=True)
