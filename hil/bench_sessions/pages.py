"""The pages that a bench run writes, and the names of all its files."""

from functools import partial
from pathlib import Path

from hil.bench_sessions.measured_when import MeasuredWhen
from hil.bench_sessions.options import BenchOptions
from mixer.ground.evidence.evidence import Evidence
from mixer.ground.evidence.on_page import write_page
from mixer.ground.inputs.arrays import VANES
from mixer.ground.inputs.log_book import LogBook, now, readable
from mixer.ground.servo_bench.module_report import module_page
from mixer.ground.servo_bench.report import servo_page
from mixer.ground.servo_bench.results import RESULTS, SWEEP, table_name
from mixer.ground.servo_bench.verdict import ModuleVerdict


def write_reports(
    options: BenchOptions,
    module: ModuleVerdict,
    book: LogBook,
    when: dict[int, MeasuredWhen],
    evidence: Evidence,
) -> list[Path]:
    """One page a servo and one for the module."""
    common = [
        ("Vehicle file", options.vehicle_file or "the demo's invented vehicle"),
        ("Board", options.board),
        (
            "Servos",
            "emulated: a rehearsal, not a measurement" if options.rehearsal else "real",
        ),
        ("Angle read by", "a person" if options.by_person else "an encoder or potentiometer"),
        *book.facts,
    ]
    made = [*common, ("This report", readable(now()))]
    written = []
    for number, verdict in module.servos.items():
        path = options.out / f"servo-{number}.html"
        facts = [("Measured", when[number].span), *made]
        name = module.vehicle.vehicle.name
        render = partial(servo_page, verdict, name, facts, options.rehearsal)
        write_page(path, render, evidence)
        written.append(path)
    path = options.out / "module.html"
    spans = "; ".join(f"servo {number}: {each.span}" for number, each in when.items())
    render = partial(module_page, module, [("Measured", spans), *made], options.rehearsal)
    write_page(path, render, evidence)
    return [*written, path]


def result_names() -> list[str]:
    """The files that a run may write into its folder, besides its journals."""
    numbers = range(1, VANES + 1)
    pages = [*(f"servo-{number}.html" for number in numbers), "module.html"]
    return [*map(table_name, numbers), SWEEP, RESULTS, *pages]
