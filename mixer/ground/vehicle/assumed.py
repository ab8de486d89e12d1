"""What a vehicle file leaves out and is taken as its default says: every report lists it."""

from collections.abc import Iterator

import numpy as np

from mixer.ground.inputs.section import Section
from mixer.ground.vehicle.vehicle import Vehicle

# Left out, these are taken as nothing at all: a servo without delay and without play, a vane that
# does not burn.
NOTHING = {
    "servos.latency_ms": "servos.latency_ms 0",
    "servos.backlash_deg": "servos.backlash_deg 0",
    "erosion": "no [erosion]: vanes stay new",
}


def assumed_of(vehicle: Vehicle) -> list[str]:
    """Each value that is not in the file and counts all the same, with its key, in the file's
    order.
    """
    return list(_assumed(vehicle, "", vehicle))


def _assumed(table: Section, place: str, vehicle: Vehicle) -> Iterator[str]:
    for name, field in type(table).model_fields.items():
        key = f"{place}{field.alias or name}"
        value = getattr(table, name)
        if isinstance(value, Section):
            yield from _assumed(value, f"{key}.", vehicle)
        elif name in table.model_fields_set:
            continue
        elif value is None and vehicle.rocket and key in vehicle.rocket.by_size:
            yield f"{key} {vehicle.rocket.by_size[key]:.3g}"
        elif value is None:
            if key in NOTHING:
                yield NOTHING[key]
        elif isinstance(value, np.ndarray):
            yield f"{key} {', '.join(f'{each:g}' for each in value)}"
        elif isinstance(value, bool):
            yield f"{key} {str(value).lower()}"
        elif isinstance(value, float | int):
            yield f"{key} {value:g}"
        else:
            yield f"{key} {value}"
