"""The emulated Cortex-M3 (Arm MPS2 AN385): no servo outputs, no storage, no clock but a timer."""

NAME = "emulated"
VANE_PINS = None
SERVO_FRAME_HZ = 50
LINK = ("registers", 0x40004000)
TIMER = (0x40000000, 25, 40, 1024)  # address; ticks a µs; ns a tick, an instruction (shift=10)
WATCHDOG_MS = None
TABLES = None
ANGLE_READERS = None
SUPPLY = None
VANE_ANGLES = None
STAND = None
