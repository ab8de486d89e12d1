"""The ground side: vehicle files, fits, flight tables, batches, reports.

    from mixer.ground import load_vehicle, allocate_batch

Loaded when first asked for, so that a command which needs little starts quickly.
"""

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from mixer.ground.batch import allocate_batch
    from mixer.ground.compiled import compiled_steering
    from mixer.ground.vehicle import Vehicle, VehicleError, load_vehicle

PLACES = {
    "Vehicle": "vehicle",
    "VehicleError": "vehicle",
    "load_vehicle": "vehicle",
    "allocate_batch": "batch",
    "compiled_steering": "compiled",
}

__all__ = ["Vehicle", "VehicleError", "allocate_batch", "compiled_steering", "load_vehicle"]


def __getattr__(name: str) -> object:
    if name not in PLACES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{PLACES[name]}"), name)
