"""Angle sensors in flight, on stand-ins for the multiplexer's bus and for analogue inputs."""

import subprocess
import sys
import types
from pathlib import Path
from typing import Any

import pytest

from firmware_port import protocol as p
from firmware_port import vane_angles as v
from firmware_port.boards import rp2, stm32
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink, demand_contents
from mixer.flight import Steering
from mixer.flight import layout as at
from mixer.ground.tables.build import flight_tables
from tests.flight.test_micropython import interpreter
from tests.support.vehicles import vehicle

TABLES = flight_tables(vehicle())
MULTIPLEXER = 0x70
CHANNELS = (2, 3, 4, 7)
AT_NEUTRAL = (100, 2048, 4090, 0)
FULL_TURN = (360_000, 360_000, -360_000, -360_000)
PERIOD_US = 5000
FOUND = 0x20  # the status of a magnet found


class Bus:
    """A multiplexer with an encoder on each channel that is in `counts`; both may be missing."""

    def __init__(self, counts: dict[int, int]):
        self.counts = counts
        self.status = dict.fromkeys(counts, FOUND)
        self.open = 0
        self.there = True
        self.asked: list[int] = []

    def writeto(self, address: int, data: bytes) -> None:
        self.asked.append(data[0])
        if not self.there or address != MULTIPLEXER:
            raise OSError(5)
        (self.open,) = data

    def readfrom_mem_into(self, address: int, register: int, told: bytearray) -> None:
        heard = [channel for channel in self.counts if self.open >> channel & 1]
        if address != 0x36 or not heard:
            raise OSError(5)
        assert len(heard) == 1, "two encoders talk at once"
        counts = self.counts[heard[0]]
        memory = {0x0B: self.status[heard[0]], 0x0C: 0xF0 | counts >> 8, 0x0D: counts & 0xFF}
        told[:] = bytes(memory[register + i] for i in range(len(told)))


class Told:
    """A steering that only keeps what it is told."""

    def __init__(self) -> None:
        self.readings: list[tuple[int, ...]] = []

    def sensed(self, *mdeg: int) -> None:
        self.readings.append(mdeg)


def fitted(each_cycle: int = 4) -> tuple[Bus, v.VaneAngles]:
    bus = Bus(dict(zip(CHANNELS, AT_NEUTRAL, strict=True)))
    sensors = v.MultiplexedEncoders(bus, MULTIPLEXER, CHANNELS)
    return bus, v.VaneAngles(sensors, AT_NEUTRAL, FULL_TURN, each_cycle)


def look(angles: v.VaneAngles) -> tuple[int, ...]:
    """What a steering is told in a cycle."""
    told: Any = Told()
    angles.look(told, False)
    return told.readings[0]


# ---- what is read --------------------------------------------------------------------------------


@pytest.mark.parametrize("off", [-170, -100, -1, 0, 1, 100, 170])
def test_a_turn_from_neutral_is_told_with_its_sign_also_across_the_end_of_the_range(
    off: int,
) -> None:
    bus, angles = fitted()
    for channel, neutral in zip(CHANNELS, AT_NEUTRAL, strict=True):
        bus.counts[channel] = (neutral + off) % 4096
    exact = off * 360_000 / 4096
    assert look(angles) == pytest.approx((exact, exact, -exact, -exact), abs=0.5)


def test_only_one_channel_is_open_at_a_time_and_all_are_read_in_a_cycle() -> None:
    bus, angles = fitted()
    look(angles)
    assert bus.asked == [1 << channel for channel in CHANNELS]


def test_one_a_cycle_is_read_in_turn_and_the_others_say_nothing_now() -> None:
    _, angles = fitted(1)
    for i in (0, 1, 2, 3, 0):
        told = [at.NO_READING] * 4
        told[i] = 0
        assert look(angles) == tuple(told)
    assert list(angles.mdeg) == [0] * 4


