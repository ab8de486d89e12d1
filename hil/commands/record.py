"""`fourvane record`: what the node was told, from what passes on the line."""

import time
from pathlib import Path
from typing import Any

import click

from hil.node.errors import BoardError
from hil.tap.heard_csv import write_heard
from hil.tap.kept_bytes import KeptBytes
from hil.tap.listener import Listener, silence
from hil.tap.serial_wires import BAUD, Wires, listening
from mixer.ground.command_line.fourvane import emit, result_option
from mixer.ground.command_line.path_options import RESULT, beside
from mixer.ground.inputs.errors import InputError
from mixer.ground.inputs.whole_files import write_whole
from mixer.ground.reports.console import messages

SHOW_S = 0.5


@click.group()
def record() -> None:
    """The record of a test or a flight: what the node was told, cycle by cycle.

    Example: fourvane record tap --port /dev/ttyUSB0 --port /dev/ttyUSB1 --out heard.txt
    """


@record.command()
@click.option(
    "--port",
    "ports",
    multiple=True,
    required=True,
    metavar="PORT",
    help="A serial port that listens to the line: one that hears both ends, or two of them.",
)
@click.option("--baud", type=click.IntRange(1200), default=BAUD, show_default=True)
@click.option("--seconds", type=click.FloatRange(0.1), help="Stop by itself; else by Ctrl-C.")
@click.option("--out", type=RESULT, required=True, help="All bytes heard; a CSV stands beside it.")
@result_option
def tap(ports: tuple[str, ...], baud: int, seconds: float | None, out: Path, as_json: bool) -> None:
    """Listen to the line between flight computer and node, by one or two serial ports.

    Nothing is ever sent. Ctrl-C ends it in order. Which wire carries demands need not be said: a
    frame tells who sent it. All bytes are kept with their times, and beside them a CSV of demands
    and what the node made of them. Times are this computer's, not the node's.

    CAUTION: a listening wire hangs on a line that steers powered servos. Connect receive and ground
    only, with everything unpowered.

    Example: fourvane record tap --port /dev/ttyUSB0 --port /dev/ttyUSB1 --out heard.txt
    """
    if len(ports) > 2:
        raise InputError(f"--port was given {len(ports)} times; must be once or twice")
    table = beside(out, ".csv")
    with KeptBytes(out) as kept:
        listener = Listener(len(ports), kept)
        with listening(ports, listener, baud) as wires:
            listen(listener, wires, seconds)
    with write_whole(table) as stream:
        rows = write_heard(stream, listener.end())
    if wires.fault:
        raise BoardError(f"{wires.fault}; what was heard before is kept in {out}")
    if silence(listener):
        raise BoardError(silence(listener))
    result: dict[str, Any] = {**listener.summary, "rows": rows, "heard": out, "table": table}
    emit(result, as_json)


def listen(listener: Listener, wires: Wires, seconds: float | None) -> None:
    """Until the time is over, a port is gone, or Ctrl-C."""
    until_s = time.monotonic() + seconds if seconds is not None else float("inf")
    try:
        with messages.status("listening; Ctrl-C ends it") as status:
            while time.monotonic() < until_s and not wires.fault:
                time.sleep(min(SHOW_S, max(0.0, until_s - time.monotonic())))
                status.update(
                    f"listening; Ctrl-C ends it. {listener.requests} requests, "
                    f"{listener.answers} answers, {listener.damaged} damaged"
                )
    except KeyboardInterrupt:
        messages.print("ended; what was heard is kept")
