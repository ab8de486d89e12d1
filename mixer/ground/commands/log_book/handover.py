"""`fourvane handover`: all that lies in some folders as one chain, and what is open about it."""

from pathlib import Path
from typing import Any

import click

from mixer.ground.command_line.fourvane import FAILED, emit, result_option
from mixer.ground.command_line.path_options import RESULT, SOURCE
from mixer.ground.evidence.evidence import evidence_of, tables_of
from mixer.ground.evidence.on_page import write_page
from mixer.ground.handover import report as told
from mixer.ground.handover.collect import collect
from mixer.ground.handover.state import LinkState
from mixer.ground.handover.whole import HandOver, hand_over
from mixer.ground.inputs.log_book import readable
from mixer.ground.reports.console import output, progress
from mixer.ground.vehicle.vehicle import load_vehicle


@click.command()
@click.argument("vehicle_file", metavar="VEHICLE", type=SOURCE)
@click.option(
    "--from", "folders", metavar="FOLDER", multiple=True, required=True,
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="A folder with results; what lies below it is looked at too. Can be repeated.",
)  # fmt: skip
@click.option(
    "--out", metavar="FILE", type=RESULT, default=Path("handover.html"), show_default=True,
    help="Where the page goes.",
)  # fmt: skip
@result_option
def handover(vehicle_file: Path, folders: tuple[Path, ...], out: Path, as_json: bool) -> None:
    """Lay all results about a vehicle as one chain, from its drawing to the bytes on the board.

    Results are found by what stands in them, not by their names: pages, saved --json, folders of
    bench and campaign, exported libraries. Each is held against VEHICLE as it is now: about these
    tables, about an ancestor (then what changed since), or about something else. What is missing,
    stale, failed, rehearsed only or contradicted comes first. Exit status 1 while anything is open.

    CAUTION: where nothing is open the papers hang together, and no more is said. Whether anything
    may be tested or flown is decided by local law, the range's safety officer and licensed people.

    Example: fourvane handover vehicle.toml --from . --out handover.html
    """
    vehicle = load_vehicle(vehicle_file)
    with progress("Looking through the folders", None) as done:
        tables = tables_of(vehicle)
        whole = hand_over(vehicle, tables, collect(folders, done))
    found = told.verdict(whole)
    evidence = evidence_of("handover", vehicle, found, tables=tables)
    write_page(out, lambda: told.page(whole), evidence)
    result: dict[str, Any] = {
        "vehicle": vehicle.vehicle.name,
        "sha256": whole.file.sha256,
        "tables": whole.tables.model_dump(),
        "complete": not whole.open,
        "open": [vars(each) for each in whole.open],
        "links": [link_facts(state) for state in whole.links],
        "report": out,
    }
    following = (
        "mend what is open, the worst comes first; then this command again"
        if whole.open
        else f"print {out}; who signs it looks at the module itself"
    )
    emit(result, as_json, lambda: show(whole, out), following, evidence.plain)
    if whole.open:
        raise SystemExit(FAILED)


def link_facts(state: LinkState) -> dict[str, Any]:
    """A link as JSON has it."""
    found = state.found
    return {
        "link": state.link.name,
        "state": state.word,
        "about": state.about or None,
        "changed_since": state.since,
        "notes": state.notes,
        "files": [] if found is None else found.places,
        "at": None if found is None else found.evidence.at,
        "verdict": None if found is None else found.evidence.verdict,
        "says": None if found is None else found.evidence.says,
    }


def show(whole: HandOver, out: Path) -> None:
    """What is open, then the chain."""
    for each in whole.open:
        output.print(
            f"! {told.SAID.get(each.sort, each.sort)}: {each.about}: {each.says}", soft_wrap=True
        )
        if each.do:
            output.print(f"    {each.do}", soft_wrap=True)
    if whole.open:
        output.print("")
    width = max(len(state.link.name) for state in whole.links)
    for state in whole.links:
        word = told.SAID.get(state.word, state.word)
        when = "" if state.found is None else readable(state.found.evidence.at)
        output.print(f"  {state.link.name:<{width}}  {word:<14}  {when}".rstrip(), soft_wrap=True)
    found = told.verdict(whole)
    output.print(f"{found.word.upper()}. {found.reason}", soft_wrap=True)
    output.print(f"Report: {out}", soft_wrap=True)
