"""What the bench measured, put into the vehicle file: the user's comments and order stay."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from mixer.ground.inputs.arrays import VANES
from mixer.ground.inputs.errors import InputError
from mixer.ground.vehicle.curves import ServoTable
from mixer.ground.vehicle.servo_table import read_servo_table, table_values
from mixer.ground.vehicle.vehicle import Vehicle
from mixer.ground.vehicle_edits.edge_on import covered_travel, moved_tables
from mixer.ground.vehicle_edits.text import VehicleText


class AdoptError(InputError):
    """Measurements that cannot be put into the vehicle file as they are."""


@dataclass(frozen=True)
class MeasuredServo:
    """One servo on the bench; None keeps what the vehicle file says."""

    table: Path | None = None
    slew_deg_s: float | None = None
    latency_ms: float | None = None
    backlash_deg: float | None = None


def adopt(
    vehicle: Vehicle,
    out: Path,
    measured: Mapping[int, MeasuredServo],
    slew_share: float = 0.9,
    keep_jig: bool = False,
) -> list[str]:
    """Write the vehicle file `out` with the measurements of some servos in its [servos].

    slew_share: of the slew measured without load, what is counted on in flight. keep_jig: edge-on
    is where the bench had it, whatever a static test found (see `edge_on`). Returns what
    changed, a sentence each. AdoptError where tables of some servos are missing; VehicleError
    where the result would be no vehicle file, InputError where its text cannot be changed; then
    nothing is written.
    """
    file = VehicleText(vehicle)
    changes: list[str] = []
    values = new_values(vehicle, measured, slew_share)
    tables = [measured[i].table if i in measured else None for i in range(1, VANES + 1)]
    if any(tables):
        read = tables_of(tables)
        edge_on_deg = vehicle.servo_table.edge_on_deg
        if edge_on_deg is not None and keep_jig:
            file.drop("servos", "edge_on_deg")
            changes.append(
                "edge_on_deg is dropped: neutral is the jig's again, not what the static test found"
            )
        elif edge_on_deg is not None:
            read = moved_tables(read, edge_on_deg)
            off = ", ".join(f"{deg:+.2f}" for deg in edge_on_deg)
            changes.append(
                "the static test wins over the jig: the bench's tables are moved by what it found, "
                f"{off} deg (vanes 1 to 4); --keep-jig takes them as they are"
            )
            travel_deg = covered_travel(vehicle.vanes.travel_deg, read)
            if (travel_deg != vehicle.vanes.travel_deg).any():
                file.put("vanes", "travel_deg", travel_deg.tolist())
                changes.append("travel ends where the moved tables end")
        values["table"] = [table_values(table) for table in read]
        for key in ("neutral_us", "us_per_deg"):
            if file.get("servos", key) is not None:
                file.drop("servos", key)
                changes.append(f"{key} gives way to the measured tables")
    for key, value in values.items():
        before = file.get("servos", key)
        if before != value:
            file.put("servos", key, value)
            told = f"{value}, was {before or 'not given'}"
            if key == "table":
                told = "the four tables as measured, from now on in the vehicle file itself"
            changes.append(f"{key} = {told}")
    file.write(out)
    return changes


def new_values(
    vehicle: Vehicle, measured: Mapping[int, MeasuredServo], slew_share: float
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


def tables_of(tables: list[Path | None]) -> list[ServoTable]:
    """The four tables, to stand in the vehicle file, which then hangs on no other file.

    A later run in the bench's folder writes its tables anew; what flies must not change by that.
    """
    missing = [str(i) for i, table in enumerate(tables, 1) if table is None]
    if missing:
        raise AdoptError(
            f"no servo table of servo {', '.join(missing)}; a vehicle file takes four tables or "
            "none: measure the rest, or adopt with --without-tables"
        )
    return [read_servo_table(table) for table in tables if table is not None]
