"""`fourvane failures`: fly every single failure, and pairs of them, and say what became of it."""

from pathlib import Path

import click

from hil.campaigns.failure_campaign import (
    Limits,
    count_jams,
    fly_failures,
    tasks_of,
    with_reachability,
)
from hil.campaigns.failure_report import (
    NAMES,
    acceptance,
    facts,
    healthy,
    jam_sentence,
    kept_words,
    page,
    rows,
    split,
    verdict,
    write_csv,
)
from hil.campaigns.failures import healthy_plans, pair_plans, single_plans
from hil.campaigns.workers import executor_of
from hil.commands.flight_options import (
    cluster_option,
    cluster_tls_option,
    first_seed_option,
    no_watch_option,
    report_option,
    vehicle_argument,
    workers_option,
)
from mixer.ground.command_line.fourvane import FAILED, emit, result_option
from mixer.ground.command_line.next_step import next_step
from mixer.ground.command_line.path_options import beside
from mixer.ground.evidence.evidence import evidence_of
from mixer.ground.evidence.on_page import write_page
from mixer.ground.reports.console import output, progress
from mixer.ground.vehicle.assumed import assumed_of
from mixer.ground.vehicle.vehicle import load_vehicle


@click.command()
@vehicle_argument
@click.option(
    "--seeds",
    type=click.IntRange(1, 1000),
    default=2,
    show_default=True,
    help="How many dispersed flights each failure is put into.",
)
@first_seed_option
@click.option("--pairs", is_flag=True, help="Fly every pair of failures too: some minutes.")
@no_watch_option
@click.option(
    "--lost-deg",
    type=click.FloatRange(1.0, 90.0),
    default=20.0,
    show_default=True,
    help="Tilted farther than this, a flight is lost.",
)
@click.option(
    "--roll-lost-deg-s",
    type=click.FloatRange(1.0, 7200.0),
    default=180.0,
    show_default=True,
    help="Rolling faster than this, it has lost roll.",
)
@workers_option
@cluster_option
@cluster_tls_option
@report_option("failures.html", "; every flight goes beside it, as CSV")
@result_option
def failures(
    vehicle_file: Path,
    seeds: int,
    first_seed: int,
    pairs: bool,
    no_watch: bool,
    lost_deg: float,
    roll_lost_deg_s: float,
    workers: int | None,
    cluster: str | None,
    tls_files: tuple[Path, Path, Path] | None,
    report_file: Path,
    as_json: bool,
) -> None:
    """Fly every failure there is a model of, and compare with a clipped pseudo-inverse.

    Jammed, lost and slow vanes, swapped and reversed servos, wrong tables, a dead or lying
    pressure sensor, a silent or damaged link, a board that resets, late cycles. Exit status 1
    where the flight core loses a flight with one jam that an exact check says can be held.

    CAUTION: what is kept here may be lost in the air; local law, the range's safety officer and
    licensed people decide about flying.

    Example: fourvane failures vehicle.toml --pairs
    """
    csv_file = beside(report_file, ".csv")
    vehicle = load_vehicle(vehicle_file)
    numbers = range(first_seed, first_seed + seeds)
    plans = healthy_plans(numbers) + single_plans(vehicle, numbers)
    if pairs:
        plans += pair_plans(vehicle, numbers)
    required = vehicle.requirements
    limits = Limits(lost_deg, roll_lost_deg_s, required and required.attitude_error_deg)
    tasks = tasks_of(vehicle, plans, ("flight-core", "clipped"), not no_watch)
    with (
        executor_of(workers, cluster, tls_files) as (executor, count),
        progress("Flying failures", 2 * len(plans)) as done,
    ):
        flown = fly_failures(tasks, executor, count, limits, done)
    flown = with_reachability(vehicle, flown)
    write_csv(csv_file, flown)
    evidence = evidence_of("failures", vehicle, acceptance(flown), files=[csv_file])
    write_page(report_file, lambda: page(vehicle, flown, limits, not no_watch, csv_file), evidence)
    result = {
        "vehicle": vehicle.vehicle.name,
        "assumed": assumed_of(vehicle),
        **facts(vehicle, flown),
        "report": report_file,
        "flights_file": csv_file,
    }

    def show() -> None:
        single, _ = split(flown)
        told = rows(vehicle, [*healthy(flown), *single])
        width = max(len(str(row[0])) for row in told)
        titles = max(map(len, NAMES.values()))
        head = ("flights", "kept", "roll lost", "beyond", "lost")
        cells = (f"{name:>9}" for name in head)
        output.print(f"{'failure':<{width}}  {'steered by':<{titles}}", *cells, soft_wrap=True)
        for name, title, *counts in told:
            cells = (f"{count:>9}" for count in counts)
            output.print(f"{name:<{width}}  {title:<{titles}}", *cells, soft_wrap=True)
        output.print(f"\n{kept_words(limits)}\n{jam_sentence(count_jams(flown))}", soft_wrap=True)
        found = verdict(flown)
        output.print(f"{(found.word or found.outcome).upper()}. {found.reason}", soft_wrap=True)
        output.print(f"The report is in {report_file}, every flight in {csv_file}", soft_wrap=True)

    following = next_step(vehicle, vehicle_file, "failures", bool(result["passes"]))
    emit(result, as_json, show, following, evidence.plain)
    if not result["passes"]:
        raise SystemExit(FAILED)
