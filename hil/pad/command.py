"""`fourvane board check`: the control check on the pad, each vane out and back, over the line."""

import json
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from zlib import crc32

import click

from hil.bench_sessions.questions import ask
from hil.boards.link import BAUD
from hil.boards.node_on_board import serve_on
from hil.boards.open_board import IN_PROCESS, REHEARSING, open_board
from hil.node.errors import BoardError
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink
from hil.node.served_line import served_line
from hil.pad.pad_check import NOT_THROUGH, OFF, SILENT, VaneFound, check_vanes
from hil.pad.report import check_page, verdict_of
from mixer.ground.command_line.fourvane import FAILED, INTERRUPTED, emit, result_option, stop
from mixer.ground.command_line.next_step import next_step
from mixer.ground.command_line.path_options import RESULT, SOURCE
from mixer.ground.evidence.evidence import KEY, evidence_of, sums_of
from mixer.ground.evidence.on_page import write_page
from mixer.ground.inputs.errors import InputError
from mixer.ground.inputs.log_book import GivenLog, asker, log_book_options, readable
from mixer.ground.inputs.whole_files import write_whole
from mixer.ground.reports.console import messages, output
from mixer.ground.reports.facts import plain
from mixer.ground.tables.build import flight_tables
from mixer.ground.vehicle.vehicle import Vehicle, load_vehicle

WORD = "turn"
CAUTION = (
    "CAUTION: the vanes turn by themselves, one after the other. Igniters NOT connected, no "
    "propellant; nobody at nozzle, vanes or linkage; look from where the range's safety officer "
    "lets you stand."
)


@click.command("check")
@click.argument("vehicle", type=SOURCE)
@click.option("--board", "name", required=True, metavar="PORT",
              help="The line the node serves; or none, unix, emulated to rehearse.")  # fmt: skip
@click.option("--baud", type=click.IntRange(1200), default=BAUD, show_default=True)
@click.option("--deflection", "deflection_deg", type=float, default=3.0, show_default=True,
              help="How far each vane goes out, 2 to 5 degrees to either side.")  # fmt: skip
@click.option(
    "--by-eye", is_flag=True, help="The vanes have no angle sensors: you look, and are asked."
)
@click.option("--out", type=RESULT, default="control-check.json", show_default=True,
              help="The result, for fourvane handover and phasing --checked.")  # fmt: skip
@click.option("--report", metavar="FILE", type=RESULT, help="A page for the module's log book.")
@log_book_options
@result_option
def check_command(
    vehicle: Path, name: str, baud: int, deflection_deg: float, by_eye: bool, out: Path,
    report: Path | None, as_json: bool, given_log: GivenLog,
) -> None:  # fmt: skip
    """The control check on the pad: each vane out and back, slowly, and what its sensor measured.

    In place of the flight computer, over its line. The node must be safe, its vanes at rest, no
    demand lately, no jet; else it refuses, and this says so. Ctrl-C leads the vanes to neutral.
    Exit status 1 where a vane did not answer: its sensor disagrees or tells nothing, nobody saw it
    turn, or the check did not come through.

    CAUTION: powered servos turn by themselves. Igniters NOT connected, nobody at nozzle, vanes or
    linkage; the range's safety officer says where to stand and when.

    Example: fourvane board check vehicle.toml --board /dev/ttyACM0 --report check-pad.html
    """
    rehearsal = name in REHEARSING
    loaded = load_vehicle(vehicle)
    flown = flight_tables(loaded)
    tables = flown.to_bytes()
    book = given_log.kept_in(vehicle.parent, (), None if rehearsal else asker(as_json))
    if not rehearsal:
        ask_for_the_word()
    deflection_mdeg = round(1e3 * deflection_deg)
    try:
        with node_of(name, baud, tables) as (link, wait):
            machine = refuse_other_tables(link, tables, vehicle)
            vanes = check_vanes(link, deflection_mdeg, wait, tell)
    except KeyboardInterrupt:
        stop("interrupted; the vanes were led to neutral", INTERRUPTED)
    seen = seen_by_eye(deflection_deg) if by_eye and not rehearsal else None
    faults = faults_of(vanes, by_eye or rehearsal, seen)
    sums, found = sums_of(flown), verdict_of(vanes, faults, seen)
    evidence = evidence_of(
        "board check", loaded, found, tables=sums, board=f"{name}: {machine}" if machine else name,
        on_board=sums.bytes_crc32, rehearsal=rehearsal, pieces=book.stated,
    )  # fmt: skip
    result = {
        "at": evidence.at, **book.stated, "vehicle": str(vehicle), "board": name,
        "rehearsal": rehearsal, "tables_crc32": sums.bytes_crc32, "deflection_deg": deflection_deg,
        "vanes": [each.as_dict() for each in vanes],
        "seen": seen, "faults": faults, "passed": not faults,
    }  # fmt: skip
    with write_whole(out) as stream:
        json.dump({**plain(result), KEY: evidence.plain}, stream, indent=2, ensure_ascii=False)
        stream.write("\n")
    if report is not None:
        facts = [("Date", readable(evidence.at)), ("Board", evidence.board), *book.facts]
        shown = loaded, vanes, deflection_deg, seen, found, facts, rehearsal
        write_page(report, lambda: check_page(*shown), evidence)
        result["report"] = report
    emit({**result, "result": out}, as_json, lambda: show(faults, rehearsal, out, report),
         next_of_check(loaded, vehicle, out, not faults, rehearsal), evidence.plain)  # fmt: skip
    if faults:
        raise SystemExit(FAILED)


