"""`fourvane export`: the flight core and a vehicle's tables as a C library."""

import hashlib
import json
from pathlib import Path
from typing import Any

import click

from mixer.flight.tables import VERSION
from mixer.ground.c_library.folder import write_folder
from mixer.ground.c_library.render import library
from mixer.ground.command_line.fourvane import emit, result_option
from mixer.ground.command_line.next_step import next_step
from mixer.ground.command_line.path_options import SOURCE
from mixer.ground.evidence.evidence import KEY, RECORD, evidence_of, sums_of
from mixer.ground.inputs.csv_files import InputError
from mixer.ground.reports.console import output
from mixer.ground.tables.build import flight_tables
from mixer.ground.tables_in_words.text import checksum
from mixer.ground.vehicle.vehicle import load_vehicle


@click.command()
@click.argument("vehicle_file", metavar="VEHICLE", type=SOURCE)
@click.option(
    "--out",
    required=True,
    metavar="FOLDER",
    type=click.Path(file_okay=False, path_type=Path),
    help="Where the library goes: a new folder, or one that an earlier export made.",
)
@result_option
def export(vehicle_file: Path, out: Path, as_json: bool) -> None:
    """Write the flight core in C99, with the vehicle's tables, for a flight computer of your own.

    The folder holds the steering, a self-test for the target, the flight computer's end of the
    serial line to a board, and a program that does in C what `fourvane allocate` does. No heap, no
    floating point, no global state; the same integers as in Python, bit for bit.

    CAUTION: tables are right for one vehicle alone. Run the self-test on your own chip first.

    Example: fourvane export vehicle.toml --out fourvane-c
    """
    vehicle = load_vehicle(vehicle_file)
    if vehicle_file.resolve().is_relative_to(out.resolve()):
        raise InputError(f"{out}: holds the vehicle file itself; name a folder of its own")
    built = flight_tables(vehicle)
    texts = library(vehicle, built)
    sums = {place: hashlib.sha256(text.encode()).hexdigest() for place, text in texts.items()}
    evidence = evidence_of("export", vehicle, sums=sums, tables=sums_of(built))
    record = json.dumps({KEY: evidence.plain}, indent=2, ensure_ascii=False)
    texts = {**texts, RECORD: f"{record}\n"}
    write_folder(out, texts)
    result: dict[str, Any] = {
        "vehicle": vehicle.vehicle.name,
        "out": out,
        "format_version": VERSION,
        "crc32": f"{checksum(built):08x}",
        "words": len(built.words),
        "files": sorted(texts),
    }

    def show() -> None:
        output.print(
            f"{vehicle.vehicle.name}: tables {result['crc32']}, {4 * len(built.words)} bytes",
            soft_wrap=True,
        )
        for place in result["files"]:
            output.print(f"  {out / place}", soft_wrap=True)
        output.print(f"Begin with {out / 'README.md'}", soft_wrap=True)

    emit(result, as_json, show, next_step(vehicle, vehicle_file, "export"), evidence.plain)
