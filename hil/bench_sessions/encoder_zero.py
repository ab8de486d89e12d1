"""Where edge-on is for each encoder and which way it counts, kept in the bench's folder."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any, Literal

import click
from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from hil.bench.open_bench import bench_board
from hil.bench.port import BenchPort, Scale
from hil.bench_sessions.options import BenchOptions, OptionError
from hil.node.errors import BoardError
from mixer.ground.evidence.evidence import KEY, evidence_of
from mixer.ground.inputs.arrays import VANES
from mixer.ground.inputs.csv_files import InputError, write_whole
from mixer.ground.inputs.file_locks import alone_in
from mixer.ground.reports.console import messages, output
from mixer.ground.vehicle.vehicle import Vehicle

ENCODERS = "encoders.json"
RAW = Scale(zero_counts=0.0)
LEAST_TURN_DEG = 2.0


class KeptScale(BaseModel):
    """A `Scale` as the file has it."""

    model_config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False)

    counts_per_turn: int = Field(4096, gt=0)
    zero_counts: float = 2048.0
    direction: Literal[1, -1] = 1


SCALES = TypeAdapter(dict[Literal["1", "2", "3", "4"], KeptScale])


def read_scales(folder: Path) -> list[Scale]:
    """The scale of each servo's encoder; where none was set, zero is the middle of its counts."""
    path = folder / ENCODERS
    if not path.exists():
        return [Scale()] * VANES
    try:
        kept = SCALES.validate_json(path.read_bytes(), strict=True)
    except ValidationError as error:
        raise InputError(f"{path}: not the encoders of a bench; run 'bench zero' anew") from error
    by_servo = {int(number): Scale(**scale.model_dump()) for number, scale in kept.items()}
    return [by_servo.get(servo, Scale()) for servo in range(1, VANES + 1)]


def set_zero(options: BenchOptions) -> tuple[dict[str, Any], Callable[[], None]]:
    """Ask for each servo's vane to be held edge-on and then turned, and keep what is read."""
    if options.rehearsal:
        raise OptionError(f"--board {options.board}: no vane is there to be held edge-on")
    vehicle = options.vehicle()
    options.out.mkdir(parents=True, exist_ok=True)
    with alone_in(options.out, "bench"):
        return zeroed(options, vehicle)


def zeroed(options: BenchOptions, vehicle: Vehicle) -> tuple[dict[str, Any], Callable[[], None]]:
    """The scales, in a folder in which nobody else measures."""
    scales = dict(enumerate(read_scales(options.out), 1))
    with bench_board(
        options.board,
        vehicle,
        servos=(),
        scales=[RAW] * VANES,
        firmware=options.firmware,
        wiring=options.wiring,
        say=messages.print,
    ) as port:
        for servo in options.servos:
            scales[servo] = zero_of(port, servo, wait_for_key)
    kept = {str(servo): vars(scale) for servo, scale in sorted(scales.items())}
    with write_whole(options.out / ENCODERS) as stream:
        json.dump(kept, stream, indent=2)
        stream.write("\n")
    evidence = evidence_of("bench zero", vehicle, board=options.board, rehearsal=options.rehearsal)
    result = {"file": options.out / ENCODERS, "encoders": kept, KEY: evidence.plain}
    return result, lambda: output.print(f"kept in {options.out / ENCODERS}", soft_wrap=True)


def wait_for_key(text: str) -> None:
    click.pause(f"{text}, then press any key", err=True)


def zero_of(port: BenchPort, servo: int, ask: Callable[[str], None]) -> Scale:
    """The scale of one encoder, from edge-on and from a turn clockwise by hand."""
    ask(f"Servo {servo}, its supply off: hold the vane edge-on with the jig")
    edge_on = raw_counts(port, servo)
    ask("Turn the vane clockwise by some 10 deg, seen from outside along its shaft, and hold it")
    turned = raw_counts(port, servo)
    by_deg = float(Scale(zero_counts=edge_on).angle_deg(turned))
    if abs(by_deg) < LEAST_TURN_DEG:
        raise BoardError(
            f"servo {servo}: the encoder saw a turn of {by_deg:.1f} deg; it must be more than "
            f"{LEAST_TURN_DEG:g} deg, is the magnet on the shaft?"
        )
    return Scale(zero_counts=edge_on, direction=1 if by_deg > 0 else -1)


def raw_counts(port: BenchPort, servo: int) -> float:
    """The encoder's counts, 0 to its whole turn."""
    reading = port.read(servo)
    if reading.angle_deg is None or reading.trouble:
        raise BoardError(f"servo {servo}: the encoder gives {reading.trouble or 'no answer'}")
    return reading.angle_deg / 360.0 * RAW.counts_per_turn % RAW.counts_per_turn