@pytest.mark.parametrize("fails", ["encoder", "magnet"])
def test_a_sensor_that_fails_is_left_out_and_the_others_are_read(fails: str) -> None:
    bus, angles = fitted()
    look(angles)
    if fails == "encoder":
        del bus.counts[CHANNELS[1]]
    else:
        bus.status[CHANNELS[1]] = 0x10
    assert look(angles) == (0, at.NO_READING, 0, 0)
    assert list(angles.mdeg) == [0, p.NO_ANGLE, 0, 0]


def test_a_failed_bus_is_asked_seldom_and_heard_again_once_it_is_back() -> None:
    bus, angles = fitted()
    bus.there = False
    for _ in range(v.REST + 1):
        assert look(angles) == (at.NO_READING,) * 4
    assert len(bus.asked) == 4
    bus.there = True
    assert look(angles) == (0,) * 4


class Input:
    def __init__(self, value: int):
        self.value = value

    def read_u16(self) -> int:
        return self.value


def test_an_analogue_input_at_a_rail_is_left_out_and_none_turns_past_its_end() -> None:
    inputs = [Input(counts << 4) for counts in (64, 4031, 63, 4032)]
    angles = v.VaneAngles(v.AnalogueAngles(inputs), (2048,) * 4, (90_000,) * 4)
    low, high, *others = look(angles)
    assert low == pytest.approx((64 - 2048) * 90_000 / 4096, abs=16)  # 1/64 of 0.001° a count
    assert high == pytest.approx((4031 - 2048) * 90_000 / 4096, abs=16)
    assert others == [at.NO_READING] * 2


# ---- as a wiring names them ----------------------------------------------------------------------


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list:
    """What was opened of a `machine`."""
    made: list = []
    bus, _ = fitted()

    def i2c(number: int, **options: Any) -> Bus:
        made.append((number, options))
        return bus

    machine = types.SimpleNamespace(
        Pin=lambda number: ("pin", number), ADC=lambda _: Input(2048 << 4), I2C=i2c
    )
    monkeypatch.setitem(sys.modules, "machine", machine)
    return made


def wired(*described: Any) -> v.VaneAngles:
    angles = v.open_angles(types.SimpleNamespace(VANE_ANGLES=described))
    assert angles is not None
    return angles


@pytest.mark.parametrize("pins", [(21, 20), (None, None)])
def test_a_multiplexer_is_opened_on_the_pins_of_its_wiring_with_a_short_patience(
    opened: list, pins: tuple
) -> None:
    where = (1, *pins, MULTIPLEXER)
    assert look(wired("multiplexer", where, CHANNELS, AT_NEUTRAL, FULL_TURN, 4)) == (0,) * 4
    named = {} if pins[0] is None else {"scl": ("pin", 21), "sda": ("pin", 20)}
    assert opened == [(1, {"freq": 400_000, "timeout": 1000, **named})]


def test_analogue_inputs_are_opened_as_the_wiring_says(opened: list) -> None:
    assert look(wired("adc", (26, 27, 28, 29), (2048,) * 4, (90_000,) * 4, 4)) == (0,) * 4
    assert opened == []


@pytest.mark.parametrize("board", [rp2, stm32])
def test_a_board_s_wiring_has_no_sensors_until_somebody_fits_them(board: Any) -> None:
    assert v.open_angles(board) is None


# ---- in a node -----------------------------------------------------------------------------------


class Flown:
    """A node whose four encoders see its vanes follow their pulses, but for those that jam."""

    def __init__(self, each_cycle: int = 4) -> None:
        self.loop = Loopback()
        self.node: Any = self.loop.node
        self.link = NodeLink(self.loop)
        self.link.load_tables(TABLES.to_bytes())
        self.bus, self.node.control.angles = fitted(each_cycle)
        self.stands_mdeg: dict[int, int] = {}

    @property
    def steering(self) -> Steering:
        return self.node.control.steering

    def cycles(self, count: int, pitch_mnm: int | None = None) -> None:
        for _ in range(count):
            if pitch_mnm is not None:
                contents = demand_contents(pitch_mnm, 0, 0, 2_000_000)
                self.link.request(p.DEMAND, contents)
            for i, channel in enumerate(CHANNELS):
                is_at = self.stands_mdeg.get(i, self.steering.deflection_mdeg[i])
                turned = round(is_at * 4096 / FULL_TURN[i])
                self.bus.counts[channel] = (AT_NEUTRAL[i] + turned) % 4096
            self.link.let_pass(PERIOD_US)

    def armed(self) -> None:
        """Armed, and every sensor seen to follow."""
        self.link.arm()
        for pitch_mnm in (500_000, -500_000, 500_000):
            self.cycles(60, pitch_mnm)
        assert self.steering.core[1][at.WATCH_BELIEVED] == 0b1111
        assert not self.steering.sensors_out
        assert not self.steering.jammed


