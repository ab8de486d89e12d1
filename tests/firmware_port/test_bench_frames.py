"""The node's bench requests: bounded, slew-limited, in the safe state only, neutral when silent."""

import functools
import importlib
import random
import sys
import types
from itertools import pairwise

import pytest

from firmware_port import protocol as p
from firmware_port.angle_encoder import AngleEncoders, AnglePotentiometers, Supply, open_supply
from firmware_port.bench import protocol as b
from firmware_port.bench.motion import Bench, pulse_of
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink, numbers, parse_answer, read_numbers, wire_frame
from mixer.flight import Steering
from mixer.ground.tables.build import flight_tables
from tests.support.strict_machine import strict_machine
from tests.support.vehicles import vehicle

NEUTRAL_NS = [1_500_000] * 4


@functools.cache
def tables_blob():
    return flight_tables(vehicle()).to_bytes()


class Counting:
    """A reader that gives its own calls, and a supply that falls."""

    def __init__(self):
        self.calls = 0

    def read(self, vane):
        self.calls += 1
        return 100 * vane + self.calls

    def magnet(self, vane):
        return True

    def read_mv(self):
        return 7400 - self.calls


class Setup:
    """A node in this process with a bench and tables, and what one sends to it."""

    def __init__(self, reader=None, supply=None, tables=True):
        self.loop = Loopback()
        self.bench = Bench(self.loop.node, reader, supply)
        self.link = NodeLink(self.loop)
        if tables:
            self.link.load_tables(tables_blob())

    def request(self, kind, *values):
        return self.link.request(kind, numbers(values))

    def move(self, servo, pulse_ns, hold_ms=2000):
        return self.request(b.MOVE, servo, pulse_ns, hold_ms)

    def let_pass(self, us):
        self.link.request(p.PASS, numbers((us,)))

    @property
    def pulse_ns(self):
        return list(self.loop.outputs.pulse_ns)


def test_a_moved_pulse_goes_there_at_the_bench_s_slew_and_no_faster():
    setup = Setup()
    assert setup.move(2, 1_680_000).taken
    seen = []
    for _ in range(8):
        setup.let_pass(5000)
        seen.append(setup.pulse_ns[1])
    steps = [after - before for before, after in pairwise([1_500_000, *seen])]
    assert max(steps) == b.SLEW_NS_PER_US * 5000
    assert seen[-1] == 1_680_000
    assert [setup.pulse_ns[i] for i in (0, 2, 3)] == [1_500_000] * 3


def test_a_deflection_goes_through_the_servo_table_of_the_board():
    setup = Setup()
    answer = setup.request(b.TURN, 3, -7500, 2000)
    assert read_numbers(answer.contents) == (1_500_000, 1_425_000)
    for _ in range(20):
        setup.let_pass(5000)
    assert setup.pulse_ns[2] == 1_425_000


def test_the_bench_reads_the_servo_table_as_the_flight_core_does():
    """All four tables, over the whole travel, against the pulses of a Steering."""
    tables = flight_tables(vehicle(servos={"us_per_deg": [10.0, -9.7, 8.33, 11.1]}))
    steering = Steering(tables)
    for deflection_mdeg in range(-15_000, 15_001, 250):
        for vane in range(1, 5):
            steering.jam(vane, deflection_mdeg)
        steering.step(2_000_000, 5000)
        read = [pulse_of(tables.words, i, deflection_mdeg) for i in range(4)]
        assert read == list(steering.pulse_ns)


@pytest.mark.parametrize(
    ("kind", "values"),
    [
        (b.MOVE, (0, 1_500_000, 2000)),
        (b.MOVE, (5, 1_500_000, 2000)),
        (b.MOVE, (1, b.SHORTEST_NS - 1, 2000)),
        (b.MOVE, (1, b.LONGEST_NS + 1, 2000)),
        (b.MOVE, (1, 1_500_000, 0)),
        (b.MOVE, (1, 1_500_000, b.MOST_HOLD_MS + 1)),
        (b.TURN, (1, 15_001, 2000)),
        (b.TURN, (0, 0, 2000)),
        (b.LOOK, (1, 0)),
        (b.LOOK, (1, b.MOST_SAMPLES + 1)),
        (b.PLAY_BEGIN, (1, b.MOST_PLAYED + 1, 1000)),
        (b.PLAY_BEGIN, (1, 100, b.SHORTEST_INTERVAL_US - 1)),
        (b.PLAY_BEGIN, (1, 4000, 8000)),
    ],
)
def test_what_is_out_of_range_is_refused_and_moves_nothing(kind, values):
    setup = Setup()
    assert setup.request(kind, *values).verdict == p.OUT_OF_RANGE
    for _ in range(5):
        setup.let_pass(20_000)
    assert setup.pulse_ns == NEUTRAL_NS


