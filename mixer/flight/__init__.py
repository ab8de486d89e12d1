"""The flight core: the same files on a laptop and on a microcontroller, integers only."""

from mixer.flight.layout import FLAG_NAMES
from mixer.flight.steering import Steering
from mixer.flight.tables import FlightTables, TablesError

# The files in the kernel language, callees first: functions on words, nothing else.
KERNELS = (
    "clamp",
    "checked",
    "unfit",
    "interpolate",
    "pressure",
    "burn",
    "wanted",
    "boxes",
    "zonotope",
    "direction",
    "roll_and_effort",
    "allocate",
    "deflect",
    "limits",
    "angle_sensors",
    "jam_watch",
    "cycle",
    "commands",
)

__all__ = ("FLAG_NAMES", "KERNELS", "FlightTables", "Steering", "TablesError")
