"""The vanes' angles in flight: four encoders behind an I²C multiplexer, or four analogue inputs.

Each cycle reads as many vanes as the wiring says, in turn, before the steering's step. A sensor
that does not answer, has no magnet, or whose input lies at a rail is left out: it tells NO_ANGLE,
and is asked again only after REST rounds, so that a dead bus cannot hold up every cycle. What a
sensor says is judged by the flight core's jam watch, never here.

All encoders of the AS5600 class have one address (see `angle_encoder`), so that each sits on a
channel of its own of a multiplexer of the TCA9548A class: address 0x70 to 0x77, one byte written,
a bit for each open channel; as remembered, its data sheet not at hand. Never tried on a real one.
An OSError of the interpreter's takes a little heap: a failing sensor does, once in REST rounds.
"""

from array import array

from firmware_port import protocol as p
from firmware_port.angle_encoder import ADDRESS, MAGNET, STATUS
from mixer.flight import layout as at

TURN = 4096  # counts over a sensor's range
RAIL = 64  # counts from either end where an analogue input is open or shorted, by its pull
REST = 50  # rounds
NOTHING = -1
BUS_HZ = 400_000
BUS_TIMEOUT_US = 1000  # a read takes 0.2 ms; the interpreter's own limit is ten cycles


class MultiplexedEncoders:
    """One encoder on each of four channels. bus: a `machine.I2C`; channels: 0 … 7, a vane each."""

    turns = True  # past the end of its range it begins anew

    def __init__(self, bus, address, channels):
        self._bus = bus
        self._address = address
        self._open = [bytes((1 << channel,)) for channel in channels]
        self._read = bytearray(3)  # status, and the angle's two bytes: one read, one moment

    def counts(self, i):
        """Of vane i + 1, or NOTHING."""
        told = self._read
        try:
            self._bus.writeto(self._address, self._open[i])
            self._bus.readfrom_mem_into(ADDRESS, STATUS, told)
        except OSError:
            return NOTHING
        if not told[0] & MAGNET:
            return NOTHING
        return (told[1] & 0x0F) << 8 | told[2]


class AnalogueAngles:
    """One input a vane, with a resistor that pulls an open one to a rail. inputs: `machine.ADC`."""

    turns = False

    def __init__(self, inputs):
        self._inputs = inputs

    def counts(self, i):
        """Of vane i + 1, or NOTHING."""
        counts = self._inputs[i].read_u16() >> 4
        return counts if RAIL <= counts < TURN - RAIL else NOTHING


class VaneAngles:
    """`mdeg`, what each vane's sensor says in 0.001° or NO_ANGLE, and its way to the jam watch.

    at_neutral: four counts where the vanes stand edge-on; range_mdeg: four times what TURN counts
    are, negative where a positive deflection counts down; each_cycle: vanes read in a cycle, 1 … 4.
    At 200 Hz a jam on a reversal of the command is found after 0.12 s with 4, 0.15 s with 2 and
    0.21 s with 1 (tests/firmware_port/test_vane_angles.py, to 0.01 s): time between readings counts
    fourfold.
    """

    def __init__(self, sensors, at_neutral, range_mdeg, each_cycle=4):
        self._sensors = sensors
        self._at_neutral = array("i", at_neutral)
        self._slope = array("i", [mdeg * 64 // TURN for mdeg in range_mdeg])  # 1/64 of 0.001°
        self._each_cycle = each_cycle
        self._next = 0  # the vane that is read next, 0 to 3
        self._rest = array("i", [0, 0, 0, 0])  # rounds until a failed sensor is asked again
        self._fresh = array("i", [at.NO_READING] * 4)
        self.mdeg = array("i", [p.NO_ANGLE] * 4)

    def look(self, steering, checking):
        """Read this cycle's vanes and tell the steering, for its next step.

        While the control check turns the vanes, their commands stand still: nothing is told, and
        what the jam watch saw is forgotten.
        """
        fresh = self._fresh
        for i in range(4):
            fresh[i] = at.NO_READING
        for _ in range(self._each_cycle):
            i = self._next
            self._next = (i + 1) & 3
            if self._rest[i]:
                self._rest[i] -= 1
            elif self._take(i):
                fresh[i] = self.mdeg[i]
        if not checking:
            steering.sensed(fresh[0], fresh[1], fresh[2], fresh[3])
        elif steering.core[1][at.WATCH_STATE] == at.WATCH_ON:
            steering.watch(0)
            steering.watch(1)

    def _take(self, i):
        counts = self._sensors.counts(i)
        if counts == NOTHING:
            self.mdeg[i] = p.NO_ANGLE
            self._rest[i] = REST
            return False
        off = counts - self._at_neutral[i]
        if self._sensors.turns:
            off = ((off + TURN // 2) & (TURN - 1)) - TURN // 2
        self.mdeg[i] = (off * self._slope[i] + 32) >> 6
        return True


def open_angles(wiring):
    """The sensors that a wiring's VANE_ANGLES names, or None.

    VANE_ANGLES: None, or ("multiplexer", (bus, scl, sda, address), four channels, at neutral,
    range, each cycle) or ("adc", four pins, at neutral, range, each cycle); the last three as in
    VaneAngles; None for scl takes the board's own pins.
    """
    described = getattr(wiring, "VANE_ANGLES", None)
    if described is None:
        return None
    import machine

    if described[0] == "adc":
        _, pins, at_neutral, range_mdeg, each_cycle = described
        sensors = AnalogueAngles([machine.ADC(machine.Pin(pin)) for pin in pins])
    else:
        _, (number, scl, sda, address), channels, at_neutral, range_mdeg, each_cycle = described
        if scl is None:
            bus = machine.I2C(number, freq=BUS_HZ, timeout=BUS_TIMEOUT_US)
        else:
            pins = {"scl": machine.Pin(scl), "sda": machine.Pin(sda)}
            bus = machine.I2C(number, freq=BUS_HZ, timeout=BUS_TIMEOUT_US, **pins)
        sensors = MultiplexedEncoders(bus, address, channels)
    return VaneAngles(sensors, at_neutral, range_mdeg, each_cycle)