@pytest.mark.parametrize(("each_cycle", "found_us"), [(4, 120_000), (2, 150_000), (1, 210_000)])
def test_a_vane_that_stands_is_found_by_the_node_itself_sooner_the_more_are_read(
    each_cycle: int, found_us: int
) -> None:
    flown = Flown(each_cycle)
    flown.armed()
    flown.stands_mdeg = {1: flown.steering.deflection_mdeg[1]}
    counters = flown.node.control.counters
    begun = counters[p.CYCLES]  # a reversal: the command leaves at once
    while not flown.steering.declared:
        flown.cycles(1, -500_000)
        assert (counters[p.CYCLES] - begun) * PERIOD_US <= found_us
    assert flown.steering.declared == 1 << 1
    assert counters[p.CYCLES] - begun > 2  # and not before it can have stood still


def test_a_dead_bus_declares_nothing_and_every_sensor_is_told_to_be_out() -> None:
    flown = Flown()
    flown.armed()
    flown.bus.there = False
    for pitch_mnm in (-500_000, 500_000):
        flown.cycles(60, pitch_mnm)
    assert flown.steering.declared == 0
    assert flown.steering.sensors_out == 0b1111


def test_a_control_check_leaves_nothing_for_the_jam_watch() -> None:
    """While it turns the vanes, their commands stand at neutral."""
    flown = Flown()
    flown.armed()
    told = flown.steering.core[1]
    assert told[at.WATCH_STATE] == at.WATCH_ON
    assert told[at.WATCH_BELIEVED] == 0b1111
    flown.node.control.angles.look(flown.steering, True)
    assert told[at.WATCH_STATE] == at.WATCH_WAITING
    flown.node.control.angles.look(flown.steering, True)
    assert told[at.WATCH_STATE] == at.WATCH_WAITING
    assert not told[at.WATCH_BELIEVED]


ON_A_BOARD = """
import micropython
from firmware_port import vane_angles as v

class Bus:
    def __init__(self):
        self.there = True
    def writeto(self, address, data):
        if not self.there:
            raise OSError(5)
    def readfrom_mem_into(self, address, register, told):
        told[0] = 0x20
        told[1] = told[2] = 8

class Told:
    def sensed(self, vane1, vane2, vane3, vane4):
        pass

def looks(count):
    for _ in range(count):
        angles.look(told, False)

bus, told = Bus(), Told()
angles = v.VaneAngles(v.MultiplexedEncoders(bus, 0x70, (0, 1, 2, 3)), (0,) * 4, (360_000,) * 4)
looks(1)
micropython.heap_lock()
looks(200)
bus.there = False
looks(200)  # what an OSError takes comes from the interpreter's reserve
micropython.heap_unlock()
print(angles.mdeg)
"""


def test_on_micropython_sensors_are_read_without_heap_also_on_a_dead_bus() -> None:
    micropython = interpreter()
    if micropython is None:
        pytest.skip("because no `micropython` was found: install the test extra to run this")
    root = Path(__file__).parents[2]
    run = subprocess.run(
        [micropython, "-c", ON_A_BOARD], cwd=root, capture_output=True, text=True, timeout=60
    )
    assert run.stdout.strip() == f"array('i', {[p.NO_ANGLE] * 4})", run.stderr
