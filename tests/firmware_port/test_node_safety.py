"""What no frame may do to the servos: declared jams, old frames, old tokens, demands while safe."""

import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firmware_port import protocol as p
from firmware_port.bench.motion import Bench
from firmware_port.hardware import TicksClock
from hil.node.node_link import demand_contents, numbers, read_cycle, read_numbers, wire_frame
from mixer.flight import Steering
from mixer.flight import layout as at
from mixer.flight.boxes import step_in
from mixer.ground.tables.build import flight_tables
from tests.support.damage import REFERENCE_PA
from tests.support.node_model import Harness, verdicts
from tests.support.vehicles import vehicle

TABLES = flight_tables(vehicle())
PERIOD_US = 5000
NEUTRAL_NS = 1_500_000
NS_PER_CYCLE = 12_500  # 250 deg/s, 10 µs a degree, 5 ms
LONGEST_PASS_US = 8_000_000


def demand(pitch: int = 200_000) -> bytes:
    return demand_contents(pitch, -100_000, 3000, REFERENCE_PA)


@pytest.fixture
def safe() -> Harness:
    return Harness(TABLES)


@pytest.fixture
def armed() -> Harness:
    return Harness(TABLES).arm()


def let_pass(harness: Harness, cycles: int = 1, us: int = PERIOD_US) -> None:
    for _ in range(cycles):
        harness.send(harness.good(p.PASS, numbers((us,))))


def jam(harness: Harness, vane: int, deflection_mdeg: int) -> str:
    (answer,) = harness.send(harness.good(p.JAM, numbers((vane, deflection_mdeg))))
    return p.VERDICT_NAMES[answer.verdict]


def pulses(harness: Harness) -> list[int]:
    return list(harness.loop.outputs.pulse_ns)


# ---- a declared jam is knowledge, not a command --------------------------------------------------


def test_a_jam_declared_in_the_safe_state_moves_no_servo(safe: Harness) -> None:
    let_pass(safe)
    assert jam(safe, 2, 15_000) == "taken"
    let_pass(safe, 40)
    assert pulses(safe) == [NEUTRAL_NS] * 4
    assert safe.node.control.steering.deflection_mdeg[1] == 15_000  # where it is believed to stand


def test_a_jam_declared_while_safe_is_followed_at_the_slew_rate_once_armed(safe: Harness) -> None:
    jam(safe, 2, 15_000)
    let_pass(safe)
    safe.arm()
    seen = []
    for _ in range(15):
        safe.send(safe.good(p.DEMAND, demand()))
        seen.append(pulses(safe)[1])
    steps = [b - a for a, b in zip([NEUTRAL_NS, *seen], seen, strict=False)]
    assert max(steps) == NS_PER_CYCLE
    assert seen[-1] == NEUTRAL_NS + 150_000


def test_a_jam_declared_in_flight_leads_its_pulse_and_counts_for_the_others_at_once(
    armed: Harness,
) -> None:
    twin = Steering(TABLES)
    for _ in range(40):
        armed.send(armed.good(p.DEMAND, demand()))
        twin.demand(200_000, -100_000, 3000)
        twin.step(REFERENCE_PA, PERIOD_US)
    before = pulses(armed)[2]
    jam(armed, 3, -14_000)
    twin.jam(3, -14_000)
    (answer,) = armed.send(armed.good(p.DEMAND, demand()))
    twin.demand(200_000, -100_000, 3000)
    twin.step(REFERENCE_PA, PERIOD_US)
    told = read_cycle(answer.contents)
    assert told.deflection_mdeg == tuple(twin.deflection_mdeg)
    assert told.pulse_ns[2] == before - NS_PER_CYCLE
    assert told.pulse_ns == tuple(pulses(armed))  # the answer tells what goes out
    assert told.pulse_ns[0] == twin.pulse_ns[0]


def test_a_jammed_vane_keeps_its_pulse_when_the_node_is_made_safe(armed: Harness) -> None:
    jam(armed, 1, 6_000)
    let_pass(armed, 10)
    armed.disarm()
    let_pass(armed, 40)
    assert pulses(armed) == [NEUTRAL_NS + 60_000, *[NEUTRAL_NS] * 3]


def test_a_vane_freed_in_the_safe_state_goes_to_neutral_at_the_slew_rate(armed: Harness) -> None:
    jam(armed, 1, 6_000)
    let_pass(armed, 10)
    armed.disarm()
    let_pass(armed)
    armed.send(armed.good(p.FREE, numbers((1,))))
    let_pass(armed)
    assert pulses(armed)[0] == NEUTRAL_NS + 60_000 - NS_PER_CYCLE
    let_pass(armed, 10)
    assert pulses(armed) == [NEUTRAL_NS] * 4


