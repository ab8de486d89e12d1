"""The control check on the pad: each vane out and back, slowly; and whatever ends it."""

from array import array
from itertools import pairwise

import pytest

from firmware_port import control_check
from firmware_port import protocol as p
from firmware_port.bench import protocol as b
from firmware_port.bench.motion import Bench
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink, demand_contents, numbers
from mixer.flight import Steering
from mixer.flight import layout as at
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

TABLES = flight_tables(vehicle())
PERIOD_US = 5000
NEUTRAL_NS = 1_500_000
NS_PER_DEG = 10_000
OUT_MDEG = 3000
OUT_NS = NEUTRAL_NS + NS_PER_DEG * OUT_MDEG // 1000
QUIET = 22  # cycles: longer than the vehicle's timeout


class Pad:
    """A node that has power and tables, at rest, and no demand lately."""

    def __init__(self) -> None:
        self.loop = Loopback()
        self.node = self.loop.node
        Bench(self.node)
        self.link = NodeLink(self.loop)
        self.link.load_tables(TABLES.to_bytes())
        self.let_pass(QUIET)

    def said(self, kind: int, contents: bytes = b"") -> str:
        return p.VERDICT_NAMES[self.link.request(kind, contents).verdict]

    def let_pass(self, cycles: int = 1) -> None:
        for _ in range(cycles):
            self.link.let_pass(PERIOD_US)

    def demand(self, pressure_pa: int = 0) -> None:
        self.said(p.DEMAND, demand_contents(0, 0, 0, pressure_pa))

    def check(self, deflection_mdeg: int = OUT_MDEG) -> str:
        contents = self.link.ask(p.ASK).contents + numbers((deflection_mdeg,))
        said = self.said(p.CHECK, contents)
        self.begun = self.link.sequence
        return said

    def watch(self, most: int = 2000) -> list[list[int]]:
        """The pulses of a whole check, cycle by cycle, until it has ended."""
        seen = []
        for _ in range(most):
            if self.link.checked().state != p.CHECKING:
                return seen
            self.let_pass()
            seen.append(list(self.loop.outputs.pulse_ns))
        raise AssertionError("the check does not end")

    def rests(self) -> bool:
        return list(self.loop.outputs.pulse_ns) == [NEUTRAL_NS] * 4


@pytest.fixture
def pad() -> Pad:
    return Pad()


@pytest.fixture
def checking(pad: Pad) -> Pad:
    """Vane 1 is on its way out."""
    assert pad.check() == "taken"
    pad.let_pass(30)
    assert pad.loop.outputs.pulse_ns[0] > NEUTRAL_NS
    return pad


@pytest.mark.parametrize("deflection_mdeg", [2000, 3000, -3000, 5000])
def test_each_vane_goes_out_and_back_alone_one_after_the_other(pad, deflection_mdeg):
    pad.check(deflection_mdeg)
    seen = pad.watch()
    out_ns = NEUTRAL_NS + deflection_mdeg * NS_PER_DEG // 1000
    order = []
    for pulses in seen:
        away = [i for i in range(4) if pulses[i] != NEUTRAL_NS]
        assert len(away) <= 1
        if away and away[0] not in order:
            order += away
    assert order == [0, 1, 2, 3]
    for i in range(4):
        reached = {pulses[i] for pulses in seen}
        assert out_ns in reached
        assert all(0 <= (ns - NEUTRAL_NS) / (out_ns - NEUTRAL_NS) <= 1 for ns in reached)
    assert pad.link.checked().done == (1, 2, 3, 4)
    pad.let_pass()
    assert pad.rests()


def test_no_pulse_goes_faster_than_ten_degrees_a_second_and_each_stays_out(pad):
    pad.check()
    seen = pad.watch()
    most = 10 * NS_PER_DEG * PERIOD_US // 1_000_000
    for before, after in pairwise(seen):
        assert all(abs(x - y) <= most for x, y in zip(before, after, strict=True))
    for i in range(4):
        assert sum(pulses[i] == OUT_NS for pulses in seen) * PERIOD_US >= 300_000


