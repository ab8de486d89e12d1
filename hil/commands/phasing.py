"""`fourvane phasing`: tilt the vehicle by hand; do demands and vanes work against the motion?"""

import json
import os
import time
from pathlib import Path
from typing import Any

import click

from hil.commands.record_tap import baud_option, ports_option, refuse_ports
from hil.node.errors import BoardError
from hil.phasing.checked_vanes import read_checked
from hil.phasing.motions import AXES, STANCES, Stance
from hil.phasing.person import Terminal, WallClock, somebody_here
from hil.phasing.rehearsal import Rehearsal, Wrong
from hil.phasing.report import CAUTIONS, phasing_page, verdict_of
from hil.phasing.verdict import Phasing, examine
from hil.tap.kept_bytes import KeptBytes
from hil.tap.listener import Listener, silence
from hil.tap.serial_wires import listening
from mixer.ground.command_line.fourvane import FAILED, INTERRUPTED, emit, result_option, stop
from mixer.ground.command_line.path_options import SOURCE
from mixer.ground.evidence.evidence import KEY, evidence_of
from mixer.ground.evidence.on_page import write_page
from mixer.ground.inputs.arrays import VANES
from mixer.ground.inputs.errors import InputError
from mixer.ground.inputs.file_locks import alone_in
from mixer.ground.inputs.log_book import GivenLog, asker, log_book_options, now, readable
from mixer.ground.inputs.run_files import writes
from mixer.ground.inputs.whole_files import write_whole
from mixer.ground.reports.console import messages, output
from mixer.ground.reports.facts import plain
from mixer.ground.vehicle.vehicle import load_vehicle

RESULT, PAGE, HEARD = "phasing.json", "phasing.html", "phasing.heard"
UNJUDGED = "unjudged.heard"  # until there is a result that belongs to it
FIRST_WORD_S = 3.0
SERVO = click.IntRange(1, VANES)
AXIS = click.Choice(AXES)
BEFORE = (
    "CAUTION: servos are powered and armed for this, and move without warning. Nobody at vanes, "
    "linkage or nozzle; look from where you can reach nothing. Igniters NOT connected, no "
    "propellant. Hold the vehicle so that it cannot fall."
)


@click.command()
@click.argument("vehicle", type=SOURCE)
@ports_option
@baud_option
@click.option(
    "--stance",
    type=click.Choice(STANCES),
    default="standing",
    show_default=True,
    help="How the vehicle is held: what you are asked to do is worded for it.",
)
@click.option("--no-roll", is_flag=True, help="The flight computer does not steer roll.")
@click.option(
    "--line-only",
    is_flag=True,
    help="Nobody looks at the vanes: a reversed or swapped servo is not found then.",
)
@click.option("--checked", type=SOURCE, help="The control check's result: fourvane board check.")
@click.option(
    "--out-dir",
    "out",
    metavar="FOLDER",
    type=click.Path(path_type=Path, file_okay=False),
    default="fourvane-phasing",
    show_default=True,
    help="Where result, page and what was heard are kept.",
)
@click.option("--rehearse", is_flag=True, help="A simulated flight computer, hands and eyes.")
@click.option("--seed", type=click.IntRange(0), default=0, help="Of the rehearsal's hands.")
@click.option("--reversed", "reversed_axis", type=AXIS, help="Rehearse a wrong sign.")
@click.option("--swapped", type=(AXIS, AXIS), help="Rehearse two axes taken for each other.")
@click.option("--reversed-servo", type=SERVO, help="Rehearse a servo that turns the wrong way.")
@click.option("--swapped-servos", type=(SERVO, SERVO), help="Rehearse two plugs swapped.")
@log_book_options
@result_option
def phasing(
    vehicle: Path,
    ports: tuple[str, ...],
    baud: int,
    stance: Stance,
    no_roll: bool,
    line_only: bool,
    checked: Path | None,
    out: Path,
    rehearse: bool,
    seed: int,
    reversed_axis: str | None,
    swapped: tuple[str, str] | None,
    reversed_servo: int | None,
    swapped_servos: tuple[int, int] | None,
    as_json: bool,
    given_log: GivenLog,
) -> None:
    """Tilt the vehicle by hand, motion by motion: do demands and vanes work against it?

    The flight computer runs and demands; this command only listens. It names each axis that is
    right, reversed, swapped, silent or too weak to tell, and, by what you see of the vanes, each
    servo that is reversed or swapped. Without a jet the node keeps its vanes at neutral: let the
    flight computer send the reference chamber pressure with its demands for this check.

    CAUTION: servos are powered and armed. Nobody at vanes, linkage or nozzle; igniters NOT
    connected, no propellant; the vehicle held so that it cannot fall.

    Example: fourvane phasing vehicle.toml --rehearse --reversed yaw
    """
    wrong = wrong_of(reversed_axis, swapped, reversed_servo, swapped_servos)
    if rehearse and ports:
        raise InputError("--rehearse has no --port: its line is in this process")
    if not rehearse:
        refuse_ports(ports, ", such as --port /dev/ttyUSB0 (or --rehearse without any hardware)")
    if not rehearse and wrong != Wrong():
        raise InputError("wrong signs are for --rehearse; on a real vehicle they are real")
    if not rehearse and not somebody_here():
        raise InputError("a person makes the motions and presses keys: run this at a terminal")
    loaded = load_vehicle(vehicle)
    out.mkdir(parents=True, exist_ok=True)
    writes(out / RESULT, out / PAGE, out / HEARD, out / UNJUDGED)
    messages.print(BEFORE, soft_wrap=True)
    before = None if checked is None else read_checked(checked, loaded, rehearsal=rehearse)
    options: dict[str, Any] = {"eyes": not line_only, "roll": not no_roll, "checked": before}
    with alone_in(out, "phasing check"), KeptBytes(out / UNJUDGED) as kept:
        book = given_log.kept_in(out, (), None if rehearse else asker(as_json))
        try:
            if rehearse:
                simulated = Rehearsal(loaded, seed, wrong, eyes=not line_only, kept=kept)
                listener = simulated.listener
                with messages.status("rehearsing: simulated hands move the vehicle"):
                    found, held = examine(listener, simulated, simulated, loaded, **options)
            else:
                listener = Listener(len(ports), kept)
                with listening(ports, listener, baud) as wires:
                    wait_for_frames(listener)
                    person = Terminal(stance, not line_only)
                    found, held = examine(listener, WallClock(), person, loaded, **options)
                if wires.fault:
                    raise BoardError(f"{wires.fault}; what was heard is kept in {out / UNJUDGED}")
        except KeyboardInterrupt:
            kept.close()
            stop(f"interrupted; nothing judged, what was heard is in {out / UNJUDGED}", INTERRUPTED)
        facts = [
            ("Date", readable(now())),
            ("Vehicle file", vehicle),
            ("Line", "simulated: a rehearsal" if rehearse else " and ".join(ports)),
            *book.facts,
        ]
        record = {"at": now(), **book.stated, "rehearsal": rehearse, "vehicle": str(vehicle)}
        result = {**record, **found.as_dict(), "heard": listener.summary}
        kept.close()
        os.replace(out / UNJUDGED, out / HEARD)
        files = [out / HEARD] if checked is None else [out / HEARD, checked]
        evidence = evidence_of(
            "phasing", loaded, verdict_of(found), files=files, rehearsal=rehearse,
            board="simulated" if rehearse else " and ".join(ports), pieces=book.stated,
        )  # fmt: skip
        page = phasing_page(found, held, listener.end(), loaded, facts, rehearse)
        write_page(out / PAGE, lambda: page, evidence)
        with write_whole(out / RESULT) as stream:
            kept_result = {**plain(result), KEY: evidence.plain}
            json.dump(kept_result, stream, indent=2, ensure_ascii=False, allow_nan=False)
            stream.write("\n")
    emit(
        {**result, "report": out / PAGE},
        as_json,
        lambda: show(found, out, rehearse),
        f"fourvane handover {vehicle} --from . --out handover.html",
        evidence.plain,
    )
    if not found.passed:
        raise SystemExit(FAILED)


