"""Reading a vane's angle: a magnetic encoder on I²C, or a potentiometer on an analogue input.

A reader gives `read(vane)`, counts of 0 … 4095 over its range or -1 where nothing answers, and
`magnet(vane)`, whether what it reads can be believed. Vanes are numbered 1 to 4.

Register map of the AS5600 class of encoders, as remembered, its data sheet not at hand: address
0x36; STATUS 0x0B, its bit 5 a magnet found, bit 4 too weak, bit 3 too strong; RAW ANGLE 0x0C (upper
four bits) and 0x0D. Never tried on a real encoder.
"""

ADDRESS = 0x36
STATUS = 0x0B
RAW_ANGLE = 0x0C
MAGNET = 0x20
NOTHING = -1


class AngleEncoders:
    """One encoder a bus, since all have the same address; a vane without a bus reads nothing.

    buses: four `machine.I2C` or None, in the order of the vanes. One encoder moved from vane to
    vane is four times the same bus.
    """

    def __init__(self, buses):
        self._buses = buses
        self._angle = bytearray(2)
        self._status = bytearray(1)

    def read(self, vane):
        bus = self._buses[vane - 1]
        if bus is None:
            return NOTHING
        angle = self._angle
        try:
            bus.readfrom_mem_into(ADDRESS, RAW_ANGLE, angle)
        except OSError:
            return NOTHING
        return (angle[0] & 0x0F) << 8 | angle[1]

    def magnet(self, vane):
        bus = self._buses[vane - 1]
        if bus is None:
            return False
        try:
            bus.readfrom_mem_into(ADDRESS, STATUS, self._status)
        except OSError:
            return False
        return self._status[0] & MAGNET != 0


class AnglePotentiometers:
    """One potentiometer a vane: the upper twelve bits of its input.

    inputs: four `machine.ADC` or None, in the order of the vanes. An open wiper cannot be told
    from an angle; the bench sees it as one that does not follow.
    """

    def __init__(self, inputs):
        self._inputs = inputs

    def read(self, vane):
        pin = self._inputs[vane - 1]
        if pin is None:
            return NOTHING
        return pin.read_u16() >> 4

    def magnet(self, vane):
        return self._inputs[vane - 1] is not None


class Supply:
    """The servos' supply through a divider. most_mv: what the input's full scale stands for."""

    def __init__(self, pin, most_mv):
        self._pin = pin
        self._most_mv = most_mv

    def read_mv(self):
        return self._pin.read_u16() * self._most_mv // 65535


def open_supply(wiring):
    """What reads the servos' supply, or None."""
    described = getattr(wiring, "SUPPLY", None)
    if described is None:
        return None
    import machine

    pin, most_mv = described
    return Supply(machine.ADC(machine.Pin(pin)), most_mv)
