"""Raspberry Pi Pico and Pico 2 (RP2040, RP2350): each vane on a PWM slice of its own."""

NAME = "rp2"
VANE_PINS = (2, 4, 6, 8)  # GPIO numbers: slices 1, 2, 3 and 4
SERVO_FRAME_HZ = 50
LINK = ("uart", 0, 0, 1, 921600)  # UART 0: transmit GPIO 0, receive GPIO 1
TIMER = None
WATCHDOG_MS = 100
TABLES = "tables.bin"
ANGLE_READERS = ("i2c", ((0, 21, 20),) * 4)  # the bench's one encoder, moved from vane to vane
SUPPLY = None  # or (26, 13_200): a 1 to 4 divider on GPIO 26, 3.3 V there are 13.2 V
VANE_ANGLES = None  # in flight, a sensor on every vane: see `vane_angles.open_angles`
STAND = (10, None)  # sync on GPIO 10; (10, 11) would start a play when GPIO 11 goes high
