"""The exported C library for tests: built once with a host compiler, and played beside Python."""

import functools
import os
import random
import shutil
import struct
import subprocess
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from mixer.flight import FlightTables, Steering
from mixer.flight import layout as at
from mixer.flight.servo_pulses import ServoPulses
from mixer.flight.tables import VERSION
from mixer.ground.c_library import self_test
from mixer.ground.c_library.render import library
from mixer.ground.inputs.section_errors import VehicleError
from mixer.ground.tables.build import flight_tables
from mixer.ground.tables_in_words.text import checksum
from mixer.ground.vehicle.vehicle import Vehicle
from tests.support.vehicles import vehicle

HERE = Path(__file__).parent / "c"
STRICT = (
    "-pedantic", "-Wall", "-Wextra", "-Wconversion", "-Wshadow", "-Werror",
)  # fmt: skip
C99 = ("-std=c99", *STRICT)
# Nothing is optimised: compiled in a third of the time, and no fault is optimised away.
SANITIZED = ("-g1", "-O0", "-fsanitize=address,undefined", "-fno-sanitize-recover=all")
ROOM = 8192  # words
START, RELEASE, JAM, FREE, DEMAND, STEP, RESET, SENSED, WATCH, BEGIN, WAIT, TRUST = range(12)
AFTER = 23  # words that play.c tells after an operation
Op = tuple[int, ...]


def needs(*programs: str) -> None:
    """Skip where one is missing, by name; fail in CI, where all have to be there."""
    if absent := [program for program in programs if shutil.which(program) is None]:
        missing(", ".join(absent))


def missing(what: str) -> None:
    if os.environ.get("CI"):
        pytest.fail(f"CI needs this: {what}")
    pytest.skip(f"not on this machine: {what}")


def exported(folder: Path, one: Vehicle | None = None) -> Path:
    """The files of a vehicle's library in a folder."""
    one = vehicle() if one is None else one
    for place, text in library(one, flight_tables(one)).items():
        (folder / place).parent.mkdir(parents=True, exist_ok=True)
        (folder / place).write_text(text, encoding="utf-8")
    return folder


def run(*command: object, **how: Any) -> subprocess.CompletedProcess[bytes]:
    """Run a program that has to end well; what it said is shown where it does not."""
    done = subprocess.run([str(part) for part in command], capture_output=True, **how)
    assert done.returncode == 0, (
        f"{' '.join(map(str, command))}\n{done.stdout.decode()}\n{done.stderr.decode()}"
    )
    return done


def sources(folder: Path, *without: str) -> list[Path]:
    return [path for path in sorted((folder / "src").glob("*.c")) if path.stem not in without]


def build_player(folder: Path, flags: Sequence[str] = SANITIZED) -> Path:
    """play.c with the library in a folder, by default under sanitizers: the program's path."""
    needs("gcc")
    player = folder / "play"
    run(
        "gcc", *C99, *flags, f"-DFV_WORDS={ROOM}", f"-DSTATE_WORDS={at.STATE_WORDS}",
        "-I", folder / "src", HERE / "play.c", folder / "src/fourvane.c", "-o", player,
        cwd=folder,
    )  # fmt: skip
    return player


def carried(
    tables: FlightTables,
    ops: Sequence[Op],
    version: int = VERSION,
    count: int | None = None,
    crc: int | None = None,
) -> bytes:
    """What play.c reads of tables and operations; a header other than the right one on request."""
    words = tables.words
    head = (
        version,
        len(words) if count is None else count,
        checksum(tables) if crc is None else crc,
        len(words),
    )
    flat = [number for op in ops for number in (*op, *[0] * (6 - len(op)))]
    return struct.pack(f"<{len(head)}I{len(words)}iI{len(flat)}i", *head, *words, len(ops), *flat)


@dataclass
class Came:
    """What play.c wrote for one set of tables."""

    said: int
    after: list[tuple[int, ...]]
    state: tuple[int, ...]


def play(player: Path, pieces: Iterable[tuple[bytes, int]]) -> list[Came]:
    """Play what `carried` gave, each with its number of operations."""
    pieces = list(pieces)
    out = run(player, input=b"".join(data for data, _ in pieces)).stdout
    words = struct.unpack(f"<{len(out) // 4}i", out)
    came, place = [], 0
    for _, count in pieces:
        said, place = words[place], place + 1
        starts = range(place, place + AFTER * count, AFTER)
        after = [words[start : start + AFTER] for start in starts]
        place += AFTER * count
        length = at.STATE_WORDS if said == 0 else 0
        came.append(Came(said, after, words[place : place + length]))
        place += length
    assert place == len(words)
    return came


def in_python(tables: FlightTables, ops: Iterable[Op]) -> tuple[list[tuple[int, ...]], list[int]]:
    """What play.c should write: after each operation, and the state at the end."""
    steering, pulses = Steering(tables), ServoPulses()
    pulses.begin(steering)
    after = [(done_in_python(steering, op, pulses), *told(steering, pulses)) for op in ops]
    return after, list(steering._w[: at.STATE_WORDS])


