"""MicroPython's unix port on a terminal: no servo outputs."""

NAME = "unix"
VANE_PINS = None
SERVO_FRAME_HZ = 50
LINK = ("console",)
TIMER = None
WATCHDOG_MS = None
TABLES = "tables.bin"
ANGLE_READERS = None
SUPPLY = None
VANE_ANGLES = None
STAND = None
