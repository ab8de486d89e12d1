"""Vehicles for tests: a sane one, changed where a test says so."""

import copy
import json
from functools import cache
from pathlib import Path
from typing import Any

import tomlkit

from mixer.ground.vehicle.vehicle import Vehicle, parse_vehicle
from tests.support.drawn_vane import DRAWING, NOZZLE

SANE: dict[str, dict[str, Any]] = {
    "vehicle": {"name": "Invented test vehicle"},
    "engine": {
        "chamber_pressure_bar": 20.0,
        "thrust_n": 5000.0,
        "burn_time_s": 26.0,
        "believed_pressure": [0.0, 3.0],  # whatever is read
    },
    "layout": {
        "clocking_deg": [45.0, 135.0, 225.0, 315.0],
        "roll_arm_m": 0.045,
        "lever_arm_m": {"time_s": [0.0, 26.0], "m": [2.3, 2.7]},
    },
    "vanes": {
        "travel_deg": [-15.0, 15.0],
        "deflection_deg": [-15.0, 0.0, 15.0],
        "force_n": [-200.0, 0.0, 200.0],
        "drag_n": [140.0, 120.0, 140.0],
    },
    "erosion": {"load_s": [0.0, 13.0, 26.0], "effectiveness": [1.0, 0.98, 0.93]},
    "servos": {"slew_deg_s": 250.0, "neutral_us": 1500.0, "us_per_deg": 10.0},
    "control": {"rate_hz": 200, "policy": "nearest", "demand_timeout_ms": 100},
}


def vehicle_data(**changes: Any) -> dict[str, Any]:
    """What a vehicle file holds: the sane one, with whole tables or some of their keys changed.

    `engine={"thrust_n": 900.0}` changes one key, `erosion=None` leaves the table out, and a key
    set to None is left out of its table.
    """
    data: dict[str, Any] = copy.deepcopy(SANE)
    for table, change in changes.items():
        if isinstance(change, dict):
            keys = {**data.get(table, {}), **change}
            data[table] = {key: value for key, value in keys.items() if value is not None}
        elif change is None:
            del data[table]
        else:
            data[table] = change
    return data


def vehicle_text(**changes: Any) -> str:
    """The text of a vehicle file, changed as in `vehicle_data`."""
    return toml_of(vehicle_data(**changes))


def toml_of(data: dict[str, Any]) -> str:
    """Data as TOML; most tests ask for the same few files."""
    return _toml_of(json.dumps(data))


@cache
def _toml_of(data: str) -> str:
    return tomlkit.dumps(json.loads(data))


def vehicle(**changes: Any) -> Vehicle:
    """A vehicle, changed as in `vehicle_data`."""
    return parse_vehicle(vehicle_text(**changes))


def drawn(geometry: dict[str, Any] | None = None, **changes: Any) -> dict[str, Any]:
    """Changes for `vehicle_data` and its kin that put a drawing where the measured lists were.

    `geometry` changes keys of the drawing, None leaves one out; `changes` are as everywhere.
    """
    drawing = {**DRAWING, **(geometry or {})}
    kept = {key: value for key, value in drawing.items() if value is not None}
    measured = dict.fromkeys(("deflection_deg", "force_n", "drag_n"))
    return {
        **changes,
        "engine": {**NOZZLE, **changes.get("engine", {})},
        "vanes": {**measured, "geometry": kept, **changes.get("vanes", {})},
    }


def drawn_vehicle(geometry: dict[str, Any] | None = None, **changes: Any) -> Vehicle:
    """A vehicle with drawn vanes, changed as in `drawn`."""
    return vehicle(**drawn(geometry, **changes))


def vehicle_file(folder: Path, **changes: Any) -> Path:
    """A vehicle file in `folder`, changed as in `vehicle_data`."""
    path = folder / "vehicle.toml"
    path.write_text(vehicle_text(**changes), encoding="utf-8")
    return path
