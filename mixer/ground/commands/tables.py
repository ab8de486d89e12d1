"""`fourvane tables`: the flight tables of a vehicle, for a board, and told in words."""

from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from mixer.flight.tables import VERSION
from mixer.ground.command_line.fourvane import emit, result_option
from mixer.ground.command_line.next_step import next_step
from mixer.ground.command_line.path_options import RESULT, SOURCE
from mixer.ground.evidence.evidence import evidence_of, sums_of
from mixer.ground.inputs.csv_files import write_whole
from mixer.ground.tables.build import flight_tables
from mixer.ground.tables.scales import COUNTS, largest_force_n
from mixer.ground.tables_in_words.groups import dump
from mixer.ground.tables_in_words.text import checksum, told
from mixer.ground.vehicle.vehicle import load_vehicle


@click.command()
@click.argument("vehicle_file", metavar="VEHICLE", type=SOURCE)
@click.option(
    "--out",
    required=True,
    metavar="FILE",
    type=RESULT,
    help="Where the tables go, in the bytes that a board loads.",
)
@result_option
def tables(vehicle_file: Path, out: Path, as_json: bool) -> None:
    """Build the flight tables that the flight code works from, and tell every number in them.

    Everything is rounded to integers here, once; building refuses, in words, a vehicle whose
    numbers could overflow in flight.

    Example: fourvane tables vehicle.toml --out vehicle.4vt
    """
    vehicle = load_vehicle(vehicle_file)
    built = flight_tables(vehicle)
    blob = built.to_bytes()
    with write_whole(out, "wb") as stream:
        stream.write(blob)
    evidence = evidence_of("tables", vehicle, tables=sums_of(built))
    count_n = largest_force_n(vehicle) / COUNTS
    result: dict[str, Any] = {
        "vehicle": vehicle.vehicle.name,
        "out": out,
        "bytes": len(blob),
        "format_version": VERSION,
        "crc32": f"{checksum(built):08x}",
        "identify_crc32": evidence.tables.bytes_crc32,
        "force_of_a_count_n": count_n,
        "groups": [asdict(group) for group in dump(built)],
    }

    def show() -> None:
        click.echo(f"{vehicle.vehicle.name}: a count of force is {count_n:.6g} N")
        click.echo(told(built))
        click.echo(f"\nWritten to {out}")
        click.echo(f"A node that keeps them answers {evidence.tables.bytes_crc32} to IDENTIFY")

    emit(result, as_json, show, next_step(vehicle, vehicle_file, "tables"), evidence.plain)