def test_the_end_is_told_unasked_and_arming_is_free_afterwards(pad):
    pad.check()
    pad.watch()
    assert [(told.kind, told.state) for told in pad.link.heard] == [(p.STATE, p.SAFE)]
    pad.link.arm()
    assert pad.node.control.state == p.ARMED


# ---- refusals ------------------------------------------------------------------------------------


def test_a_check_needs_a_fresh_token(pad):
    assert pad.said(p.CHECK, numbers((4711, OUT_MDEG))) == "wrong-token"
    token = pad.link.ask(p.ASK).contents
    assert pad.said(p.CHECK, token + numbers((9000,))) == "out-of-range"
    assert pad.said(p.CHECK, token + numbers((OUT_MDEG,))) == "wrong-token"
    assert pad.node.control.state == p.SAFE


@pytest.mark.parametrize("deflection_mdeg", [0, 1999, -1999, 5001, -5001])
def test_a_check_by_less_than_2_or_more_than_5_degrees_is_refused(pad, deflection_mdeg):
    assert pad.check(deflection_mdeg) == "out-of-range"
    assert pad.node.control.state == p.SAFE


def test_a_check_beyond_a_vane_s_travel_is_refused():
    narrow = flight_tables(vehicle(vanes={"travel_deg": [-15.0, 2.5]}))
    pad = Pad()
    pad.link.load_tables(narrow.to_bytes())
    pad.let_pass(QUIET)
    assert pad.check(3000) == "out-of-range"
    assert pad.check(-3000) == "taken"


def test_without_tables_there_is_nothing_to_check():
    link = NodeLink(Loopback())
    token = link.ask(p.ASK).contents
    answer = link.request(p.CHECK, token + numbers((OUT_MDEG,)))
    assert p.VERDICT_NAMES[answer.verdict] == "no-tables"


