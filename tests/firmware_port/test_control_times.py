"""When a control's cycles are due, which of them slipped, how long a demand lasts: to the
microsecond, by a clock that is moved by hand."""

from array import array

import pytest

from firmware_port import protocol as p
from firmware_port.control import Control
from firmware_port.paced import PacedClock
from hil.node.loopback import NoMeter, Pulses
from mixer.flight import FlightTables, Steering
from mixer.flight import layout as at
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

TABLES = flight_tables(vehicle(control={"rate_hz": 250}))
PERIOD_US, TIMEOUT_US = 4000, 100_000
NEUTRAL_NS, NS_PER_CYCLE = 1_500_000, 10_000  # at 250 degrees a second
NOTHING = [0, 0, 0]
COST = 4711


class Costly(NoMeter):
    """Whatever it meters costs the same."""

    def since(self, then: int) -> int:
        return COST


class Seen:
    """Angle sensors that note how they are looked at."""

    def __init__(self) -> None:
        self.looks: list[bool] = []
        self.mdeg = array("i", [p.NO_ANGLE] * 4)

    def look(self, steering: Steering, checking: bool) -> None:
        self.looks.append(checking)


def control_with(tables: FlightTables | None = TABLES, angles: Seen | None = None) -> Control:
    return Control(Pulses(), PacedClock(), Costly(), tables, angles)


@pytest.fixture
def control() -> Control:
    return control_with()


def pass_time(control: Control, us: int) -> int | None:
    """A cycle of this length; what waited for it."""
    control.hasten()
    control.clock.advance(us)
    assert control.begin() == us
    return control.cycle(us)


def due_after(control: Control) -> int:
    """How long a cycle has to be, at the least."""
    for us in range(20_000):
        dt_us = control.begin()
        if dt_us:
            assert dt_us == us
            return us
        control.clock.advance(1)
    raise AssertionError("never due")


def demand(control: Control, sequence: int = 1) -> None:
    assert control.demand(NOTHING, 2_000_000, sequence) == p.TAKEN


# ---- when a cycle is due -------------------------------------------------------------------------


@pytest.mark.parametrize(("tables", "period_us"), [(None, 5000), (TABLES, PERIOD_US)])
def test_a_cycle_is_due_after_a_period_that_of_the_tables_once_there_are_some(
    tables: FlightTables | None, period_us: int
) -> None:
    control = control_with(tables)
    assert due_after(control) == period_us
    control.cycle(period_us)
    assert due_after(control) == period_us


@pytest.mark.parametrize(("period_us", "half_us"), [(4000, 2000), (4001, 2001)])
def test_a_demand_s_cycle_is_due_after_half_a_period_or_as_soon_as_time_has_passed(
    period_us: int, half_us: int
) -> None:
    tables = FlightTables(TABLES.words)
    tables.words[at.PERIOD_US] = period_us
    control = control_with(tables)
    demand(control)
    assert due_after(control) == half_us
    control.cycle(half_us)
    control.at_once = True
    demand(control)
    assert due_after(control) == 1


def test_after_a_demand_s_cycle_the_next_demand_is_waited_for_a_quarter_longer(
    control: Control,
) -> None:
    demand(control)
    pass_time(control, 2000)
    assert due_after(control) == PERIOD_US + PERIOD_US // 4
    control.cycle(PERIOD_US)
    assert due_after(control) == PERIOD_US


@pytest.mark.parametrize("demanded", [False, True])
def test_a_cycle_that_is_more_than_a_quarter_of_a_period_late_has_slipped(
    control: Control, demanded: bool
) -> None:
    for _ in range(2):
        for late_us, slips in ((0, 0), (1000, 0), (1001, 1), (1500, 1), (4000, 1)):
            if demanded:
                demand(control)
            pass_time(control, 3000)
            before = control.counters[p.SLIPS]
            pass_time(control, PERIOD_US + 1000 * demanded + late_us)
            assert control.counters[p.SLIPS] - before == slips


def test_a_demand_waits_for_one_cycle_and_a_second_one_before_it_is_counted(
    control: Control,
) -> None:
    demand(control, 7)
    assert control.counters[p.OVERTAKEN] == 0
    demand(control, 8)
    assert control.counters[p.OVERTAKEN] == 1
    assert pass_time(control, 2000) == 8
    assert pass_time(control, 2000) is None


# ---- how long a demand lasts ---------------------------------------------------------------------


@pytest.mark.parametrize("by", ["arming", "a demand"])
@pytest.mark.parametrize(("us", "state"), [(-1, p.ARMED), (0, p.LINK_LOST)])
def test_a_link_is_lost_in_the_first_cycle_that_begins_after_the_timeout(
    control: Control, by: str, us: int, state: int
) -> None:
    control.arm()
    if by == "a demand":
        pass_time(control, 70_000)
        demand(control)
    pass_time(control, TIMEOUT_US + us)
    assert control.state == p.ARMED
    pass_time(control, 1)
    assert control.state == state


@pytest.mark.parametrize(("us", "verdict"), [(-1, p.NOT_NOW), (0, p.TAKEN)])
def test_a_node_that_has_just_started_has_heard_no_demand_for_no_time(
    control: Control, us: int, verdict: int
) -> None:
    pass_time(control, TIMEOUT_US + us)
    assert control.check.begin(3000) == verdict


def test_a_demand_that_waits_when_the_node_is_made_safe_is_not_acted_on(control: Control) -> None:
    control.arm()
    demand(control, 9)
    assert control.acted_on
    control.make_safe()
    assert pass_time(control, 2000) == 9
    assert not control.acted_on


# ---- what a cycle does ---------------------------------------------------------------------------


def test_before_the_first_demand_a_cycle_reads_no_pressure_and_a_step_costs_nothing(
    control: Control,
) -> None:
    assert control.cost[0] == 0
    assert control.pressure_pa == 0
    pass_time(control, PERIOD_US)
    assert control.cost[0] == COST


def test_sensors_are_looked_at_in_every_cycle_and_told_of_a_check() -> None:
    seen = Seen()
    control = control_with(angles=seen)
    pass_time(control, TIMEOUT_US)
    assert control.check.begin(3000) == p.TAKEN
    pass_time(control, PERIOD_US)
    control.make_safe()
    control.arm()
    pass_time(control, PERIOD_US)
    assert seen.looks == [False, True, False]


def test_a_check_that_is_broken_off_leaves_its_vane_going_to_neutral_at_the_slew(
    control: Control,
) -> None:
    pass_time(control, TIMEOUT_US)
    control.check.begin(3000)
    for _ in range(50):
        pass_time(control, PERIOD_US)
    away = control.pulses.pulse_ns[0]
    assert away == NEUTRAL_NS + 20_000
    control.make_safe()
    for n in (1, 2, 3):
        pass_time(control, PERIOD_US)
        assert control.pulses.pulse_ns[0] == max(away - n * NS_PER_CYCLE, NEUTRAL_NS)


def test_a_control_that_records_nothing_is_told_of_frames_in_vain(control: Control) -> None:
    control.record(p.START)
    control.record_watch()
    control.arm()
    control.record(p.START)
    control.record_watch()
    control.make_safe()
    assert control.state == p.SAFE
