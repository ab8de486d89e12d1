"""`fourvane campaign`: many dispersed flights, how they spread, and the worst of them by seed."""

from math import isnan
from pathlib import Path

import click

from hil.campaigns.campaign import blocks_of, fly_campaign, spreads
from hil.campaigns.campaign_report import facts, page, verdict
from hil.campaigns.flight_table import FlightTable, mark_of
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
from mixer.ground.command_line.fourvane import FAILED, INTERRUPTED, emit, result_option, stop
from mixer.ground.command_line.next_step import next_step
from mixer.ground.evidence.evidence import evidence_of, write_record
from mixer.ground.evidence.on_page import write_page
from mixer.ground.reports.console import output, progress
from mixer.ground.vehicle.assumed import assumed_of
from mixer.ground.vehicle.vehicle import load_vehicle


@click.command()
@vehicle_argument
@click.option("--flights", type=click.IntRange(1, 10**7), default=200, show_default=True)
@first_seed_option
@workers_option
@cluster_option
@cluster_tls_option
@no_watch_option
@click.option(
    "--out",
    "folder",
    type=click.Path(path_type=Path),
    default=Path("campaign"),
    show_default=True,
    help="Folder for the flights, as Parquet files; a campaign that stopped goes on from there.",
)
@report_option("campaign.html")
@result_option
def campaign(
    vehicle_file: Path,
    flights: int,
    first_seed: int,
    workers: int | None,
    cluster: str | None,
    tls_files: tuple[Path, Path, Path] | None,
    no_watch: bool,
    folder: Path,
    report_file: Path,
    as_json: bool,
) -> None:
    """Fly many flights that differ as real ones may, and show how they spread.

    Each flight draws its differences from [rocket.dispersion] by its own seed, so that any of
    them can be flown again alone: fourvane ascent VEHICLE --seed SEED. Exit status 1 where a
    flight breaks the [requirements].

    CAUTION: a good campaign is no leave to fly; local law, the range's safety officer and
    licensed people decide about flying.

    Example: fourvane campaign vehicle.toml --flights 1000
    """
    vehicle = load_vehicle(vehicle_file)
    blocks = blocks_of(first_seed, flights)
    table = FlightTable(folder, mark_of(vehicle, not no_watch, first_seed))
    try:
        with (
            executor_of(workers, cluster, tls_files) as (executor, count),
            progress("Flying", flights) as done,
        ):
            flown = fly_campaign(vehicle, blocks, table, executor, count, not no_watch, done)
    except KeyboardInterrupt:
        kept = sum(size for first, size in blocks if table.holds(first, size))
        stop(
            f"interrupted; {kept} of {flights} flights are kept in {folder}: the same command goes "
            "on from there",
            INTERRUPTED,
        )
    found = spreads(table, blocks, vehicle.requirements)
    files = sorted(folder.glob("*.parquet"))
    evidence = evidence_of("campaign", vehicle, verdict(found, flights), files=files)
    write_record(folder, evidence)
    write_page(report_file, lambda: page(vehicle, found, first_seed, folder), evidence)
    result = {
        "vehicle": vehicle.vehicle.name,
        "flights": flights,
        "first_seed": first_seed,
        "flown_now": flown,
        "assumed": assumed_of(vehicle),
        **facts(found),
        "flights_folder": folder,
        "report": report_file,
    }

    def show() -> None:
        for each in found:
            median, _, bad = each.quantiles
            row = each.worst[0]
            worse = "" if isnan(bad) else f"1 % are worse than {bad:.2f}, "
            output.print(
                f"{'! ' if each.failed else '  '}{each.name}, {each.unit}: median {median:.2f}, "
                f"{worse}worst {each.values[row]:.2f} (seed {each.seeds[row]})",
                soft_wrap=True,
            )
        found_verdict = verdict(found, flights)
        output.print(
            f"{(found_verdict.word or found_verdict.outcome).upper()}. {found_verdict.reason}",
            soft_wrap=True,
        )
        output.print(f"The report is in {report_file}, every flight in {folder}", soft_wrap=True)

    following = next_step(vehicle, vehicle_file, "campaign", result["passes"] is not False)
    emit(result, as_json, show, following, evidence.plain)
    if result["passes"] is False:
        raise SystemExit(FAILED)
