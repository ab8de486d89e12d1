"""`fourvane record tap`: what the node was told, from what passes on the line."""

import time
from pathlib import Path
from typing import Any

import click

from hil.node.errors import BoardError
from hil.tap.heard_csv import write_heard
from hil.tap.kept_bytes import KeptBytes, read_kept
from hil.tap.line_record import write_record
from hil.tap.listener import Listener, heard_again, silence
from hil.tap.serial_wires import BAUD, Wires, listening
from mixer.ground.command_line.fourvane import emit, result_option
from mixer.ground.command_line.path_options import RESULT, SOURCE, beside
from mixer.ground.flight_record.kept_record import kept_beside
from mixer.ground.flight_record.record_file import record_in
from mixer.ground.inputs.errors import InputError
from mixer.ground.inputs.whole_files import write_whole
from mixer.ground.reports.console import messages
from mixer.ground.vehicle.vehicle import load_vehicle

SHOW_S = 0.5


ports_option = click.option(
    "--port",
    "ports",
    multiple=True,
    metavar="PORT",
    help="A serial port that listens to the line: one that hears both ends, or two of them.",
)
baud_option = click.option("--baud", type=click.IntRange(1200), default=BAUD, show_default=True)


vehicle_option = click.option(
    "--vehicle",
    "vehicle_file",
    type=SOURCE,
    help="Whose record it is: its evidence is then kept beside it, for fourvane handover.",
)


def refuse_ports(ports: tuple[str, ...], instead: str) -> None:
    """One or two ports listen; `instead`: what else there is."""
    if not 1 <= len(ports) <= 2:
        raise InputError(
            f"--port was given {len(ports)} times; must be once, or twice for two wires{instead}"
        )


@click.command()
@ports_option
@click.option(
    "--heard", type=SOURCE, help="Bytes kept by an earlier run, instead of a port: after a crash."
)
@baud_option
@click.option("--seconds", type=click.FloatRange(0.1), help="Stop by itself; else by Ctrl-C.")
@click.option("--out", type=RESULT, required=True, help="The record; must not be there yet.")
@vehicle_option
@result_option
def tap(
    ports: tuple[str, ...],
    heard: Path | None,
    baud: int,
    seconds: float | None,
    out: Path,
    vehicle_file: Path | None,
    as_json: bool,
) -> None:
    """Listen to the line between flight computer and node, by one or two serial ports.

    Nothing is ever sent. Ctrl-C ends it in order. Which wire carries demands need not be said: a
    frame tells who sent it. Beside the record stand all bytes heard, with their times (.heard), and
    demands and what the node made of them as a table (.csv). The node's time steps do not pass on
    the line: they are taken as heard.

    CAUTION: a listening wire hangs on a line that steers powered servos. Connect receive and ground
    only, with everything unpowered.

    Example: fourvane record tap --port /dev/ttyUSB0 --port /dev/ttyUSB1 --out flight.record
    """
    if heard is None:
        refuse_ports(ports, " (or --heard FILE for what was heard before)")
    elif ports:
        raise InputError("--heard has no --port: nothing is listened to")
    if out.exists():
        raise InputError(f"{out}: is there already; a record is never written over, name another")
    vehicle = None if vehicle_file is None else load_vehicle(vehicle_file)
    table = beside(out, ".csv")
    fault = ""
    if heard is not None:
        listener = heard_again(read_kept(heard))
        kept_in = heard
    else:
        kept_in = beside(out, ".heard")
        if kept_in.exists():
            raise InputError(
                f"{kept_in}: is there already, of a run before; make its record with --heard "
                f"{kept_in}, or name another --out"
            )
        with KeptBytes(kept_in) as kept:
            listener = Listener(len(ports), kept)
            with listening(ports, listener, baud) as wires:
                listen(listener, wires, seconds)
        fault = wires.fault
    if silence(listener):
        raise BoardError(fault or silence(listener))
    cycles = write_record(out, listener)
    with write_whole(table) as stream:
        write_heard(stream, listener.end())
    if fault:
        raise BoardError(f"{fault}; what was heard before is kept in {out}")
    result: dict[str, Any] = {
        **listener.summary,
        "cycles_recorded": cycles,
        "record": out,
        "heard": kept_in,
        "table": table,
    }
    evidence = None if vehicle is None else kept_beside("record tap", vehicle, record_in(out))
    following = f"fourvane record replay {out} --vehicle {vehicle_file or 'VEHICLE'}"
    emit(result, as_json, None, following, evidence)


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