def ask_for_the_word() -> None:
    """A word that nobody types by accident. InputError where another one comes."""
    messages.print(CAUTION, soft_wrap=True)
    typed = ask(f"Everybody clear? Type {WORD!r} to begin")
    if str(typed).strip().lower() != WORD:
        raise InputError(f"not begun: {typed!r} is not {WORD!r}")


@contextmanager
def node_of(
    name: str, baud: int, tables: bytes
) -> Iterator[tuple[NodeLink, Callable[[float], object]]]:
    """The node's line, and how time passes there."""
    if name == IN_PROCESS:
        link = NodeLink(Loopback())
        link.load_tables(tables)
        yield link, lambda seconds: [link.let_pass(10_000) for _ in range(round(100 * seconds))]
        return
    if name not in REHEARSING:
        with served_line(name, baud) as link:
            yield link, time.sleep
        return
    with open_board(name, count_instructions=False) as board:
        serve_on(board, tables)
        with served_line(board.port, baud) as link:
            yield link, time.sleep


def refuse_other_tables(link: NodeLink, tables: bytes, vehicle: Path) -> str:
    """The board's own name; BoardError where the node flies another vehicle's tables."""
    machine, _, crc = link.identify()
    if crc != crc32(tables):
        raise BoardError(
            f"the node has flight tables of CRC-32 {crc:08x}, {vehicle} makes {crc32(tables):08x}; "
            "deploy these, or name the vehicle file that is on board"
        )
    return machine


def tell(found: VaneFound) -> None:
    messages.print(found.words, soft_wrap=True)


def seen_by_eye(deflection_deg: float) -> str:
    """Numbers of the vanes that somebody saw turn right."""
    way = "clockwise" if deflection_deg > 0 else "anti-clockwise"

    def read(typed: str) -> str:
        if not set(typed) <= set("01234") or not typed:
            raise click.UsageError(f"{typed!r} is no answer here; type numbers of vanes, or 0")
        return "".join(sorted(set(typed) - {"0"}))

    return ask(
        f"Which vanes turned out and back, each alone and in its turn, {way} as seen from outside "
        "along the shaft? Their numbers, such as 1234, or 0 for none",
        read,
    )


def faults_of(vanes: list[VaneFound], without: bool, seen: str | None) -> list[str]:
    """What speaks against going on, a sentence each. without: silent sensors are none."""
    faults = []
    for found in vanes:
        bad = found.outcome in (OFF, NOT_THROUGH) or (found.outcome == SILENT and not without)
        if bad:
            faults.append(found.words)
        elif seen is not None and str(found.vane) not in seen:
            faults.append(f"vane {found.vane}: nobody saw it turn as it should")
    return faults


def next_of_check(loaded: Vehicle, vehicle: Path, out: Path, passed: bool, rehearsal: bool) -> str:
    """The phasing check, which takes the result; after a fault the same again."""
    if not passed:
        return next_step(loaded, vehicle, "board check", passed)
    line = "--rehearse" if rehearsal else "--port PORT"
    return f"fourvane phasing {vehicle} {line} --checked {out}"


def show(faults: list[str], rehearsal: bool, out: Path, report: Path | None) -> None:
    """The faults and the word."""
    for text in faults:
        output.print(f"! {text}", soft_wrap=True)
    word = "FAIL" if faults else "PASS"
    output.print(f"REHEARSAL, no servo on this board: {word}" if rehearsal else word)
    output.print(f"The result is in {out}", soft_wrap=True)
    if report is not None:
        output.print(f"The page is in {report}", soft_wrap=True)
