"""A generic STM32 whose firmware has machine.PWM: the four channels of timer 2, and UART 1."""

NAME = "stm32"
VANE_PINS = ("A0", "A1", "A2", "A3")
SERVO_FRAME_HZ = 50
LINK = ("uart", 1, None, None, 921600)  # UART 1 on the board's own pins
TIMER = None
WATCHDOG_MS = 100
TABLES = "tables.bin"
ANGLE_READERS = ("i2c", ((1, None, None),) * 4)  # the bench's one encoder on I2C 1's own pins
SUPPLY = None  # or ("A4", 13_200): a 1 to 4 divider, 3.3 V at the pin are 13.2 V
VANE_ANGLES = None  # in flight, a sensor on every vane: see `vane_angles.open_angles`
STAND = ("A5", None)  # sync on A5
