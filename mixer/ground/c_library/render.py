"""The texts of a vehicle's C library: templates, the compiled kernels, tables, recorded cycles."""

import re
import runpy
from collections.abc import Iterable, Sequence
from importlib.metadata import version
from importlib.resources import files
from typing import Any

from mixer.flight import FLAG_NAMES, FlightTables
from mixer.flight import layout as at
from mixer.flight.tables import HEADER_BYTES, MAGIC, VERSION
from mixer.ground.allocation.commands_csv import COLUMNS
from mixer.ground.allocation.run import LONGEST_GAP_S
from mixer.ground.c_library import self_test
from mixer.ground.inputs.arrays import LATEST_S
from mixer.ground.kernel_code.c99 import c_source
from mixer.ground.kernel_code.language import flight_core
from mixer.ground.kernel_code.prelude import PRELUDE
from mixer.ground.tables_in_words.text import checksum
from mixer.ground.vehicle.vehicle import Vehicle

KINDS = (
    "DEMAND", "ASK", "ARM", "DISARM", "JAM", "FREE", "COUNTERS", "IDENTIFY", "TABLES_BEGIN",
    "TABLES_PIECE", "TABLES_COMMIT", "BURN", "STOP", "FORCES", "PACE", "PASS", "CHECK",
    "CHECKED", "START", "BELIEF", "SEE", "STATE", "FURTHER",
)  # fmt: skip
FURTHER = ("RECORD", "RECORD_BLOCK", "RECORD_PIECE", "RECORD_CLEAR", "WATCH", "WATCHED")
LARGEST_ON_THE_LINE = 0x3FFFFFFF  # what is farther out would cost heap on a board
COMMANDS = (
    "reset", "start", "begin", "wait", "demand", "release", "jam", "free", "sensed", "trust",
    "watch", "cycle", "unfit_word",
)  # fmt: skip
LICENCE_LINE = "MIT License, (c) 2026 The Fourvane authors; see LICENSE."
NUMBERS_A_LINE = 8
MEANINGS = {
    "primary-limited": "pitch and yaw fall short of the demand",
    "roll-limited": "roll gave way to pitch and yaw, or to travel",
    "slew-limited": "the slew rate holds a vane back in this cycle",
    "no-thrust": "pressure below a twentieth of the reference: vanes go to neutral",
    "stale-demand": "no demand for the vehicle's timeout: vanes go to neutral",
    "bad-demand": "a demand was out of range and refused since the last step",
    "jammed-vane": "a vane is told, or found by the jam watch, to be jammed",
    "doubted-pressure": "the pressure was not believed; the last believed one stands in for it",
}
# Where each template goes in the folder.
TEMPLATES = {
    "fourvane.h.j2": "src/fourvane.h",
    "fourvane.c.j2": "src/fourvane.c",
    "fourvane_vehicle.h.j2": "src/fourvane_vehicle.h",
    "fourvane_vehicle.c.j2": "src/fourvane_vehicle.c",
    "fourvane_self_test.h.j2": "src/fourvane_self_test.h",
    "fourvane_self_test.c.j2": "src/fourvane_self_test.c",
    "fourvane_link.h.j2": "src/fourvane_link.h",
    "fourvane_link.c.j2": "src/fourvane_link.c",
    "allocate.c.j2": "program/allocate.c",
    "main_self_test.c.j2": "program/self_test.c",
    "README.md.j2": "README.md",
    "Makefile.j2": "Makefile",
    "CMakeLists.txt.j2": "CMakeLists.txt",
    "library.properties.j2": "library.properties",
    "LICENSE.j2": "LICENSE",
}


