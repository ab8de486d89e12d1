"""What came out of a bench, at the terminal: the verdicts, their reasons, what they rest on."""

from rich.table import Table

from hil.bench_sessions.measured_when import MeasuredWhen, nothing_new, told
from hil.bench_sessions.options import BenchOptions
from mixer.ground.reports.console import output
from mixer.ground.servo_bench.module_report import shown
from mixer.ground.servo_bench.report import NOTHING_ASKED, not_measured
from mixer.ground.servo_bench.verdict import ModuleVerdict


def show(module: ModuleVerdict, options: BenchOptions, when: dict[int, MeasuredWhen]) -> None:
    """The verdicts in a table, the reasons below it, and what they rest on."""
    folder = options.out
    names = ("servo", "verdict", "play", "repeats within", "slew", "bandwidth", "latency")
    table = Table(*names, box=None, pad_edge=False)
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
    for line in told(when, options.rehearsal):
        output.print(line, soft_wrap=True)
    start = "REHEARSAL, emulated servos: " if options.rehearsal else ""
    end = ", by earlier measurements alone" if nothing_new(when) else ""
    output.print(f"{start}{headline(module)}{end}.", soft_wrap=True)
    output.print(
        f"The reports are in {folder}, the module's is {folder / 'module.html'}",
        soft_wrap=True,
    )


def headline(module: ModuleVerdict) -> str:
    """The outcome in capitals, and what keeps it from being a pass."""
    word = module.outcome.upper()
    if module.outcome in ("pass so far", "not judged"):
        return f"{word}: {not_measured(module.open_limits, module.absent)}"
    return f"{word}: {NOTHING_ASKED}" if module.outcome == "no fault found" else word


def with_unit(value: float | None, unit: str) -> str:
    return "–" if value is None else f"{value:.3g}{unit}"
