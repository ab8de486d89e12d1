"""`fourvane ascent`: fly the vehicle once, with the flight core here or on a board."""

from pathlib import Path
from typing import Any

import click

from hil.ascent.history import Ascent, fly_ascent
from hil.ascent.report import facts, page, sentence, verdict
from hil.commands.flight_options import no_watch_option, report_option, vehicle_argument
from hil.faults.text import parse_fault
from hil.flights.fly import WAIT_S, Cycle, Flight, cycles_of
from hil.flights.steered_by import BOARD_HELP, steered_by
from hil.flights.verdict import judge
from hil.rocket.dispersion import drawn, nominal
from mixer.ground.command_line.fourvane import FAILED, emit, result_option
from mixer.ground.command_line.next_step import next_step
from mixer.ground.evidence.evidence import evidence_of
from mixer.ground.evidence.on_page import write_page
from mixer.ground.reports.console import output, progress
from mixer.ground.vehicle.vehicle import Vehicle, load_vehicle


@click.command()
@vehicle_argument
@click.option("--board", default="none", show_default=True, help=BOARD_HELP)
@click.option(
    "--seed",
    type=click.IntRange(0, 2**53),
    help="Fly the dispersed flight of this seed; left out, the vehicle file is right in all.",
)
@click.option(
    "--fault",
    "fault_texts",
    multiple=True,
    metavar="FAULT",
    help="Something that goes wrong, such as jam,vane=3,time_s=8,value=15. Can be repeated.",
)
@click.option(
    "--wait",
    "wait_s",
    type=click.FloatRange(0.0, 86_400.0),
    default=WAIT_S,
    show_default=True,
    help="Seconds on the pad, armed, from power-on to ignition.",
)
@no_watch_option
@report_option("ascent.html")
@result_option
def ascent(
    vehicle_file: Path,
    board: str,
    seed: int | None,
    fault_texts: tuple[str, ...],
    wait_s: float,
    no_watch: bool,
    report_file: Path,
    as_json: bool,
) -> None:
    """Fly a simulated rocket with the real steering code, from the pad to the tail-off.

    A plain attitude hold makes the demands: axis vertical, roll at null. It tests the steering and
    guides the rocket nowhere. The flight passes or fails by the vehicle file's [requirements].

    CAUTION: on a real board pulses are only recorded and no servo moves; take the servo power off
    first all the same. A good simulated flight is no leave to fly; local law, the range's safety
    officer and licensed people decide that.

    Example: fourvane ascent vehicle.toml --board emulated
    """
    vehicle = load_vehicle(vehicle_file)
    faults = tuple(parse_fault(text) for text in fault_texts)
    truth = nominal(vehicle) if seed is None else drawn(vehicle, seed)
    flight = Flight(truth, seed or 0, faults)
    with steered_by(board) as steered:
        total = cycles_of(vehicle, [flight])
        with progress("Flying", total) as done:

            def count(cycle: Cycle) -> None:
                done(cycle.number + 1)

            flown = fly_ascent(vehicle, flight, steered.make, not no_watch, [count], wait_s)
        counters = steered.counters()
    judgements = judge(flown.tally, vehicle.requirements)
    evidence = evidence_of(
        "ascent" if not faults else "ascent --fault",
        vehicle,
        verdict(judgements),
        board=None if board == "none" else steered.name,
    )
    write_page(
        report_file,
        lambda: page(vehicle, flown, judgements, steered.name, seed, faults),
        evidence,
    )
    result: dict[str, Any] = {
        "vehicle": vehicle.vehicle.name,
        "steered_by": steered.name,
        "seed": seed,
        "faults": list(fault_texts),
        **facts(flown, judgements),
        "node_counters": counters,
        "report": report_file,
    }
    following = next_step(vehicle, vehicle_file, "ascent", result["passes"] is not False)
    emit(result, as_json, lambda: show(vehicle, flown, report_file), following, evidence.plain)
    if result["passes"] is False:
        raise SystemExit(FAILED)


def show(vehicle: Vehicle, flown: Ascent, report_file: Path) -> None:
    """The flight in a few lines."""
    judgements = judge(flown.tally, vehicle.requirements)
    found = verdict(judgements)
    for row in judgements:
        output.print(f"{'  ' if row.passes else '! '}{sentence(row)}", soft_wrap=True)
    output.print(
        f"{(found.word or found.outcome).upper()}. The report is in {report_file}", soft_wrap=True
    )
