"""The whole hand-over: every link, what speaks across links, and what is open, the worst first."""

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from mixer.ground.evidence.evidence import About, Tables
from mixer.ground.handover.collect import Collected, Found
from mixer.ground.handover.judge import Judge
from mixer.ground.handover.links import LINKS
from mixer.ground.handover.state import SORTS, LinkState, Open
from mixer.ground.unfinished.to_be_measured import marked_lines
from mixer.ground.vehicle.vehicle import Vehicle


@dataclass(frozen=True)
class HandOver:
    """What is handed over, and all that is open about it."""

    file: About
    path: Path
    tables: Tables
    links: list[LinkState]
    open: list[Open]
    others: list[Found]  # results that no link asks for
    pieces: list[tuple[str, str]]


def hand_over(vehicle: Vehicle, tables: Tables, collected: Collected) -> HandOver:
    """Lay the chain. tables: the sums of the vehicle's flight tables."""
    judge = Judge(vehicle, tables, collected)
    states = judge.links()
    counted = [state.found for state in states if state.found is not None]
    known = {kind for link in LINKS for kind in link.kinds}
    foreign = [each for each in collected.results if not judge.is_mine(each.evidence)]
    others = [each for each in judge.mine if each.evidence.kind not in known]
    found = [
        *(each for state in states for each in state.open),
        *no_tables(tables),
        *of_another_vehicle(foreign, known),
        *(Open("damaged", str(path), words, "make it again") for path, words in collected.damaged),
        *(
            Open("damaged", str(path), f"{whose} that no result names: a run that was not finished",
                 how)
            for path, whose, how in collected.unclaimed()
        ),
        *serials(counted),
        *still_marked(vehicle),
    ]  # fmt: skip
    found.sort(key=lambda each: SORTS.index(each.sort))
    return HandOver(
        judge.file, vehicle.path, tables, states, found, others, list(told_pieces(counted))
    )


def no_tables(tables: Tables) -> list[Open]:
    """A file that no flight tables can be made of."""
    if tables.crc32 is not None:
        return []
    return [Open("failed", "vehicle file", f"no flight tables can be made: {tables.refused}")]


def of_another_vehicle(foreign: Iterable[Found], known: set[str]) -> list[Open]:
    """Results that lie here and are about something else."""
    return [
        Open(
            "contradicts",
            str(each.places[0]),
            f"{each.evidence.kind} of another vehicle, {each.evidence.about.name}",
            "take it out of the folders",
        )
        for each in foreign
        if each.evidence.kind in known
    ]


def serials(counted: Iterable[Found]) -> list[Open]:
    """Pieces that bear one number in one result and another one in another."""
    named: dict[str, dict[str, list[str]]] = {}
    for each in counted:
        if each.evidence.rehearsal is not True:
            for piece, number in numbers(each):
                named.setdefault(piece, {}).setdefault(number, []).append(each.evidence.kind)
    return [
        Open(
            "contradicts",
            "serial numbers",
            f"{piece} is "
            + ", ".join(f"{number} in {' and '.join(kinds)}" for number, kinds in by.items()),
            "say which piece is in the module, and measure that one",
        )
        for piece, by in named.items()
        if len(by) > 1
    ]


def numbers(each: Found) -> Iterable[tuple[str, str]]:
    """The serial numbers that a result states, by piece."""
    pieces = each.evidence.pieces
    if pieces.get("board_serial"):
        yield "the board", pieces["board_serial"]
    for servo, number in (pieces.get("servo_serials") or {}).items():
        if number:
            yield f"servo {servo}", number


def told_pieces(counted: Iterable[Found]) -> Iterable[tuple[str, str]]:
    """Pieces and operators, each with its numbers or names once."""
    named: dict[str, dict[str, None]] = {}
    for each in counted:
        for piece, number in numbers(each):
            named.setdefault(piece, {})[number] = None
        if each.evidence.pieces.get("operator"):
            named.setdefault("operator", {})[each.evidence.pieces["operator"]] = None
    for piece, by in sorted(named.items()):
        yield piece, ", ".join(by)


def still_marked(vehicle: Vehicle) -> list[Open]:
    """Values of the file that are marked as not yet measured."""
    done = "measure it; the mark goes with it, or take it away by hand"
    return [
        Open("missing", f"{vehicle.path}, line {line}", f"{key} is marked: {words}", done)
        for line, key, words in marked_lines(vehicle.text)
    ]
