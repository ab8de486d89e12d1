"""The flight core: the same files on a laptop and on a microcontroller, integers only."""

from mixer.flight.layout import FLAG_NAMES
from mixer.flight.steering import Steering
from mixer.flight.tables import FlightTables, TablesError

# The files that a board's compiler may turn into machine code: functions on words, nothing else.
KERNELS = ("schedule", "box", "nearest", "along", "secondary", "deflect")

__all__ = ("FLAG_NAMES", "KERNELS", "FlightTables", "Steering", "TablesError")
