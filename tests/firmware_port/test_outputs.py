"""Servo pulses on a stand-in for `machine` that is stricter than the boards."""

import importlib
import tracemalloc
from array import array
from collections.abc import Iterator

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firmware_port import protocol as p
from firmware_port.boards import emulated, rp2, stm32, unix
from firmware_port.hardware import Watchdog
from firmware_port.node import Node
from firmware_port.paced import Paced, PacedClock
from firmware_port.table_store import TableStore
from hil.node.loopback import Memory, NoMeter
from hil.node.node_link import demand_contents, numbers, wire_frame
from mixer.flight import Steering
from mixer.ground.tables.build import flight_tables
from tests.support.strict_machine import Board, strict_machine
from tests.support.vehicles import vehicle

NEUTRAL = array("i", [1_500_000] * 4)


@pytest.fixture
def board() -> Iterator[Board]:
    with strict_machine() as made:
        yield made


def pulse_outputs(pins=rp2.VANE_PINS, frame_hz: int = 50):
    return importlib.import_module("firmware_port.outputs").PulseOutputs(pins, frame_hz)


def test_nothing_leaves_a_pin_before_the_first_widths_are_known(board: Board) -> None:
    outputs = pulse_outputs()
    assert board.calls == []
    outputs.write(array("i", [1_400_000, 1_500_000, 1_600_000, 1_700_000]))
    assert board.pulse_ns == {2: 1_400_000, 4: 1_500_000, 6: 1_600_000, 8: 1_700_000}


def test_widths_reach_the_pin_of_their_vane(board: Board) -> None:
    outputs = pulse_outputs()
    outputs.write(NEUTRAL)
    outputs.write(array("i", [1_000_000, 1_200_000, 1_800_000, 2_000_000]))
    assert [board.pulse_ns[pin] for pin in rp2.VANE_PINS] == [
        1_000_000,
        1_200_000,
        1_800_000,
        2_000_000,
    ]


def test_two_vanes_may_share_a_slice_since_all_have_one_frame_rate(board: Board) -> None:
    outputs = pulse_outputs((2, 3, 4, 5), 333)
    outputs.write(NEUTRAL)
    assert board.slice_hz == {1: 333, 2: 333}


@pytest.mark.parametrize("width", [0, -1, 20_000_000, 2**30 - 1])
def test_a_width_that_does_not_fit_the_frame_leaves_the_pulse_as_it_is(
    board: Board, width: int
) -> None:
    outputs = pulse_outputs()
    outputs.write(array("i", [width, *NEUTRAL[1:]]))
    assert board.pulse_ns == {}
    outputs.write(NEUTRAL)
    outputs.write(array("i", [width, 1_600_000, 1_600_000, 1_600_000]))
    assert board.pulse_ns == {2: 1_500_000, 4: 1_600_000, 6: 1_600_000, 8: 1_600_000}


def test_after_off_no_pin_pulses_and_writing_starts_anew(board: Board) -> None:
    outputs = pulse_outputs()
    outputs.off()
    outputs.write(NEUTRAL)
    outputs.off()
    outputs.off()
    assert board.pulse_ns == {}
    outputs.write(NEUTRAL)
    assert len(board.pulse_ns) == 4


def test_off_lets_pulses_out_whole_and_then_holds_every_line_low(board: Board) -> None:
    outputs = pulse_outputs()
    outputs.write(NEUTRAL)
    assert board.not_low == set(rp2.VANE_PINS)
    outputs.off()
    assert board.not_low == set()
    assert board.cut_short == set()


@pytest.mark.parametrize("pins", [(2, 4, 6), (2, 4, 6, 8, 10)])
def test_wiring_has_one_pin_a_vane(board: Board, pins: tuple[int, ...]) -> None:
    with pytest.raises(ValueError, match="one pin for each"):
        pulse_outputs(pins)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.lists(st.integers(-(2**31), 2**31 - 1), min_size=4, max_size=4), max_size=8))
def test_no_widths_break_the_strict_rules(board: Board, rows: list[list[int]]) -> None:
    outputs = pulse_outputs()
    for row in rows:
        outputs.write(array("i", row))
    outputs.off()
    assert board.pulse_ns == {}


def test_writing_keeps_no_memory(board: Board) -> None:
    """On CPython; the boards' own proof is the locked heap of `fourvane board verify`."""
    outputs = pulse_outputs()
    outputs.write(NEUTRAL)
    board.calls = type("Forgetful", (list,), {"append": lambda self, call: None})()
    kept = []
    for _ in range(3):  # what other threads of the process keep meanwhile is not kept thrice
        tracemalloc.start()
        outputs.write(NEUTRAL)
        before, _ = tracemalloc.get_traced_memory()
        for _ in range(1000):
            outputs.write(NEUTRAL)
        kept.append(tracemalloc.get_traced_memory()[0] - before)
        tracemalloc.stop()
    assert min(kept) < 1000, kept


def test_the_watchdog_is_fed_last_in_every_cycle(board: Board) -> None:
    line = Memory()
    node = Node(
        line,
        pulse_outputs(),
        PacedClock(),
        NoMeter(),
        TableStore(None),
        Watchdog(rp2.WATCHDOG_MS),
    )
    Paced(node)
    node.control.fly(Steering(flight_tables(vehicle())))
    send = line.send
    line.send = lambda data, count: (board.calls.append(("answer",)), send(data, count))[1]
    node.turn()
    line.to_node += wire_frame(p.DEMAND, 1, demand_contents(1000, 0, 0, 2_000_000))
    node.turn()
    assert board.fed == 0  # a board that was never armed can be left alone
    node.control.state = p.ARMED
    for sequence in range(2, 5):
        board.calls.clear()
        line.to_node += wire_frame(p.DEMAND, sequence, demand_contents(1000, 0, 0, 2_000_000))
        node.turn()
        kinds = [call[0] for call in board.calls]
        assert kinds == ["pulse"] * 4 + ["answer", "feed"]
    fed = board.fed
    line.to_node += wire_frame(p.COUNTERS, 9, numbers((0,)))
    node.turn()
    assert board.fed == fed  # a frame that is no cycle does not keep the watchdog quiet


@pytest.mark.parametrize("wiring", [rp2, stm32, emulated, unix])
def test_wiring_files_have_the_same_names(wiring) -> None:
    names = {name for name in vars(wiring) if name.isupper()}
    assert names == {
        "NAME",
        "VANE_PINS",
        "SERVO_FRAME_HZ",
        "STAND",
        "LINK",
        "TIMER",
        "WATCHDOG_MS",
        "TABLES",
        "ANGLE_READERS",
        "SUPPLY",
        "VANE_ANGLES",
    }
    assert len(wiring.NAME) <= 24


def test_each_vane_of_the_rp2_wiring_has_a_slice_of_its_own() -> None:
    assert len({pin // 2 % 8 for pin in rp2.VANE_PINS}) == 4
    assert not set(rp2.VANE_PINS) & set(rp2.LINK[2:4])
