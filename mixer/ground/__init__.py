"""The ground side: vehicle files, fits, flight tables, batches, reports.

    from mixer.ground import load_vehicle, allocate_batch

Loaded when first asked for, so that a command which needs little starts quickly.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from mixer.ground.batch.allocate_batch import allocate_batch
    from mixer.ground.batch.compiled import compiled_steering
    from mixer.ground.tables.build import flight_tables
    from mixer.ground.vehicle.vehicle import Vehicle, VehicleError, load_vehicle

PLACES = {
    "Vehicle": "vehicle.vehicle",
    "VehicleError": "vehicle.vehicle",
    "load_vehicle": "vehicle.vehicle",
    "allocate_batch": "batch.allocate_batch",
    "compiled_steering": "batch.compiled",
    "flight_tables": "tables.build",
}

__all__ = [
    "Vehicle",
    "VehicleError",
    "allocate_batch",
    "compiled_steering",
    "flight_tables",
    "load_vehicle",
]


def __getattr__(name: str) -> object:
    if name not in PLACES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{PLACES[name]}"), name)
