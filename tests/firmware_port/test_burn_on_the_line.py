"""What a flight computer says of the burn, and what the node tells it that it believes."""

import pytest

from firmware_port import protocol as p
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink, demand_contents, read_cycle
from mixer.flight import layout as at
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

TABLES = flight_tables(vehicle(engine={"believed_pressure": None}))
PERIOD_US = 5000
REFERENCE_PA = 2_000_000
Q14 = 1 << 14


class Flight:
    """A node with tables that doubt, and demands over its line."""

    def __init__(self) -> None:
        self.loop = Loopback()
        self.link = NodeLink(self.loop)
        self.link.load_tables(TABLES.to_bytes())

    def fly(self, seconds: float, pressure_pa: int = REFERENCE_PA) -> int:
        """Demands of that time; the last one's flags."""
        flags = 0
        for _ in range(round(seconds * 1_000_000 / PERIOD_US)):
            contents = demand_contents(200_000, 0, 0, pressure_pa)
            flags = read_cycle(self.link.request(p.DEMAND, contents).contents).flags
        return flags


@pytest.fixture
def flight() -> Flight:
    flight = Flight()
    flight.link.arm()
    return flight


def test_before_ignition_nothing_is_believed_however_long_it_lasts(flight):
    flight.fly(2.0, 0)
    belief = flight.link.belief()
    assert (belief.time_us, belief.load_us, belief.doubted_us) == (0, 0, 0)
    assert (belief.burn, belief.jammed, belief.ratio_q14) == (at.WAITING, (), 0)


def test_the_jet_starts_the_clock_and_its_pressure_is_believed(flight):
    flight.fly(1.0)
    belief = flight.link.belief()
    assert (belief.burn, belief.time_us) == (at.BELIEVED, 1_000_000 - PERIOD_US)
    assert belief.ratio_q14 == pytest.approx(Q14, abs=2)


def test_a_doubted_pressure_is_flagged_in_every_answer_and_told_with_its_time(flight):
    assert not flight.fly(1.0) & at.DOUBTED_PRESSURE
    assert flight.fly(0.2, 0) & at.DOUBTED_PRESSURE
    belief = flight.link.belief()
    assert belief.doubted_us == 200_000
    assert belief.ratio_q14 == pytest.approx(Q14, abs=2)
    flight.fly(PERIOD_US / 1e6)
    assert flight.link.belief().doubted_us == 0


def test_a_jammed_vane_is_told(flight):
    flight.link.jam(2, 100)
    flight.link.jam(4, 100)
    assert flight.link.belief().jammed == (2, 4)


def test_start_begins_the_burn_while_armed_and_a_dead_sensor_is_made_up_for(flight):
    flight.link.start()
    assert flight.fly(0.4, 0) & at.NO_THRUST
    assert not flight.fly(0.2, 0) & at.NO_THRUST
    belief = flight.link.belief()
    assert (belief.burn, belief.time_us) == (at.SAID, 600_000)


@pytest.mark.parametrize("pressure_pa", [0, REFERENCE_PA // 4, REFERENCE_PA], ids=str)
def test_start_said_again_and_again_sets_back_nothing(pressure_pa):
    once, often = Flight(), Flight()
    for flight in (once, often):
        flight.link.arm()
        flight.link.start()
    for _ in range(120):
        once.fly(PERIOD_US / 1e6, pressure_pa)
        often.fly(PERIOD_US / 1e6, pressure_pa)
        often.link.start()
    assert often.link.belief() == once.link.belief()
    assert list(often.loop.node.control.steering.core[1][: at.LASTING_WORDS]) == list(
        once.loop.node.control.steering.core[1][: at.LASTING_WORDS]
    )


@pytest.mark.parametrize("pressure_pa", [REFERENCE_PA // 4, REFERENCE_PA], ids=["a", "b"])
def test_start_said_after_the_jet_has_started_the_clock_keeps_its_time(flight, pressure_pa):
    flight.fly(0.3, pressure_pa)
    before = flight.link.belief()
    flight.link.start()
    after = flight.link.belief()
    assert (after.time_us, after.load_us) == (before.time_us, before.load_us)
    assert after.burn == (at.BELIEVED if pressure_pa == REFERENCE_PA else at.SAID)


def test_worn_vanes_told_on_the_pad_do_not_begin_the_burn():
    flight = Flight()
    flight.link.burn(0, 4_000_000)
    flight.link.arm()
    flight.fly(1.0, 0)
    belief = flight.link.belief()
    assert (belief.burn, belief.time_us, belief.load_us) == (at.WAITING, 0, 4_000_000)
    flight.link.start()
    assert flight.link.belief().load_us == 4_000_000


def test_a_board_that_starts_anew_in_flight_is_told_where_the_burn_is():
    flight = Flight()
    flight.link.burn(9_000_000, 8_000_000)
    flight.link.arm()
    flight.fly(0.1)
    belief = flight.link.belief()
    assert (belief.burn, belief.time_us) == (at.BELIEVED, 9_100_000)
    assert belief.load_us == pytest.approx(8_100_000, abs=100)


@pytest.mark.parametrize("kind", [p.START, p.BELIEF])
def test_without_tables_there_is_nothing_to_believe(kind):
    answer = NodeLink(Loopback()).request(kind)
    assert p.VERDICT_NAMES[answer.verdict] == "no-tables"


def test_a_repeated_start_changes_nothing(flight):
    flight.link.sequence -= 1
    assert p.VERDICT_NAMES[flight.link.request(p.START).verdict] == "repeated"
    assert flight.link.belief().burn == at.WAITING