def test_a_jam_declared_and_taken_back_in_the_safe_state_moves_no_servo(safe: Harness) -> None:
    jam(safe, 4, -15_000)
    let_pass(safe, 2)
    safe.send(safe.good(p.FREE, numbers((4,))))
    for _ in range(20):
        let_pass(safe)
        assert pulses(safe) == [NEUTRAL_NS] * 4


def test_a_jam_taken_back_on_the_way_never_makes_a_pulse_jump(armed: Harness) -> None:
    """The harness holds every pulse against the slew."""
    for vane, place in ((1, 15_000), (1, -15_000), (2, 9_000), (1, 3_000)):
        jam(armed, vane, place)
        armed.send(armed.good(p.DEMAND, demand()))
        armed.send(armed.good(p.FREE, numbers((vane,))))
        for _ in range(3):
            armed.send(armed.good(p.DEMAND, demand(-900_000)))


def test_a_bench_begins_where_the_pulses_are_and_not_where_a_vane_is_declared() -> None:
    harness = Harness(TABLES)
    bench = Bench(harness.node)
    jam(harness, 2, 12_000)
    let_pass(harness, 4)
    assert bench.begin() == p.TAKEN
    assert list(bench.now) == [NEUTRAL_NS] * 4


@given(rate=st.integers(1_000, 2_000_000), dt=st.integers(0, 2_000_000))
def test_the_slew_of_a_led_pulse_is_that_of_the_flight_core(rate: int, dt: int) -> None:
    dt = min(dt, at.LONGEST_DT_US)
    assert step_in(rate // 1000, rate % 1000, dt) == rate * dt // 1_000_000


# ---- old frames ----------------------------------------------------------------------------------

IN_ORDER_ONLY = {
    "demand": (p.DEMAND, demand()),
    "jam": (p.JAM, numbers((2, 3000))),
    "free": (p.FREE, numbers((2,))),
    "disarm": (p.DISARM, numbers((0,))),
    "burn": (p.BURN, numbers((5_000_000, 5_000_000), 4)),
}


@pytest.mark.parametrize("what", IN_ORDER_ONLY)
@pytest.mark.parametrize("state", ["safe", "link-lost"])
@pytest.mark.parametrize("behind", [0, 1, 100, 65536 - p.AHEAD - 1])
def test_a_frame_that_is_old_or_repeated_is_refused_in_every_state(
    what: str, state: str, behind: int
) -> None:
    harness = Harness(TABLES)
    harness.sequence = 30_000
    harness.send(harness.good(p.DEMAND, demand()))
    if state == "link-lost":
        harness.arm()
        let_pass(harness, 30)
    harness.send(harness.good(p.JAM, numbers((1, 0))))
    last = harness.sequence
    control = harness.node.control
    before = control.state, control.steering.jammed, control.steering.load_us
    kind, contents = IN_ORDER_ONLY[what]
    answers = harness.send(wire_frame(kind, (last - behind) % 65536, contents))
    assert verdicts(answers)[-1] == ("repeated" if behind == 0 else "stale")
    steering = control.steering
    assert (control.state, steering.jammed) == before[:2]
    assert steering.load_us < before[2] + 1_000_000
    assert steering.deflection_mdeg[1] == 0


def test_a_node_that_has_heard_nothing_yet_takes_the_first_number_as_it_comes(
    safe: Harness,
) -> None:
    safe.sequence = 51_000
    assert jam(safe, 2, 3_000) == "taken"


@pytest.mark.parametrize("kind", [p.ARM, p.DISARM])
def test_a_flight_computer_that_starts_anew_begins_its_numbers_with_a_token(kind: int) -> None:
    harness = Harness(TABLES)
    harness.sequence = 30_000
    harness.send(harness.good(p.DEMAND, demand()))
    harness.sequence = 0
    assert jam(harness, 2, 3_000) == "stale"
    (answer,) = harness.send(harness.good(p.ASK))
    assert verdicts(harness.send(harness.good(kind, answer.contents))) == ["taken"]
    assert jam(harness, 2, 3_000) == "taken"


# ---- old tokens, and ticks that wrap -------------------------------------------------------------


@pytest.mark.parametrize("since_us", [p.ASK_US, 540_000_000, 2**30 - 1, 2**30, 2**30 + 5000, 2**32])
@pytest.mark.parametrize("kind", [p.ARM, p.DISARM])
def test_a_token_is_never_good_again_however_far_the_ticks_have_gone(
    armed: Harness, kind: int, since_us: int
) -> None:
    if kind == p.ARM:
        armed.disarm()
    safe = armed.node.control.state == p.SAFE
    (answer,) = armed.send(armed.good(p.ASK))
    let_pass(armed, since_us // LONGEST_PASS_US, LONGEST_PASS_US)
    let_pass(armed, 1, since_us % LONGEST_PASS_US or 1)
    assert verdicts(armed.send(armed.good(kind, answer.contents)))[-1] == "wrong-token"
    assert (armed.node.control.state == p.SAFE) == safe


def test_a_token_is_good_until_the_cycles_have_counted_its_time(safe: Harness) -> None:
    (answer,) = safe.send(safe.good(p.ASK))
    let_pass(safe, 1, p.ASK_US - 1)
    assert verdicts(safe.send(safe.good(p.ARM, answer.contents))) == ["taken"]


@pytest.mark.parametrize("then", [0, 1, 2**29, 2**30 - 1])
@pytest.mark.parametrize("gap", [0, 1, 5000, 2**29 - 1, 2**29, 540_000_000, 2**30 - 1])
def test_a_clock_of_ticks_never_tells_a_negative_time(
    monkeypatch: pytest.MonkeyPatch, then: int, gap: int
) -> None:
    now = (then + gap) & 0x3FFFFFFF
    monkeypatch.setattr(time, "ticks_us", lambda: now, raising=False)
    clock = TicksClock()
    assert clock.between(then, clock.now()) == gap
    assert clock.since(then) == gap


# ---- "taken" means acted on ----------------------------------------------------------------------


def demand_answer(harness: Harness) -> str:
    """What its cycle says to a demand that waits."""
    harness.loop.clock.advance(PERIOD_US)
    harness.loop.turn()
    heard = [answer for answer in harness._heard() if answer.kind == p.DEMAND]
    return p.VERDICT_NAMES[heard[-1].verdict]


def waiting_demand(harness: Harness) -> None:
    """A demand that is handled, and whose cycle is not due yet."""
    harness.node.control.at_once = False
    harness.loop.clock.pace_us = 1
    assert harness.send(harness.good(p.DEMAND, demand(900_000))) == []


def test_a_demand_from_before_arming_is_not_called_taken(safe: Harness) -> None:
    (token,) = safe.send(safe.good(p.ASK))
    waiting_demand(safe)
    safe.send(safe.good(p.ARM, token.contents))
    assert demand_answer(safe) == "not-armed"
    assert pulses(safe) == [NEUTRAL_NS] * 4


def test_a_demand_from_before_disarming_is_not_called_taken_and_not_flown_after_arming_again(
    armed: Harness,
) -> None:
    (token,) = armed.send(armed.good(p.ASK))
    waiting_demand(armed)
    armed.send(armed.good(p.DISARM, numbers((0,))))
    armed.send(armed.good(p.ARM, token.contents))
    assert armed.node.control.state == p.ARMED
    assert demand_answer(armed) == "not-armed"
    assert pulses(armed) == [NEUTRAL_NS] * 4


def test_a_demand_taken_while_armed_is_called_taken(armed: Harness) -> None:
    waiting_demand(armed)
    assert demand_answer(armed) == "taken"
    assert pulses(armed) != [NEUTRAL_NS] * 4


def test_demands_that_nothing_acted_on_are_counted(safe: Harness) -> None:
    for _ in range(3):
        safe.send(safe.good(p.DEMAND, demand()))
    (answer,) = safe.send(safe.good(p.COUNTERS, numbers((p.NOT_ARMED,))))
    assert read_numbers(answer.contents)[0] == 3


# ---- ceilings ------------------------------------------------------------------------------------


def test_every_counter_stops_at_what_an_answer_can_tell(safe: Harness) -> None:
    for which in range(p.COUNTER_COUNT):
        safe.node.control.counters[which] = p.COUNTER_MOST
    safe.node.receiver.damaged = p.COUNTER_MOST
    safe.send(safe.good(p.DEMAND, demand()))
    safe.send(safe.good(p.JAM, b"")[:-3] + b"\x55\0")
    let_pass(safe)
    assert set(safe.node.control.counters) == {p.COUNTER_MOST}
    assert safe.node.receiver.damaged == p.COUNTER_MOST


@pytest.mark.parametrize(("ahead", "verdict"), [(p.AHEAD, "taken"), (p.AHEAD + 1, "stale")])
def test_a_number_may_run_ahead_by_so_much_and_no_more(
    safe: Harness, ahead: int, verdict: str
) -> None:
    jam(safe, 1, 0)
    safe.sequence += ahead - 1
    assert jam(safe, 1, 0) == verdict
