"""What the steering believes about its vehicle when its tables are wrong."""

from collections.abc import Sequence

from hil.faults.faults import Fault
from mixer.ground.vehicle.vehicle import Vehicle


def believed(vehicle: Vehicle, faults: Sequence[Fault]) -> Vehicle:
    """The vehicle that the flight tables of a flight with these faults were built from."""
    for fault in faults:
        if fault.kind == "clocking-sign":
            layout = vehicle.layout
            turned = layout.model_copy(update={"clocking_deg": -layout.clocking_deg})
            vehicle = vehicle.model_copy(update={"layout": turned})
        if fault.kind == "wear-table" and vehicle.erosion is not None:
            erosion = vehicle.erosion
            effectiveness = [1.0 - fault.value * (1.0 - row) for row in erosion.effectiveness]
            worn = erosion.model_copy(update={"effectiveness": effectiveness})
            vehicle = vehicle.model_copy(update={"erosion": worn})
    return vehicle


def beliefs(faults: Sequence[Fault]) -> tuple[Fault, ...]:
    """The faults that sit in the tables; flights with the same ones share their tables."""
    return tuple(fault for fault in faults if fault.kind in ("clocking-sign", "wear-table"))