def told(steering: Steering, pulses: ServoPulses) -> tuple[int, ...]:
    return (
        *steering.deflection_mdeg, *pulses.pulse_ns, *steering.force, *steering.moment_mnm,
        steering.flags, steering.jammed, steering.time_us, steering.load_us, steering.declared,
        steering.jams_found, steering.sensors_out,
    )  # fmt: skip


def done_in_python(steering: Steering, op: Op, pulses: ServoPulses | None = None) -> int:
    """The pulses, where they are wanted, are those of a node that stays armed."""
    if pulses is None:
        pulses = ServoPulses()
        pulses.begin(steering)
    what, numbers = op[0], op[1:]
    if what in (JAM, FREE) and not 1 <= numbers[0] <= 4:
        return 0
    if what == START:
        steering.start(*(max(-at.LAST_US, min(at.LAST_US, number)) for number in numbers))
    elif what == DEMAND:
        return int(steering.demand(*numbers))
    elif what == STEP:
        flags = steering.step(*numbers)
        pulses.follow(steering, numbers[1], True)
        return flags
    elif what == SENSED:
        steering.sensed(*numbers)
    elif what == WATCH:
        if not numbers[0]:
            pulses.part_all(steering, steering.declared)
        steering.watch(numbers[0])
    elif what == BEGIN:
        steering.begin()
    elif what == WAIT:
        steering.wait(max(-at.LAST_US, min(at.LAST_US, numbers[0])))
    elif what == TRUST:
        steering.trust(numbers[0])
    elif what == JAM:
        pulses.part(steering, numbers[0])
        steering.jam(*numbers)
        return 1
    elif what == FREE:
        pulses.part(steering, numbers[0])
        steering.free(*numbers)
        return 1
    else:
        steering.release() if what == RELEASE else steering.reset()
        if what == RESET:
            pulses.begin(steering)
    return 0


def operations(recording: self_test.RecordedCycles) -> list[Op]:
    """A recording of cycles as operations, each cycle ending in a STEP."""
    ops: list[Op] = []
    events = iter([*recording.events, (len(recording.given), 0, 0, 0)])
    event = next(events)
    for cycle, (pitch, yaw, roll, pressure_pa, dt_us) in enumerate(recording.given):
        while event[0] == cycle:
            what, a, b = event[1:]
            ops.append({RELEASE: (what,), FREE: (what, a)}.get(what, (what, a, b)))
            event = next(events)
        if pitch != self_test.NO_DEMAND:
            ops.append((DEMAND, pitch, yaw, roll))
        ops.append((STEP, pressure_pa, dt_us))
    return ops


@functools.cache
def random_tables(seed: int) -> FlightTables:
    """Flight tables of an unlikely but admissible vehicle; the same for the same seed."""
    source = random.Random(seed)
    while True:
        try:
            return flight_tables(_drawn(source))
        except VehicleError:
            continue


def _drawn(source: random.Random) -> Vehicle:
    spread = source.choice((0.0, 0.0, 0.05, 1.5, 12.0))
    first = source.choice((0.0, 45.0, source.uniform(0, 45)))
    clocking = [first + 90 * vane + source.uniform(-spread, spread) for vane in range(4)]
    size_n = 10 ** source.uniform(0.8, 3.5)
    travel = [
        [-source.uniform(4, 25), source.uniform(4, 25)] if source.random() < 0.5 else [-15.0, 15.0]
        for _ in range(4)
    ]
    points = source.choice((3, 5, 9))
    angles = [-26.0 + 52.0 * i / (points - 1) for i in range(points)]
    force = [size_n * (angle / 26 + 0.1 * (angle / 26) ** 3) for angle in angles]
    rows = [sorted((source.uniform(0.5, 1.0) for _ in range(3)), reverse=True) for _ in range(4)]
    return vehicle(
        engine={"chamber_pressure_bar": 10 ** source.uniform(0.5, 2), "believed_pressure": None},
        layout={
            "clocking_deg": [angle % 360 for angle in clocking],
            "roll_arm_m": source.uniform(0.02, 0.2),
            "lever_arm_m": source.choice((1.3, {"time_s": [0.0, 11.0], "m": [1.0, 2.2]})),
        },
        vanes={"travel_deg": travel, "deflection_deg": angles, "force_n": force, "drag_n": None},
        erosion={"load_s": [0.0, 9.0, 30.0], "effectiveness": [[1.0, *row[1:]] for row in rows]},
        servos={
            "slew_deg_s": [10 ** source.uniform(1, 3.2) for _ in range(4)],
            "us_per_deg": [source.choice((-1, 1)) * source.uniform(5, 15) for _ in range(4)],
        },
        control={
            "policy": source.choice(("nearest", "direction")),
            "rate_hz": source.choice((50, 200, 333)),
        },
    )