@pytest.mark.parametrize(
    ("kind", "values"),
    [
        (b.MOVE, (1, 1_600_000, 2000)),
        (b.TURN, (1, 5000, 2000)),
        (b.LOOK, (1, 1)),
        (b.PLAY_BEGIN, (1, 10, 1000)),
        (b.PLAY_RUN, ()),
        (b.END, ()),
    ],
)
def test_an_armed_node_refuses_every_bench_request(kind, values):
    setup = Setup()
    setup.link.arm()
    assert setup.request(kind, *values).verdict == p.NOT_NOW
    assert setup.loop.node.control.state == p.ARMED
    setup.let_pass(5000)
    assert setup.pulse_ns == NEUTRAL_NS


def test_a_node_at_the_bench_cannot_be_armed_until_the_bench_is_over():
    setup = Setup()
    setup.move(1, 1_600_000)
    token = setup.link.ask(p.ASK).contents
    assert setup.link.request(p.ARM, token).verdict == p.NOT_NOW
    assert setup.request(b.END).taken
    for _ in range(20):
        setup.let_pass(5000)
    assert setup.pulse_ns == NEUTRAL_NS
    setup.link.arm()


def test_without_tables_nothing_is_moved():
    assert Setup(tables=False).move(1, 1_600_000).verdict == p.NO_TABLES


def test_a_silent_bench_leaves_every_servo_at_neutral_at_the_slew_rate():
    setup = Setup()
    setup.move(1, 1_900_000, 300)
    for _ in range(30):
        setup.let_pass(9000)
    assert setup.pulse_ns[0] == 1_900_000
    pulses = []
    for _ in range(30):
        setup.let_pass(9000)
        pulses.append(setup.pulse_ns[0])
    assert pulses[-1] == 1_500_000
    steps = [before - after for before, after in pairwise(pulses)]
    assert max(steps) <= b.SLEW_NS_PER_US * 9000
    assert setup.loop.node.control.when_safe is None


def test_an_end_with_contents_is_refused_and_ends_nothing():
    setup = Setup()
    assert setup.move(1, 1_600_000, 60_000).taken
    assert setup.request(b.END, 1).verdict == p.WRONG_LENGTH
    for _ in range(100):
        setup.let_pass(9000)
    assert setup.pulse_ns[0] == 1_600_000


def test_a_look_tells_pulse_supply_magnet_and_counts():
    reader = Counting()
    setup = Setup(reader, reader)
    contents = setup.request(b.LOOK, 3, 4).contents
    assert read_numbers(contents) == (1_500_000, 7400, 1, 301, 302, 303, 304)


def test_a_look_without_a_reader_gives_no_counts():
    contents = Setup().request(b.LOOK, 1, 2).contents
    assert read_numbers(contents) == (1_500_000, -1, 0, -1, -1)


def played(setup, units, interval_us=1000, servo=1):
    """Load a recording; the answer to RUN."""
    assert setup.request(b.PLAY_BEGIN, servo, len(units), interval_us).taken
    for first in range(0, len(units), b.PIECE):
        piece = units[first : first + b.PIECE]
        raw = b"".join(unit.to_bytes(2, "little") for unit in piece)
        answer = setup.link.request(b.PLAY_PIECE, numbers((first,)) + raw)
        assert read_numbers(answer.contents) == (first + len(piece),)
    return setup.request(b.PLAY_RUN)


def column(setup, number, count):
    values = []
    while len(values) < count:
        contents = setup.request(b.PLAY_DATA, number, len(values)).contents
        values += [
            int.from_bytes(contents[i : i + 2], "little") for i in range(0, len(contents), 2)
        ]
    return values


