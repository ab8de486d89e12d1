"""What was measured, as one page of Markdown."""

import platform
import sys
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from importlib.metadata import version
from pathlib import Path
from statistics import median

from tests.bench.c_costs import COUNTED, CYCLES, VEHICLES
from tests.bench.c_costs import Cost as CCost
from tests.bench.cortex import Cost
from tests.bench.growth import Growth
from tests.bench.priority import Priority
from tests.bench.spread import Spread
from tests.bench.tally import ARITHMETIC

PACKAGES = ("numpy", "scipy", "numba", "daqp", "quadprog")
BYTES_IN, BYTES_OUT = 3 * 8, 11 * 8 + 4 * 4 + 1


@dataclass(frozen=True)
class Line:
    """One way to answer one demand: seconds for those that can be met and those that cannot."""

    name: str
    attainable_s: float
    saturated_s: float
    priority: Priority | None
    exact: bool = False  # a compiled peer that answers the policy in full

    @property
    def mean_s(self) -> float:
        return (self.attainable_s + self.saturated_s) / 2


@dataclass
class Results:
    lines: list[Line] = field(default_factory=list)
    rates: list[tuple[str, float]] = field(default_factory=list)  # rows a second
    spread: Spread | None = None
    growth: list[Growth] = field(default_factory=list)
    tallies: dict[tuple[bool, bool], Counter] = field(default_factory=dict)  # saturated, whole
    operation_s: float = 0.0
    bytes_per_s: float = 0.0
    cortex: list[Cost] = field(default_factory=list)
    cortex_missing: str = ""
    c_costs: list[CCost] = field(default_factory=list)

    @property
    def best_peer(self) -> Line:
        """The fastest compiled peer that answers the policy in full."""
        return min((line for line in self.lines if line.exact), key=lambda line: line.mean_s)


def page(results: Results) -> str:
    parts = [
        "# Measured",
        "Written by `python -m tests.bench`; not to be edited by hand.",
        "\n".join(machine()),
        "Times are processor time on one core, the fastest of several passes. Half of the demands "
        "can be met, half are saturated (primary or roll has to be limited). All vanes are free "
        "and slew holds nothing back.",
        "## One demand at a time",
        one_at_a_time(results),
        "## Batches on one core",
        batches(results),
        "## How the cost of a batch grows",
        growth(results.growth),
        "## The limit",
        limit(results),
        "## Emulated Cortex-M3",
        cortex(results),
        "## The exported C, processor by processor",
        exported_c(results.c_costs),
    ]
    return "\n\n".join(parts) + "\n"


def spaced(number: int) -> str:
    """1 234 567."""
    return f"{number:,}".replace(",", " ")


