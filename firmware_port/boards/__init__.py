"""Wiring as data, one file a board.

NAME: what it answers to IDENTIFY, at most 24 letters. VANE_PINS: servo signal of vanes 1 to 4, or
None where pulses are only recorded. SERVO_FRAME_HZ: pulses a second. LINK: the line to the flight
computer. TIMER: where a counter stands for boards without `time`. WATCHDOG_MS: None for none.
TABLES: the file that keeps the flight tables over a reset, or None. ANGLE_READERS, SUPPLY: for the
servo bench, see `bench/start.py`; may be left out. STAND: for a test stand, None or (pin of the
sync output, pin that starts a play when it goes high); either may be None.
"""
