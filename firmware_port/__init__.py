"""What a board adds to the flight core: the serial node, the servo pulses, the wiring as data."""

# The files that a board's compiler may turn into machine code: functions on words and bytes only.
KERNELS = ("frames", "registers")
# Those in the flight core's own language, callees first: what they do is done beside its cycle.
RECORD_KERNELS = ("record_log", "record_cycle")
