"""What the steering of a flight was told and commanded, written down and told to another node."""

from copy import deepcopy

import numpy as np

from hil.flights.fly import fly, laptop
from hil.steering.board_block import BoardBlock
from mixer.flight.layout import JAMMED_VANE
from mixer.ground.tables.build import flight_tables


class Dictation:
    """The flight core here, and a record of what it was told and what it commanded."""

    def __init__(self, block):
        self._block = block
        self.commands, self.most_mnm = block.commands, block.most_mnm
        self.ratio_q14 = block.ratio_q14
        self.record = []

    def __getattr__(self, name):
        def told(*inputs):
            getattr(self._block, name)(*inputs)
            self.record.append((name, deepcopy(inputs), outputs(self.commands)))

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
    """Tell a node the same; every command has to be the same, but for the pulse of a vane that was
    just found to be jammed, which a node leads there. How many cycles that were.
    """
    block = BoardBlock(node, flight_tables(vehicle))
    before = outputs(block.commands)["pulse_ns"]
    led = 0
    for name, inputs, expected in record:
        getattr(block, name)(*inputs)
        given = outputs(block.commands)
        apart = given["pulse_ns"] != expected["pulse_ns"]
        if expected["flags"][0] & JAMMED_VANE and np.count_nonzero(apart) == 1:
            led += 1
            left_ns, were_ns = (
                np.abs(pulse_ns - expected["pulse_ns"])[apart]
                for pulse_ns in (given["pulse_ns"], before)
            )
            assert left_ns < were_ns, (inputs, left_ns, were_ns)
            given["pulse_ns"][apart] = expected["pulse_ns"][apart]
        for what, values in given.items():
            assert np.array_equal(values, expected[what]), (name, inputs, what)
        before = outputs(block.commands)["pulse_ns"]
    assert led < 40, "led for longer than from one end of the travel to the other"
    return sum(name == "cycle" for name, _, _ in record)
