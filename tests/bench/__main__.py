"""Measures everything in one run, prints it and writes RESULTS.md beside this file.

python -m tests.bench [--rows 10000000]
"""

import os
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import click
import numpy as np

from hil.node.errors import BoardError
from mixer.ground.batch.allocate_batch import BatchResult
from mixer.ground.batch.cores import core_count
from mixer.ground.inputs.csv_files import write_whole
from mixer.ground.reports.console import progress
from tests.bench import c_costs
from tests.bench.clock import seconds_each
from tests.bench.cortex import costs
from tests.bench.flight_core import FlightCore
from tests.bench.growth import block_rate, clipped_rate, grown, whole_rate
from tests.bench.limits import bytes_a_second, seconds_an_operation
from tests.bench.peers import KEPT_BACK, all_peers, exact_peers
from tests.bench.priority import judged
from tests.bench.problems import Problems, draw
from tests.bench.results import Line, Results, page
from tests.bench.spread import spread
from tests.bench.tally import tally_of

RESULTS = Path(__file__).with_name("RESULTS.md")
DEMANDS = 20_000
TIMED, TIMED_SLOW = 500, 40  # demands of each kind that are timed one by one
JUDGED, JUDGED_SLOW = 400, 100
TALLIED = 100
ON_BOARD = 12
BATCH_ROWS = 1_000_000


@click.command()
@click.option("--rows", default=10_000_000, show_default=True, help="The longest batch.")
def main(rows: int) -> None:
    """Measure what steering costs, beside general-purpose solvers, and write RESULTS.md."""
    results = Results()
    if core_count() > 1:
        results.spread = spread(core_count())
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})
    steps: list[Callable[[], None]] = [
        lambda: time_flight_core(results, "nearest"),
        lambda: time_flight_core(results, "direction"),
        lambda: time_peers(results),
        lambda: time_batches(results),
        lambda: results.growth.extend(grown(n) for n in sizes(rows)),
        lambda: find_limits(results),
        lambda: count_instructions(results),
        lambda: results.c_costs.extend(c_costs.every_cost()),
    ]
    with progress("Measuring", len(steps)) as done:
        for number, step in enumerate(steps, 1):
            step()
            done(number)
    text = page(results)
    with write_whole(RESULTS) as stream:
        stream.write(text)
    click.echo(text)


def sizes(rows: int) -> list[int]:
    """100, 1000, … up to the longest batch."""
    return [10**power for power in range(2, 12) if 10**power <= rows]


def both_kinds(problems: Problems, most: int) -> tuple[np.ndarray, np.ndarray]:
    return problems.some(False, most), problems.some(True, most)


def time_flight_core(results: Results, policy: str) -> None:
    problems = draw(DEMANDS, policy)
    core = FlightCore(problems)
    timed = both_kinds(problems, TIMED)
    wanted = [[core.wanted(row) for row in rows] for rows in timed]
    allocation = [seconds_each(core.allocation(), each) for each in wanted]
    demands = problems.demands_mnm
    demanded = [[demands[row] for row in rows] for rows in timed]
    cycle = [seconds_each(core.cycle(), each) for each in demanded]
    rows = np.concatenate(both_kinds(problems, JUDGED))
    forces = iter([core.forces_counts(row) for row in rows])
    priority = judged(problems, rows, lambda _: next(forces), policy, KEPT_BACK)
    compiled = FlightCore(problems, compiled=True).cycle()
    quick = [seconds_each(compiled, each) for each in demanded]
    name = f"flight core in CPython, {policy}: "
    results.lines.append(Line(name + "allocation", *allocation, priority))
    results.lines.append(Line(name + "whole cycle", *cycle, None))
    results.lines.append(Line(f"flight core compiled, {policy}: whole cycle", *quick, None))


def time_peers(results: Results) -> None:
    problems = draw(DEMANDS)
    exact = {peer.name for peer in exact_peers(problems)}
    for peer in all_peers(problems):
        timed = both_kinds(problems, TIMED_SLOW if peer.slow else TIMED)
        prepared = [[peer.prepare(problems.wanted_counts[row]) for row in rows] for rows in timed]
        seconds = [seconds_each(peer.solve, each) for each in prepared]
        rows = np.concatenate(both_kinds(problems, JUDGED_SLOW if peer.slow else JUDGED))
        priority = judged(problems, rows, peer.forces_counts, peer.policy, peer.kept_back)
        results.lines.append(Line(peer.name, *seconds, priority, peer.name in exact))


def time_batches(results: Results) -> None:
    for policy in ("nearest", "direction"):
        problems = draw(BATCH_ROWS, policy)
        rng = np.random.default_rng(1)
        time_s = np.linspace(0, 26, BATCH_ROWS)
        pressure_bar = rng.uniform(10, 30, BATCH_ROWS)
        jammed = np.where(rng.random((BATCH_ROWS, 4)) < 0.1, 5.0, np.nan)
        results.rates += [
            (
                f"allocate_batch, {policy}, one burn time, into the last one's memory",
                whole_rate(problems, out=BatchResult.empty(BATCH_ROWS)),
            ),
            (f"allocate_batch, {policy}, one burn time", whole_rate(problems)),
            (
                f"allocate_batch, {policy}, each row its own burn time, pressure and jams",
                whole_rate(
                    problems,
                    burn_time_s=time_s,
                    chamber_pressure_bar=pressure_bar,
                    jammed=jammed,
                ),
            ),
        ]
    problems = draw(BATCH_ROWS)
    results.rates += [
        (f"whole cycles of {n} steerings side by side", block_rate(problems, n))
        for n in (100, 1000, 10_000)
    ]
    results.rates.append(("pseudo-inverse, clipped, forces alone (numpy)", clipped_rate(problems)))


def find_limits(results: Results) -> None:
    problems = draw(DEMANDS)
    core = FlightCore(problems)
    for saturated in (False, True):
        rows = problems.some(saturated, TALLIED)
        for whole in (False, True):
            total = Counter()
            for row in rows:
                total.update(tally_of(core, row, whole))
            results.tallies[saturated, whole] = Counter(
                {key: count / len(rows) for key, count in total.items()}
            )
    results.operation_s = seconds_an_operation()
    results.bytes_per_s = bytes_a_second()


def count_instructions(results: Results) -> None:
    by_policy = {policy: draw(DEMANDS, policy) for policy in ("nearest", "direction")}
    try:
        results.cortex.extend(costs(by_policy, ON_BOARD))
    except BoardError as error:
        results.cortex_missing = str(error)


if __name__ == "__main__":
    main()