def wrong_of(
    reversed_axis: str | None,
    swapped: tuple[str, str] | None,
    reversed_servo: int | None,
    swapped_servos: tuple[int, int] | None,
) -> Wrong:
    """What a rehearsal is told to get wrong."""
    for pair, name in ((swapped, "--swapped"), (swapped_servos, "--swapped-servos")):
        if pair is not None and pair[0] == pair[1]:
            raise InputError(f"{name} {pair[0]} {pair[1]}: must be two different ones")
    return Wrong(
        reversed_axes=() if reversed_axis is None else (AXES.index(reversed_axis),),
        swapped_axes=None if swapped is None else (AXES.index(swapped[0]), AXES.index(swapped[1])),
        reversed_servos=() if reversed_servo is None else (reversed_servo - 1,),
        swapped_servos=None
        if swapped_servos is None
        else (swapped_servos[0] - 1, swapped_servos[1] - 1),
    )


def wait_for_frames(listener: Listener) -> None:
    """BoardError, with what to look at, where no frame comes within a few seconds."""
    deadline = time.monotonic() + FIRST_WORD_S
    while silence(listener):
        if time.monotonic() > deadline:
            raise BoardError(silence(listener))
        time.sleep(0.05)


def show(found: Phasing, out: Path, rehearsal: bool) -> None:
    """The findings, a line each, and the word."""
    for axis in found.axes:
        output.print(f"{' ' if axis.outcome == 'right' else '!'} {axis.words}", soft_wrap=True)
    control = [] if found.checked is None else found.checked.faults
    for text in (*found.commands, *found.vanes.words, *control):
        output.print(f"! {text}", soft_wrap=True)
    if found.vanes.looked and not found.vanes.words:
        output.print(
            f"  vanes: as commanded, {found.vanes.fits} of {found.vanes.answers} answers fit"
        )
    for text in found.open:
        output.print(f"Not told: {text}", soft_wrap=True)
    word = "PASS" if found.passed else "FAIL"
    output.print(f"REHEARSAL, simulated vehicle: {word}" if rehearsal else word)
    output.print(f"The page is in {out / PAGE}", soft_wrap=True)
    messages.print(CAUTIONS[1], soft_wrap=True)
