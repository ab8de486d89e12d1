"""Starting the bench's node on a board, over the line that carries the prompt.

CAUTION: `bench` drives real servos. Hands out of the linkage, battery fused, no pyrotechnics.

Wiring, beside what every board has: ANGLE_READERS, None or ("i2c", four of (bus, scl, sda) or None;
None for the pins takes the board's own) or ("adc", four pins or None); SUPPLY, None or (pin, mV at
full scale).
"""

from firmware_port.bench.motion import Bench
from firmware_port.hardware import open_clock, open_console
from firmware_port.node import Node
from firmware_port.outputs import RecordedPulses, open_pulses
from firmware_port.paced import Paced, PacedClock
from firmware_port.serving import serve
from firmware_port.table_store import TableStore


def bench(wiring):
    """Real time and real pulses; tables stay in memory, those that fly are not touched."""
    from firmware_port.angle_encoder import open_supply  # a rehearsal does without their memory

    def make():
        clock, meter, _ = open_clock(wiring)
        pulses = open_pulses(wiring)
        node = Node(open_console(wiring), pulses, clock, meter, TableStore(None), None)
        Bench(node, open_reader(wiring), open_supply(wiring))
        return node

    serve(make, Node.run)


def rehearse_bench(wiring):
    """Time comes over the link and pulses are only recorded: no servo moves."""

    def make():
        _, meter, _ = open_clock(wiring)
        line = open_console(wiring)
        node = Node(line, RecordedPulses(), PacedClock(), meter, TableStore(None), None)
        Paced(node)
        Bench(node)
        return node

    serve(make, Node.run)


def open_reader(wiring):
    """What reads the vanes' angles, or None."""
    described = getattr(wiring, "ANGLE_READERS", None)
    if described is None:
        return None
    import machine

    from firmware_port.angle_encoder import AngleEncoders, AnglePotentiometers

    kind, places = described
    if kind == "adc":
        pins = [None if place is None else machine.ADC(machine.Pin(place)) for place in places]
        return AnglePotentiometers(pins)
    buses = {}
    for place in places:
        if place is not None and place not in buses:
            number, scl, sda = place
            if scl is None:
                buses[place] = machine.I2C(number)
            else:
                buses[place] = machine.I2C(number, scl=machine.Pin(scl), sda=machine.Pin(sda))
    return AngleEncoders([buses.get(place) for place in places])
