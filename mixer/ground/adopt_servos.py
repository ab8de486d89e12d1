"""What the bench measured, put into the vehicle file: the user's comments and order stay."""

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.items import Table

from mixer.ground.corrected_vehicle import write_tables
from mixer.ground.edge_on import covered_travel, moved_tables
from mixer.ground.files import InputError, write_whole
from mixer.ground.quantities import VANES, Array
from mixer.ground.servo_table import read_servo_table
from mixer.ground.vehicle import Vehicle, parse_vehicle
from mixer.ground.vehicle_errors import VehicleError


class AdoptError(InputError):
    """Measurements that cannot be put into the vehicle file as they are."""


@dataclass(frozen=True)
class Measured:
    """One servo on the bench; None keeps what the vehicle file says."""

    table: Path | None = None
    slew_deg_s: float | None = None
    latency_ms: float | None = None
    backlash_deg: float | None = None


def adopt(
    vehicle: Vehicle,
    out: Path,
    measured: Mapping[int, Measured],
    slew_share: float = 0.9,
    keep_jig: bool = False,
) -> list[str]:
    """Write the vehicle file `out` with the measurements of some servos in its [servos].

    slew_share: of the slew measured without load, what is counted on in flight. keep_jig: edge-on
    is where the bench had it, whatever a static test found (see `edge_on`). Returns what
    changed, a sentence each. AdoptError where tables of some servos are missing; VehicleError
    where the result would be no vehicle file; then nothing is written.
    """
    document = tomlkit.parse(vehicle.text)
    servos = document["servos"]
    assert isinstance(servos, Table)
    changes: list[str] = []
    values = new_values(vehicle, measured, slew_share)
    tables = [measured[i].table if i in measured else None for i in range(1, VANES + 1)]
    moved: dict[str, Array] = {}
    if any(tables):
        values["table"] = table_names(out, tables)
        edge_on_deg = vehicle.servo_table.edge_on_deg
        if edge_on_deg is not None and keep_jig:
            del servos["edge_on_deg"]
            changes.append(
                "edge_on_deg is dropped: neutral is the jig's again, not what the static test found"
            )
        elif edge_on_deg is not None:
            moved = moved_by_test(tables, edge_on_deg, out)
            values["table"] = list(moved)
            off = ", ".join(f"{deg:+.2f}" for deg in edge_on_deg)
            changes.append(
                "the static test wins over the jig: the bench's tables are moved by what it found, "
                f"{off} deg (vanes 1 to 4); --keep-jig takes them as they are"
            )
            travel_deg = covered_travel(vehicle.vanes.travel_deg, list(moved.values()))
            if (travel_deg != vehicle.vanes.travel_deg).any():
                document["vanes"]["travel_deg"] = travel_deg.tolist()  # type: ignore[index]
                changes.append("travel ends where the moved tables end")
        for key in ("neutral_us", "us_per_deg"):
            if key in servos:
                del servos[key]
                changes.append(f"{key} gives way to the measured tables")
    for key, value in values.items():
        before = servos.get(key)
        plain_before = before.unwrap() if before is not None else None
        if plain_before != value:
            servos[key] = value
            changes.append(f"{key} = {value}, was {plain_before or 'not given'}")
    text = tomlkit.dumps(document)
    write_tables(moved, out.parent)
    try:
        parse_vehicle(text, str(out))
    except VehicleError:
        for name in moved:
            (out.parent / name).unlink(missing_ok=True)
        raise
    with write_whole(out) as stream:
        stream.write(text)
    return changes


def moved_by_test(tables: list[Path | None], edge_on_deg: Array, out: Path) -> dict[str, Array]:
    """The bench's four tables with 0 where the static test found edge-on, by their new names."""
    read = [read_servo_table(table) for table in tables if table is not None]
    names = [f"{out.stem}-servo{vane}.csv" for vane in range(1, VANES + 1)]
    return dict(zip(names, moved_tables(read, edge_on_deg), strict=True))


def new_values(
    vehicle: Vehicle, measured: Mapping[int, Measured], slew_share: float
) -> dict[str, Any]:
    """The keys that change, four values each; of servos not measured the old one stays."""
    values: dict[str, Any] = {}
    slews = [round(float(servo.slew_deg_s), 1) for servo in vehicle.servos]
    known = {i: m.slew_deg_s for i, m in measured.items() if m.slew_deg_s is not None}
    for i, slew_deg_s in known.items():
        slews[i - 1] = float(int(slew_share * slew_deg_s))
    if known:
        values["slew_deg_s"] = slews
    for key in ("latency_ms", "backlash_deg"):
        found = {i: getattr(m, key) for i, m in measured.items()}
        found = {i: value for i, value in found.items() if value is not None}
        old = getattr(vehicle.servo_table, key)
        if found and (len(found) == VANES or old is not None):
            row = [0.0] * VANES if old is None else [float(value) for value in old]
            for i, value in found.items():
                row[i - 1] = round(value, 3)
            values[key] = row
    return values


def table_names(out: Path, tables: list[Path | None]) -> list[str]:
    """The four tables as the vehicle file names them: from its own folder."""
    missing = [str(i) for i, table in enumerate(tables, 1) if table is None]
    if missing:
        raise AdoptError(
            f"no servo table of servo {', '.join(missing)}; a vehicle file takes four tables or "
            "none: measure the rest, or adopt with --without-tables"
        )
    folder = os.path.abspath(out.parent)
    return [
        Path(os.path.relpath(os.path.abspath(table), folder)).as_posix()
        for table in tables
        if table is not None
    ]