def table(heads: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    heads = list(heads)
    lines = [heads, ["---", *["---:"] * (len(heads) - 1)], *rows]
    return "\n".join("| " + " | ".join(cells) + " |" for cells in lines)


def machine() -> list[str]:
    packages = ", ".join(f"{name} {version(name)}" for name in PACKAGES)
    return [
        f"- {processor()}, {platform.system()} {platform.machine()}",
        f"- {platform.python_implementation()} {sys.version.split()[0]}, {packages}",
    ]


def processor() -> str:
    info = Path("/proc/cpuinfo")
    if info.exists():
        for line in info.read_text().splitlines():
            if line.startswith("model name"):
                return line.split(":")[1].strip()
    return platform.processor() or "processor unknown"


def one_at_a_time(results: Results) -> str:
    rows = []
    for line in results.lines:
        broken = ["", "", ""]
        if line.priority is not None:
            broken = [
                f"{line.priority.broken:.1%}",
                f"{line.priority.worst_primary_counts:.1f}",
                f"{line.priority.worst_roll_counts:.1f}",
            ]
        costs = [f"{1e6 * s:.1f}" for s in (line.attainable_s, line.saturated_s, line.mean_s)]
        rows.append([line.name, *costs, *broken])
    heads = ("", "attainable, µs", "saturated, µs", "mean, µs",
             "priority broken", "worst pitch or yaw, counts", "worst roll, counts")  # fmt: skip
    own = {line.name: line.mean_s for line in results.lines}
    best = results.best_peer
    verdicts = [
        f"{name}: {own[name] / best.mean_s:.2f} times {best.name}."
        for name in own
        if name.startswith("flight core")
    ]
    return "\n\n".join(
        [
            table(heads, rows),
            "Broken: pitch or yaw off by more than 4 counts, or roll by more than 8 from what the "
            "policy gives near the delivered pitch and yaw, by exact geometry; 4096 counts are a "
            "vane's largest force. Each is judged by the policy it was asked for.",
            "\n".join(f"- {verdict}" for verdict in verdicts),
        ]
    )


def batches(results: Results) -> str:
    peer_rate = 1 / results.best_peer.mean_s
    rows = [
        [name, f"{rate / 1e6:.2f}", f"{1e9 / rate:.0f}", f"{rate / peer_rate:.0f}"]
        for name, rate in results.rates
    ]
    heads = ("", "million rows/s", "ns a row", f"times {results.best_peer.name}")
    return f"{table(heads, rows)}\n\n{by_cores(results.spread)}"


def by_cores(spread: Spread | None) -> str:
    """Further cores."""
    if spread is None:
        return "One core only."
    one_ns, all_ns = (1e9 * median(seconds) for seconds in (spread.on_one_s, spread.on_all_s))
    gains = spread.gains
    return (
        f"On {spread.cores} cores, by the clock on the wall, into memory used again: "
        f"{median(gains):.2f} times as fast as on one, {all_ns:.0f} ns a row for {one_ns:.0f} "
        f"(medians over {len(gains)} moments, from {gains[0]:.2f} to {gains[-1]:.2f} times: other "
        "programs slow one core or both). As many processes that share nothing: "
        f"{spread.gain_apart:.2f} times."
    )


def growth(grown: list[Growth]) -> str:
    rows = [
        [
            spaced(g.rows),
            f"{1e3 * g.seconds:.2f}",
            f"{1e9 * g.seconds / g.rows:.0f}",
            f"{g.rows / g.seconds / 1e6:.2f}",
            f"{g.spare_bytes / 1e6:.1f}",
        ]
        for g in grown
    ]
    heads = ("rows", "ms", "ns a row", "million rows/s", "MB beside input and output")
    return table(heads, rows)


def limit(results: Results) -> str:
    rows = []
    for saturated in (False, True):
        for whole in (False, True):
            tally = results.tallies[saturated, whole]
            what = "whole cycle" if whole else "allocation"
            name = f"{what}, {'saturated' if saturated else 'attainable'}"
            cells = [f"{tally[kind, False] + tally[kind, True]:.0f}" for kind in ARITHMETIC]
            rows.append([name, *cells, f"{of_demand(tally):.0f}"])
    heads = ("operations of the flight core", *ARITHMETIC, "of these on what the demand changes")
    needed = sum(of_demand(results.tallies[saturated, True]) for saturated in (False, True)) / 2
    compute_s = needed * results.operation_s
    memory_s = (BYTES_IN + BYTES_OUT) / results.bytes_per_s
    rate = results.rates[0][1]
    return "\n\n".join(
        [
            table(heads, rows),
            f"- In cache numpy takes {1e9 * results.operation_s:.3f} ns for a 32-bit addition, "
            f"multiplication or shift of one element. The {needed:.0f} operations that hang on the "
            f"demand would take {1e9 * compute_s:.0f} ns a row; the batch takes "
            f"{1e9 / rate:.0f} ns, {1 / rate / compute_s:.1f} times as much.\n"
            f"- Memory moves {results.bytes_per_s / 1e9:.1f} GB/s; the {BYTES_IN + BYTES_OUT} "
            f"bytes of a row's demand and results would take {1e9 * memory_s:.0f} ns. The batch "
            f"takes {1 / rate / memory_s:.0f} times that: it is bound by arithmetic.",
        ]
    )


def of_demand(tally: Counter) -> float:
    return sum(tally[kind, True] for kind in ARITHMETIC)


def least_instructions(tally: Counter) -> float:
    """One instruction an operation, two for a comparison with its branch, one a word moved."""
    arithmetic = sum(tally[kind, born] for kind in ARITHMETIC for born in (False, True))
    comparisons = tally["comparisons", False] + tally["comparisons", True]
    return arithmetic + comparisons + tally["reads", False] + tally["writes", False]


def cortex(results: Results) -> str:
    if results.cortex_missing:
        return f"Not measured: {results.cortex_missing}"
    rows = [
        [
            f"{c.form}, policy {c.policy}",
            *(spaced(n) for n in (c.attainable, c.saturated, c.cycle)),
            str(c.heap_bytes),
        ]
        for c in results.cortex
    ]
    heads = ("instructions", "allocation, attainable", "allocation, saturated",
             "whole cycle, worst", "heap bytes a cycle")  # fmt: skip
    least = {key: least_instructions(tally) for key, tally in results.tallies.items()}
    fastest = results.cortex[0]
    return "\n\n".join(
        [
            table(heads, rows),
            "The costliest of the cycles tried, at 200 Hz under the slew limit. At one "
            "instruction an operation, two a comparison and "
            f"one a word read or written, a saturated allocation needs {least[True, False]:.0f} "
            f"and a saturated cycle {least[True, True]:.0f}: the machine code takes "
            f"{fastest.saturated / least[True, False]:.1f} and "
            f"{fastest.cycle / least[True, True]:.1f} times that. Instructions are not cycles, and "
            "no physical board was measured.",
        ]
    )


def exported_c(costs: list[CCost]) -> str:
    rows = [
        [
            c.target.name,
            *(spaced(n) for n in (c.median, c.worst, c.flash_os, c.flash_o2)),
            f"{c.stack}" if c.stack else "not measured",
        ]
        for c in costs
    ]
    heads = (
        "",
        "instructions a cycle, median",
        "worst",
        "flash at -Os, bytes",
        "at -O2",
        "stack, bytes",
    )
    missing = [each.name for each in COUNTED if each not in [c.target for c in costs]]
    return "\n\n".join(
        [
            table(heads, rows),
            f"`fv_step` of {VEHICLES} random vehicles, {CYCLES} cycles each, of every kind that "
            "the self-test records; each cycle gave Python's words. Instructions at -O2; they are "
            "not clock cycles. Stack: of the whole self-test, in QEMU, where it has such a "
            "machine. No physical processor was measured."
            + (f" Not here: a compiler for {', '.join(missing)}." if missing else ""),
        ]
    )