def library(vehicle: Vehicle, tables: FlightTables) -> dict[str, str]:
    """Every file of a vehicle's C library: its place in the folder, and its text."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    facts = numbers(vehicle, tables)
    templates = Environment(
        loader=PackageLoader("mixer.ground.c_library"),
        undefined=StrictUndefined,
        keep_trailing_newline=True,
    )
    return {place: templates.get_template(name).render(facts) for name, place in TEMPLATES.items()}


def numbers(vehicle: Vehicle, tables: FlightTables) -> dict[str, Any]:
    """What the templates name."""
    words = tables.words
    recording = self_test.record(tables)
    return {
        "version": version("fourvane"),
        "licence_line": LICENCE_LINE,
        "vehicle_text": " ".join(vehicle.vehicle.name.split()),
        "vehicle_comment": in_comment(vehicle.vehicle.name),
        "tables_version": VERSION,
        "crc32": f"{checksum(tables):08x}",
        "words": len(words),
        "fewest_words": at.BODY,
        "first_word": at.STATE_WORDS,
        "crc_steps": 32 * len(words),
        "last_us": at.LAST_US,
        "gap_us": at.LONGEST_GAP_US,
        "no_reading": at.NO_READING,
        "flags": [
            {"name": c_name(name), "word": name, "bit": 1 << bit, "meaning": MEANINGS[name]}
            for bit, name in enumerate(FLAG_NAMES)
        ],
        "reference_bar": repr(float(vehicle.engine.chamber_pressure_bar)),
        "burn_time_s": repr(float(vehicle.engine.burn_time_s)),
        "latest_s": repr(LATEST_S),
        "longest_gap_s": repr(LONGEST_GAP_S),
        "command_columns": ",".join(COLUMNS),
        "prelude": PRELUDE,
        "kernels": c_source(flight_core(), COMMANDS, "core_", hidden=True),
        "facts": facts_of(vehicle, words),
        "period_us": words[at.PERIOD_US],
        "timeout_us": words[at.TIMEOUT_US],
        "mnm_max": words[at.MNM_MAX],
        "roll_mnm_max": words[at.ROLL_MNM_MAX],
        "table_lines": table_lines(words),
        "cycles": len(recording.given),
        "compared": len(self_test.WORDS),
        **link_numbers(),
        "events": recording.events,
        "event_lines": rows(recording.events),
        "given_lines": rows(recording.given),
        "wanted_lines": rows(recording.wanted),
    }


def link_numbers() -> dict[str, Any]:
    """What the templates of the serial line name: the board's protocol file, read as it stands.

    It is run by itself, since nothing on the ground imports what belongs to the board.
    """
    p = runpy.run_path(str(files("firmware_port") / "protocol.py"))
    verdicts, counters = p["VERDICT_NAMES"], p["COUNTER_NAMES"]
    return {
        "p": p,
        "further": FURTHER,
        "kinds": [(name, p[name]) for name in KINDS],
        "states": [c_name(name) for name in p["STATE_NAMES"]],
        "verdicts": [c_name(name) for name in verdicts],
        "counters": [
            (c_name(name), place) for place, name in enumerate(counters) if place >= len(verdicts)
        ],
        "wire_most": p["BODY_MOST"] + 4,  # CRC, COBS, the zero
        "largest": LARGEST_ON_THE_LINE,
        "tables_header": HEADER_BYTES,
        "magic": ", ".join(f"0x{byte:02x}" for byte in MAGIC),
    }


def facts_of(vehicle: Vehicle, words: Sequence[int]) -> list[str]:
    """Lines that tell a reader of the tables what they hold a steering to."""
    travel = [
        f"{words[at.TRAVEL_LO + i] / 1000:g} to {words[at.TRAVEL_HI + i] / 1000:g}"
        for i in range(at.VANES)
    ]
    slew = [f"{words[at.SLEW_HIGH + i] + words[at.SLEW_LOW + i] / 1000:g}" for i in range(at.VANES)]
    return [
        f"Travel, deg: {'; '.join(travel)}",
        f"Slew, deg/s: {'; '.join(slew)}",
        f"Policy where a demand is out of reach: {('nearest', 'direction')[words[at.POLICY]]}",
        f"Reference chamber pressure: {vehicle.engine.chamber_pressure_bar:g} bar; no thrust below "
        f"{words[at.PA_MIN]} Pa",
    ]


def in_comment(text: str) -> str:
    """Text that can stand in a line of a C comment, whatever a user put into it."""
    text = " ".join(text.replace("\\", "/").replace("??", "? ?").split())
    return re.sub(r"(?<=\*)(?=/)|(?<=/)(?=\*)", " ", "".join(filter(str.isprintable, text)))


def c_name(name: str) -> str:
    return name.upper().replace("-", "_")


def literal(number: int) -> str:
    """A 32-bit number as C reads it."""
    return "INT32_MIN" if number == -(1 << 31) else str(number)


def row(row: Iterable[int]) -> str:
    return ", ".join(map(literal, row))


def rows(table: Iterable[Iterable[int]]) -> str:
    """Lines of an array of arrays."""
    return "\n".join(f"    {{{row(line)}}}," for line in table)


def table_lines(words: Sequence[int]) -> str:
    """Lines of the words: zeros of the state, the named words, then records and their cells."""
    names = {
        place: name
        for name, place in vars(at).items()
        if isinstance(place, int) and at.STATE_WORDS <= place < at.BODY and name != "STATE_WORDS"
    }
    starts = [0, *sorted(names), at.BODY]
    names |= {0: "the state", at.BODY: "records and cells"}
    lines = []
    for start, end in zip(starts, [*starts[1:], len(words)], strict=True):
        part = words[start:end]
        lines.append(f"    /* {start}: {names[start]} */")
        lines += [
            f"    {row(part[i : i + NUMBERS_A_LINE])}," for i in range(0, len(part), NUMBERS_A_LINE)
        ]
    return "\n".join(lines)
