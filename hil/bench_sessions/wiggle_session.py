"""The wiggle command from start to end: board, onlooker, table of what is plugged in wrong."""

from collections.abc import Callable
from typing import Any

import click
from rich.table import Table as Shown

from hil.bench.open_bench import bench_board
from hil.bench_sessions.options import AnyFunction, BenchOptions, OptionError, bench_options
from hil.bench_sessions.questions import ask, one_of
from hil.bench_sessions.wiggle import ModelOnlooker, Onlooker, Seen, WiggleRow, wiggle
from mixer.ground.command_line.fourvane import INTERRUPTED, stop
from mixer.ground.evidence.evidence import KEY, evidence_of
from mixer.ground.evidence.on_page import write_page
from mixer.ground.inputs.arrays import VANES
from mixer.ground.inputs.log_book import LogBook, now, readable
from mixer.ground.inputs.run_files import writes
from mixer.ground.reports.console import messages, output
from mixer.ground.reports.page import Chapter, Table, Verdict, render_page
from mixer.ground.servo_bench.report import CAUTIONS, rehearsed
from mixer.ground.vane_report.from_behind import behind_chapter
from mixer.ground.vehicle.vehicle import Vehicle

TURNS = {"c": "clockwise", "a": "counter-clockwise", "n": "none"}


class PersonOnlooker:
    """Asks whoever stands at the bench."""

    def expect(self, text: str) -> None:
        messages.print(f"Look: {text}.", soft_wrap=True)
        click.pause("Press any key to start", err=True)

    def look(self) -> None:
        """The person looks all the time."""

    def saw(self) -> Seen:
        vane = int(ask("Which vane moved? (1 to 4, 0: none)", one_of("0", "1", "2", "3", "4")))
        if vane == 0:
            return Seen(0, "none")
        answer = ask(
            "Which way did it turn first, from outside? (c: clockwise, a: anti-clockwise, n: "
            "cannot tell)",
            one_of(*TURNS),
        )
        return Seen(vane, TURNS[answer])  # type: ignore[arg-type]


def check_wiring(
    options: BenchOptions, by_eye: bool, swapped: tuple[int, int] | None
) -> tuple[dict[str, Any], Callable[[], None]]:
    """Wiggle every servo asked for; what came out, and how to show it."""
    vehicle = options.vehicle()
    by_vane = options.emulated(vehicle)
    plugged = list(by_vane)
    if swapped is not None:
        if not options.rehearsal:
            raise OptionError("--swapped is for rehearsals; on a real board the plugs are real")
        a, b = swapped[0] - 1, swapped[1] - 1
        plugged[a], plugged[b] = plugged[b], plugged[a]
    onlooker: Onlooker = PersonOnlooker()
    if options.rehearsal and not by_eye:
        onlooker = ModelOnlooker(by_vane, messages.print)
    try:
        with bench_board(
            options.board,
            vehicle,
            servos=plugged,
            firmware=options.firmware,
            wiring=options.wiring,
            say=messages.print,
        ) as port:
            rows = wiggle(port, vehicle, options.servos, onlooker)
    except KeyboardInterrupt:
        stop("interrupted; all servos have been led to neutral", INTERRUPTED)
    book = options.log_book()
    page = options.out / "wiggle.html"
    options.out.mkdir(parents=True, exist_ok=True)
    writes(page)
    whole = set(options.servos) == set(range(1, VANES + 1))
    found = verdict_of(rows)
    evidence = evidence_of(
        "bench wiggle",
        vehicle,
        found if whole or found.outcome == "fail" else Verdict("open", found.reason, "in part"),
        pieces=book.stated,
        board=options.board,
        rehearsal=options.rehearsal,
    )
    write_page(page, lambda: wiggle_page(vehicle, rows, options, book), evidence)
    result: dict[str, Any] = {
        "at": evidence.at,
        **book.stated,
        "board": options.board,
        "rehearsal": options.rehearsal,
        "passed": all(not row.finding for row in rows),
        "servos": {
            str(row.servo): {
                "expected": row.expected,
                "moved_vane": row.seen.vane,
                "turned": row.seen.turn,
                "finding": row.finding,
            }
            for row in rows
        },
    }
    result["report"] = page
    result[KEY] = evidence.plain

    def tell() -> None:
        show(rows, options.rehearsal)
        output.print(f"The page is in {page}", soft_wrap=True)

    return result, tell


def wiggle_page(
    vehicle: Vehicle, rows: list[WiggleRow], options: BenchOptions, book: LogBook
) -> str:
    """The HTML page of the check, with the view from behind to hold the module against."""
    line = verdict_of(rows)
    head = ("Servo", "Should turn", "Moved", "Turned", "")
    cells = [(row.servo, *seen_cells(row)) for row in rows]
    return render_page(
        f"{'Rehearsal: wiggle' if options.rehearsal else 'Wiggle'} check of the module",
        f"The vanes of {vehicle.vehicle.name}, moved one at a time and looked at from outside "
        "along each shaft, towards the engine's axis.",
        [Chapter("What was seen", (), [Table(head, cells)]), *behind_chapter(vehicle)],
        [("Date", readable(now())), ("Board", options.board), *book.facts],
        rehearsed(line) if options.rehearsal else line,
        CAUTIONS,
    )


def verdict_of(rows: list[WiggleRow]) -> Verdict:
    """Whether every servo that was looked at moves its own vane the right way."""
    failed = [row for row in rows if row.finding]
    found = "; ".join(f"servo {row.servo}: {row.finding}" for row in failed)
    moved = f"servo {', '.join(str(row.servo) for row in rows)} moved as it should"
    return Verdict("fail" if failed else "pass", found or moved)


def seen_cells(row: WiggleRow) -> tuple[str, str, str, str]:
    """What should turn and what did."""
    moved = f"vane {row.seen.vane}" if row.seen.vane else "none"
    return row.expected, moved, row.seen.turn, row.finding or "as it should"


def show(rows: list[WiggleRow], rehearsal: bool) -> None:
    """A line a servo."""
    table = Shown("servo", "should turn", "moved", "turned", "", box=None, pad_edge=False)
    for row in rows:
        table.add_row(str(row.servo), *seen_cells(row))
    output.print(table)
    word = "PASS" if all(not row.finding for row in rows) else "FAIL"
    output.print(f"REHEARSAL, emulated servos: {word}" if rehearsal else word)


def wiggle_options(command: AnyFunction) -> AnyFunction:
    """The options of the wiggle check."""
    command = click.option(
        "--swapped",
        type=(click.IntRange(1, VANES), click.IntRange(1, VANES)),
        help="Rehearse with two emulated servos plugged in the wrong way round.",
    )(command)
    command = click.option(
        "--by-eye", is_flag=True, help="Ask you, also where emulated servos could be asked."
    )(command)
    return bench_options()(command)
