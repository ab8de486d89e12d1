"""What the steering of a flight was told and commanded, written down and told to another node."""

from dataclasses import dataclass

import numpy as np

from hil.flights.fly import fly, laptop
from hil.steering.board_block import BoardBlock
from mixer.ground.tables.build import flight_tables
from tests.support.led_pulses import LedPulses


@dataclass
class Commanded:
    """What one cycle of the flight core commanded."""

    pulse_ns: list[int]
    deflection_mdeg: list[int]
    jammed: int  # vanes, bit 0 for vane 1


class Dictation:
    """The flight core here, and a record of what it was told and what it commanded."""

    def __init__(self, block):
        self._block = block
        self.commands, self.most_mnm = block.commands, block.most_mnm
        self.record = []

    def __getattr__(self, name):
        def told(*inputs):
            getattr(self._block, name)(*inputs)
            given = tuple(each.copy() if isinstance(each, np.ndarray) else each for each in inputs)
            self.record.append((name, given, outputs(self.commands)))

        return told


def outputs(commands):
    return {name: values.copy() for name, values in vars(commands).items()}


def dictated(vehicle, flight):
    """What the steering of a flight was told, and commanded."""
    blocks = []

    def make(believing, flights):
        blocks.append(Dictation(laptop(believing, flights)))
        return blocks[0]

    fly(vehicle, [flight], make)
    return blocks[0].record


def repeat(vehicle, record, node):
    """Tell a node the same; every command has to be the same. How many cycles that were.

    The pulse of a vane that is declared jammed is led to its place by the node, not by the flight
    core, so it is held against an account of its own.
    """
    tables = flight_tables(vehicle)
    block = BoardBlock(node, tables)
    led, jammed = LedPulses(tables), 0
    for name, inputs, expected in record:
        getattr(block, name)(*inputs)
        deflection_mdeg = expected["deflection_mdeg"][:, 0].tolist()
        if name in ("jam", "free"):
            bit = 1 << inputs[1] - 1
            led.told(inputs[1], deflection_mdeg[inputs[1] - 1])
            jammed = jammed | bit if name == "jam" else jammed & ~bit
        elif name == "reset":
            led, jammed = LedPulses(tables), 0
        elif name == "cycle" and inputs[3][0]:
            pulse_ns = expected["pulse_ns"][:, 0].tolist()
            led.cycle(Commanded(pulse_ns, deflection_mdeg, jammed), int(inputs[3][0]), True)
        expected["pulse_ns"][:, 0] = led.pulse_ns
        for what, values in outputs(block.commands).items():
            assert np.array_equal(values, expected[what]), (name, inputs, what)
    return sum(name == "cycle" for name, _, _ in record)
