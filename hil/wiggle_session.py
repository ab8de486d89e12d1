"""The wiggle command from start to end: board, onlooker, table of what is plugged in wrong."""

from collections.abc import Callable
from typing import Any

import click
from rich.table import Table

from hil.bench_board import bench_board
from hil.bench_options import BenchOptions, OptionError
from hil.questions import ask, one_of
from hil.wiggle import ModelOnlooker, Onlooker, Seen, WiggleRow, wiggle
from mixer.ground.command import INTERRUPTED, stop
from mixer.ground.console import messages, output
from mixer.ground.log_book import now

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
    result = {
        "at": now(),
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
    return result, lambda: show(rows, options.rehearsal)


def show(rows: list[WiggleRow], rehearsal: bool) -> None:
    """A line a servo."""
    table = Table("servo", "should turn", "moved", "turned", "", box=None, pad_edge=False)
    for row in rows:
        moved = f"vane {row.seen.vane}" if row.seen.vane else "none"
        table.add_row(
            str(row.servo), row.expected, moved, row.seen.turn, row.finding or "as it should"
        )
    output.print(table)
    word = "PASS" if all(not row.finding for row in rows) else "FAIL"
    output.print(f"REHEARSAL, emulated servos: {word}" if rehearsal else word)