def lately(pad: Pad) -> None:
    pad.demand()
    pad.let_pass(QUIET // 2)


def jet(pad: Pad) -> None:
    pad.demand(100_000)  # a twentieth of the reference
    pad.let_pass(QUIET)
    pad.link.burn(0, 0)  # so that its pressure alone speaks against it


def burning(pad: Pad) -> None:
    pad.link.start()


def jammed(pad: Pad) -> None:
    pad.link.jam(3, 1000)


def moving(pad: Pad) -> None:
    pad.link.arm()
    pad.link.demand(900_000, 0, 0, 2_000_000)
    pad.link.disarm()
    pad.node.control.silent_us = pad.node.control.timeout_us
    pad.node.control.pressure_pa = 0
    pad.link.burn(0, 0)


def at_the_bench(pad: Pad) -> None:
    pad.link.ask(b.MOVE, numbers((1, 1_600_000, 1000)))


def armed(pad: Pad) -> None:
    pad.link.arm()


@pytest.mark.parametrize(
    "how", [lately, jet, burning, jammed, moving, at_the_bench, armed], ids=lambda how: how.__name__
)
def test_a_check_is_refused_where_it_could_hurt_or_mislead(pad, how):
    how(pad)
    state = pad.node.control.state
    assert pad.check() == "not-now"
    assert pad.node.control.state == state


def test_once_demands_and_jet_are_over_a_check_may_begin(pad):
    jet(pad)
    pad.demand(99_999)
    assert pad.check() == "not-now"
    pad.let_pass(QUIET)
    assert pad.check() == "taken"


# ---- what ends it --------------------------------------------------------------------------------


@pytest.mark.parametrize("away", ["out", "staying", "back"])
@pytest.mark.parametrize("by", ["demand", "pressure", "disarm", "start", "silence"])
def test_whatever_ends_a_check_leads_the_vanes_to_neutral_and_makes_safe(pad, by, away):
    pad.check()
    for _ in range({"out": 30, "staying": 90, "back": 135}[away]):
        pad.link.checked()
        pad.let_pass()
    assert not pad.rests()
    if by == "demand":
        assert p.VERDICT_NAMES[pad.link.demand(0, 0, 0, 0).verdict] == "not-armed"
    elif by == "pressure":
        pad.demand(2_000_000)
    elif by == "disarm":
        pad.link.disarm()
    elif by == "start":
        pad.link.start()
    else:
        pad.loop.clock.advance(500_001)
        pad.let_pass()
    assert pad.node.control.state == p.SAFE
    before = list(pad.loop.outputs.pulse_ns)
    pad.let_pass(3)
    now = list(pad.loop.outputs.pulse_ns)
    assert all(abs(x - NEUTRAL_NS) <= abs(y - NEUTRAL_NS) for x, y in zip(now, before, strict=True))
    assert pad.rests()
    pad.let_pass(400)
    assert pad.rests()


def test_a_repeated_or_an_old_demand_does_not_count_for_anything(checking):
    checking.link.sequence = checking.begun - 1
    assert checking.said(p.DEMAND, demand_contents(0, 0, 0, 0)) == "repeated"
    assert checking.node.control.state == p.CHECKING


def test_a_check_goes_on_only_while_it_is_asked_what_it_has_found(checking):
    for _ in range(3):
        checking.let_pass(60)
        assert checking.link.checked().state == p.CHECKING
    checking.let_pass(60)
    checking.said(p.COUNTERS, numbers((0,)))
    checking.let_pass(60)
    assert checking.node.control.state == p.SAFE
    assert len(checking.link.checked().done) < 4


def test_a_new_check_begins_with_nothing_found(pad):
    pad.check()
    pad.watch()
    pad.let_pass(2)
    pad.check()
    assert pad.link.checked().done == ()


# ---- angle sensors -------------------------------------------------------------------------------


class Angles:
    """Sensors on vanes that follow their pulses, each with its own zero, or do not."""

    def __init__(self, pad: Pad):
        self._outputs = pad.loop.outputs
        self.zero_mdeg = [170_000, -20, 5, 90_000]
        self.share = [1.0] * 4
        self.fails = [False] * 4

    def look(self, steering: Steering, checking: bool) -> None:
        """They need not be read to be known."""

    @property
    def mdeg(self) -> array:
        turned = [(ns - NEUTRAL_NS) * 1000 / NS_PER_DEG for ns in self._outputs.pulse_ns]
        return array("i", [
            p.NO_ANGLE if fails else round(zero + share * angle)
            for zero, share, angle, fails in zip(
                self.zero_mdeg, self.share, turned, self.fails, strict=True)
        ])  # fmt: skip


@pytest.fixture
def seen(pad: Pad) -> Pad:
    pad.node.control.angles = Angles(pad)
    return pad


def test_what_the_sensors_turned_is_told_and_agrees(seen):
    seen.check(-OUT_MDEG)
    seen.watch()
    found = seen.link.checked()
    assert found.turned_mdeg == (-OUT_MDEG,) * 4
    assert found.off == ()


@pytest.mark.parametrize("share", [0.0, -1.0, 0.5, 1.5])
def test_a_vane_that_does_not_follow_turns_the_wrong_way_or_too_far_is_named(seen, share):
    seen.node.control.angles.share[2] = share
    seen.check()
    seen.watch()
    assert seen.link.checked().off == (3,)


def test_the_jam_watch_believes_from_then_on_the_sensors_that_followed_and_no_others(seen):
    words = seen.node.control.words
    assert words[at.WATCH_BELIEVED] == 0
    seen.node.control.angles.share[2] = 0.5
    seen.node.control.angles.fails[3] = True
    seen.check()
    seen.watch()
    assert words[at.WATCH_BELIEVED] == 0b0011


def test_a_sensor_that_fails_is_left_out_and_told(seen):
    seen.node.control.angles.fails[1] = True
    seen.check()
    seen.watch()
    found = seen.link.checked()
    assert found.turned_mdeg == (OUT_MDEG, None, OUT_MDEG, OUT_MDEG)
    assert found.off == ()


def test_a_sensor_that_fails_while_its_vane_is_out_tells_nothing(seen):
    seen.check()
    seen.let_pass(30)
    seen.node.control.angles.fails[0] = True
    seen.watch()
    assert seen.link.checked().turned_mdeg[0] is None


def test_the_limits_are_those_that_are_documented():
    assert (control_check.LEAST_MDEG, control_check.MOST_MDEG) == (2000, 5000)
    assert Steering(TABLES).pulse_ns[0] == NEUTRAL_NS
