"""What the steering believes about its vehicle when its tables are wrong."""

from collections.abc import Sequence

from hil.faults.faults import Fault
from mixer.ground.vehicle.vehicle import Vehicle


def believed(vehicle: Vehicle, faults: Sequence[Fault]) -> Vehicle:
    """The vehicle that the flight tables of a flight with these faults were built from."""
    for fault in faults:
        if fault.row.believes is not None:
            vehicle = fault.row.believes(vehicle, fault.value)
    return vehicle


def in_tables(faults: Sequence[Fault]) -> tuple[Fault, ...]:
    """The faults that sit in the tables; flights with the same ones share their tables."""
    return tuple(fault for fault in faults if fault.row.believes is not None)