def test_a_recording_puts_out_its_pulses_and_reads_with_each():
    reader = Counting()
    setup = Setup(reader, reader)
    units = [30_000] * 50 + [31_000 + 2 * k for k in range(51)]
    assert read_numbers(played(setup, units).contents) == (101,)
    assert column(setup, b.PULSES, 101) == units
    assert column(setup, b.COUNTS, 101) == [101 + k for k in range(101)]
    assert column(setup, b.SUPPLIES, 101) == [7399 - k for k in range(101)]
    assert setup.pulse_ns[0] == units[-1] * b.UNIT_NS


def test_a_recording_takes_its_time_on_the_node_s_clock():
    setup = Setup()
    before_us = setup.loop.clock.now()
    played(setup, [30_000] * 200, 2000)
    assert setup.loop.clock.now() - before_us == 200 * 2000


def test_the_same_pulse_many_times_goes_in_one_frame():
    setup = Setup()
    assert setup.request(b.PLAY_BEGIN, 1, 300, 1000).taken
    assert read_numbers(setup.request(b.PLAY_FILL, 0, 100, 30_000).contents) == (100,)
    assert read_numbers(setup.request(b.PLAY_FILL, 100, 200, 31_000).contents) == (300,)
    assert setup.request(b.PLAY_RUN).taken
    assert column(setup, b.PULSES, 300) == [30_000] * 100 + [31_000] * 200


@pytest.mark.parametrize(
    ("units", "verdict"),
    [
        ([30_000, 30_000 + (b.MOST_JUMP_NS // b.UNIT_NS) + 1], p.OUT_OF_RANGE),
        ([30_000, b.SHORTEST_NS // b.UNIT_NS - 1], p.OUT_OF_RANGE),
        ([30_000, b.LONGEST_NS // b.UNIT_NS + 1], p.OUT_OF_RANGE),
        ([30_000 - (b.MOST_JUMP_NS // b.UNIT_NS) - 1], p.OUT_OF_RANGE),
        ([30_000, 30_000 + b.MOST_JUMP_NS // b.UNIT_NS], p.TAKEN),
    ],
)
def test_a_recording_may_not_jump_far_nor_leave_what_servos_take(units, verdict):
    setup = Setup()
    assert played(setup, units).verdict == verdict


def test_a_recording_must_be_whole_and_in_order():
    setup = Setup()
    assert setup.request(b.PLAY_RUN).verdict == p.OUT_OF_ORDER
    setup.request(b.PLAY_BEGIN, 1, 10, 1000)
    assert setup.request(b.PLAY_FILL, 3, 2, 30_000).verdict == p.OUT_OF_ORDER
    assert setup.request(b.PLAY_FILL, 0, 11, 30_000).verdict == p.OUT_OF_RANGE
    assert setup.request(b.PLAY_FILL, 0, 9, 30_000).taken
    assert setup.request(b.PLAY_RUN).verdict == p.OUT_OF_ORDER


def test_any_frame_ends_a_recording():
    """What a person at the keyboard sends to stop must not wait for the recording's end."""
    setup = Setup()
    setup.request(b.PLAY_BEGIN, 1, 4000, 1000)
    setup.request(b.PLAY_FILL, 0, 4000, 30_000)
    run = wire_frame(b.PLAY_RUN, 999)
    setup.loop.write(run + wire_frame(p.FORCES, 1000))
    frames = bytes(setup.loop.line.from_node).split(b"\0")
    answers = [parse_answer(frame) for frame in frames if frame]
    (count,) = [
        read_numbers(a.contents)[0] for a in answers if a is not None and a.kind == b.PLAY_RUN
    ]
    assert 0 < count < 4000


def test_random_bench_requests_never_leave_the_bounds_nor_stop_the_node():
    """20 000 frames of random kinds and contents; every pulse stays legal, and the node answers."""
    seed = 11
    rng = random.Random(seed)
    setup = Setup(Counting(), Counting())
    kinds = [b.MOVE, b.TURN, b.LOOK, b.PLAY_BEGIN, b.PLAY_FILL, b.PLAY_RUN, b.PLAY_DATA, b.END]
    usual = ([1, 2, 3, 4], [1_400_000, 1_900_000, 5, 40, 5000], [1000, 2000, 30_000])
    edges = [0, 1, 4, 5, 10, 1000, 30_000, 1_500_000, 2_600_000, 2_700_000, -1, 8_000_000]
    taken = 0
    for _ in range(20_000):
        values = [rng.choice(edges if rng.random() < 0.2 else place) for place in usual]
        count = rng.choice([0, 2, 3, 3])
        taken += setup.link.request(rng.choice(kinds), numbers(values[:count])).taken
        if rng.random() < 0.3:
            setup.let_pass(rng.randrange(1, 60_000))
        assert all(b.SHORTEST_NS <= pulse <= b.LONGEST_NS for pulse in setup.pulse_ns)
    assert taken > 1000, f"seed {seed}: hardly anything was taken, {taken}"
    assert setup.link.identify()


class FakeBus:
    """An I²C bus with an AS5600-class encoder's registers, or none."""

    def __init__(self, angle=0, status=0x20, there=True):
        self.angle, self.status, self.there = angle, status, there

    def readfrom_mem_into(self, address, register, buffer):
        if not self.there or address != 0x36:
            raise OSError(5)
        memory = {0x0B: self.status, 0x0C: self.angle >> 8 | 0xF0, 0x0D: self.angle & 0xFF}
        for i in range(len(buffer)):
            buffer[i] = memory[register + i]


@pytest.mark.parametrize("angle", [0, 1, 255, 256, 2048, 4095])
def test_an_encoder_s_counts_are_its_twelve_bits(angle):
    """The unused upper bits of the register are set here and must not count."""
    assert AngleEncoders([FakeBus(angle)] * 4).read(2) == angle


def test_a_missing_encoder_or_magnet_is_told():
    encoders = AngleEncoders([FakeBus(there=False), None, FakeBus(status=0x10), FakeBus(7)])
    assert [encoders.read(vane) for vane in (1, 2, 3, 4)] == [-1, -1, 0, 7]
    assert [encoders.magnet(vane) for vane in (1, 2, 3, 4)] == [False, False, False, True]


class FakeInput:
    def __init__(self, value):
        self.value = value

    def read_u16(self):
        return self.value


def test_a_potentiometer_gives_its_upper_twelve_bits_and_the_supply_its_millivolts():
    pots = AnglePotentiometers([FakeInput(0xFFFF), FakeInput(0x8000), None, FakeInput(0)])
    assert [pots.read(vane) for vane in (1, 2, 3, 4)] == [4095, 2048, -1, 0]
    assert not pots.magnet(3)
    assert Supply(FakeInput(65535), 13_200).read_mv() == 13_200


def test_readers_are_opened_as_the_wiring_says(monkeypatch):
    """One bus for an encoder that is moved from vane to vane; the board's own pins where none."""
    with strict_machine():
        start = importlib.import_module("firmware_port.bench.start")
    monkeypatch.delitem(sys.modules, "firmware_port.bench.start")
    opened = []
    machine = types.ModuleType("machine")
    machine.Pin = lambda number: ("pin", number)  # type: ignore[attr-defined]
    machine.ADC = lambda pin: ("adc", pin)  # type: ignore[attr-defined]

    def bus(number, **pins):
        opened.append((number, pins))
        return FakeBus(number)

    machine.I2C = bus  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "machine", machine)

    def wiring(**names):
        return types.SimpleNamespace(**names)

    reader = start.open_reader(
        wiring(ANGLE_READERS=("i2c", ((7, 21, 20), None, (7, 21, 20), (1, None, None))))
    )
    assert opened == [(7, {"scl": ("pin", 21), "sda": ("pin", 20)}), (1, {})]
    assert [reader.read(vane) for vane in (1, 2, 3, 4)] == [7, -1, 7, 1]
    pots = start.open_reader(wiring(ANGLE_READERS=("adc", (26, None, 27, 28))))
    assert isinstance(pots, AnglePotentiometers)
    assert start.open_reader(wiring()) is None
    assert open_supply(wiring(SUPPLY=None)) is None
    assert isinstance(open_supply(wiring(SUPPLY=(26, 13_200))), Supply)


@pytest.mark.parametrize("name", ["rp2", "stm32", "unix", "emulated"])
def test_every_board_s_wiring_names_four_readers_or_none(name):
    wiring = importlib.import_module(f"firmware_port.boards.{name}")
    readers = getattr(wiring, "ANGLE_READERS", None)
    assert readers is None or (readers[0] in ("i2c", "adc") and len(readers[1]) == 4)
