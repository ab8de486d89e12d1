"""One control cycle after another: what `Steering` does with time, demands, jams and a lost jet."""

import tracemalloc

import numpy as np
import pytest

from mixer.flight import FLAG_NAMES, FlightTables, Steering, TablesError
from mixer.flight import layout as at
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

BAR = 100_000
CYCLE_US = 5000


def steering(**changes) -> Steering:
    return Steering(flight_tables(vehicle(**changes)))


def fly(s: Steering, demand=(0, 0, 0), cycles=1, pressure_pa=20 * BAR, dt_us=CYCLE_US) -> int:
    flags = 0
    for _ in range(cycles):
        assert s.demand(*demand)
        flags = s.step(pressure_pa, dt_us)
    return flags


def test_an_attainable_demand_is_delivered():
    s = steering()
    assert fly(s, (200_000, -100_000, 3_000), cycles=20) == 0
    assert list(s.moment_mnm) == pytest.approx([200_000, -100_000, 3_000], abs=300)


def test_the_moments_told_are_those_the_deflections_give():
    v = vehicle()
    s = Steering(flight_tables(v))
    fly(s, (900_000, 700_000, 20_000), cycles=200)
    angle = np.array(s.deflection_mdeg) / 1000
    effect = v.effectiveness(s.load_us / 1e6)
    force = np.array([effect[i] * v.force_n(i, angle[i]) for i in range(4)])
    phi = np.radians(v.layout.clocking_deg)
    arm = v.lever_arm_m_at(s.time_us / 1e6)
    truth = [arm * force @ np.cos(phi), arm * force @ np.sin(phi), 0.045 * force.sum()]
    count_nm = np.array([arm, arm, 0.045]) * 200 / 4096
    assert np.abs(np.array(s.moment_mnm) / 1000 - truth).max() < 2 * count_nm.max()


def test_pulses_follow_the_servo_line():
    s = steering(servos={"us_per_deg": [10.0, -10.0, 8.0, 12.5]})
    fly(s, (400_000, 100_000, 2_000), cycles=20)
    line_ns = 1_500_000 + np.array([10, -10, 8, 12.5]) * np.array(s.deflection_mdeg)
    assert np.abs(np.array(s.pulse_ns) - line_ns).max() <= 2


def test_no_vane_moves_faster_than_its_servo_slews():
    s = steering(servos={"slew_deg_s": [250.0, 100.0, 33.3, 400.0]})
    most = [1250, 500, 166, 2000]
    before = list(s.deflection_mdeg)
    for demand in ((2_000_000, 0, 0), (-2_000_000, 900_000, 50_000)) * 3:
        for _ in range(7):
            flags = fly(s, demand)
            now = list(s.deflection_mdeg)
            assert all(abs(a - b) <= m for a, b, m in zip(now, before, most, strict=True))
            before = now
    assert flags & at.SLEW_LIMITED


def test_pressure_gain_halves_the_deflection_where_the_jet_doubles():
    low, high = steering(erosion=None), steering(erosion=None)
    fly(low, (150_000, 0, 0), cycles=20, pressure_pa=10 * BAR)
    fly(high, (150_000, 0, 0), cycles=20, pressure_pa=20 * BAR)
    assert low.deflection_mdeg[0] == pytest.approx(2 * high.deflection_mdeg[0], abs=6)


def test_burn_load_scales_with_pressure_to_the_power_of_0_8():
    """Bartz, Jet Propulsion 27, 1957, 49-51 (from memory): ×2 → ×1.741101, ×½ → ×0.574349."""
    for ratio, rate in ((2.0, 1.741101), (1.0, 1.0), (0.5, 0.574349)):
        s = steering()
        s.start(0, 0)
        fly(s, cycles=1, pressure_pa=int(20 * BAR * ratio))  # the trapezium's first side
        before = s.load_us
        fly(s, cycles=1000, pressure_pa=int(20 * BAR * ratio))
        assert (s.load_us - before) / 5e6 == pytest.approx(rate, rel=2e-4)


def test_a_worn_vane_turns_further_for_the_same_moment():
    v = vehicle()
    new, worn = Steering(flight_tables(v)), Steering(flight_tables(v))
    worn.start(0, 26_000_000)
    fly(new, (300_000, 0, 0), cycles=20)
    fly(worn, (300_000, 0, 0), cycles=20)
    assert new.deflection_mdeg[0] / worn.deflection_mdeg[0] == pytest.approx(0.93, abs=0.002)


def test_a_longer_lever_arm_needs_less_deflection():
    s, late = steering(erosion=None), steering(erosion=None)
    late.start(26_000_000, 0)
    fly(s, (300_000, 0, 0), cycles=20)
    fly(late, (300_000, 0, 0), cycles=20)
    assert late.deflection_mdeg[0] / s.deflection_mdeg[0] == pytest.approx(2.3 / 2.7, abs=0.002)


@pytest.mark.parametrize("bad", [(2**31, 0, 0), (0, -(2**31), 0), (0, 0, 2**40), (2**29 + 1, 0, 0),
                                 (float("nan"), 0, 0), (0, float("inf"), 0)])  # fmt: skip
def test_a_bad_demand_is_refused_held_and_flagged_until_it_is_stale(bad):
    s = steering()
    fly(s, (200_000, 0, 0), cycles=20)
    held = list(s.deflection_mdeg)
    for _ in range(19):  # the last good demand was taken one cycle ago; the timeout is 20 cycles
        assert not s.demand(*bad)
        assert s.step(20 * BAR, CYCLE_US) == at.BAD_DEMAND
        assert list(s.deflection_mdeg) == pytest.approx(held, abs=3)
    assert not s.demand(*bad)
    flags = s.step(20 * BAR, CYCLE_US)
    assert flags & at.BAD_DEMAND and flags & at.STALE_DEMAND
    for _ in range(20):
        s.step(20 * BAR, CYCLE_US)
    assert list(s.deflection_mdeg) == [0, 0, 0, 0]


def test_without_demands_the_vanes_return_to_neutral_at_the_slew_rate():
    s = steering()
    fly(s, (700_000, 0, 0), cycles=30)
    for _ in range(19):
        s.step(20 * BAR, CYCLE_US)
    before = np.array(s.deflection_mdeg)
    assert s.step(20 * BAR, CYCLE_US) & at.STALE_DEMAND
    moved = np.abs(before) - np.abs(np.array(s.deflection_mdeg))
    assert moved.max() == 1250
    fly(s, (700_000, 0, 0), cycles=1)
    assert not s.flags & at.STALE_DEMAND


def test_before_the_first_demand_everything_is_neutral_and_stale():
    s = steering()
    assert s.step(20 * BAR, CYCLE_US) == at.STALE_DEMAND
    assert list(s.deflection_mdeg) == [0, 0, 0, 0]
    assert list(s.pulse_ns) == [1_500_000] * 4


def test_without_a_jet_the_vanes_go_to_neutral():
    """At 1 bar of 20 there is still a jet to steer with; just below there is none."""
    s = steering()
    fly(s, (500_000, 0, 0), cycles=20)
    assert not fly(s, (500_000, 0, 0), pressure_pa=100_000) & at.NO_THRUST
    assert fly(s, (500_000, 0, 0), pressure_pa=99_999) & at.NO_THRUST
    fly(s, (500_000, 0, 0), cycles=20, pressure_pa=0)
    assert list(s.deflection_mdeg) == [0, 0, 0, 0]
    assert list(s.moment_mnm) == [0, 0, 0]


def test_the_others_take_over_at_once_when_a_vane_jams():
    s = steering()
    fly(s, (150_000, 100_000, 0), cycles=20)
    s.jam(2, s.deflection_mdeg[1])
    assert fly(s, (-150_000, 100_000, 0), cycles=20) == at.JAMMED_VANE
    assert list(s.moment_mnm)[:2] == pytest.approx([-150_000, 100_000], abs=300)
    s.free(2)
    assert fly(s, (-150_000, 100_000, 0), cycles=20) == 0


def test_a_vane_jammed_far_over_costs_roll_and_neither_pitch_nor_yaw():
    s = steering()
    s.jam(1, 14_000)
    assert fly(s, (0, 0, 0), cycles=30) == at.JAMMED_VANE
    assert list(s.moment_mnm) == pytest.approx([0, 0, 0], abs=300)
    assert s.deflection_mdeg[0] == 14_000
    assert fly(s, (0, 0, -9_000), cycles=30) == at.ROLL_LIMITED | at.JAMMED_VANE
    assert list(s.moment_mnm)[:2] == pytest.approx([0, 0], abs=300)


def test_a_jam_is_held_inside_the_travel():
    s = steering()
    s.jam(3, 90_000)
    fly(s)
    assert s.deflection_mdeg[2] == 15_000


def test_reset_goes_back_to_before_ignition():
    v = vehicle()
    s, fresh = Steering(flight_tables(v)), Steering(flight_tables(v))
    fly(s, (500_000, 300_000, 9_000), cycles=50)
    s.jam(1, 3_000)
    s.reset()
    for demand in ((300_000, 0, 0), (0, 500_000, -9_000)):
        fly(s, demand, cycles=5)
        fly(fresh, demand, cycles=5)
        assert list(s.deflection_mdeg) == list(fresh.deflection_mdeg)
    assert s.load_us == fresh.load_us


def test_a_late_cycle_may_move_the_vanes_further():
    s = steering()
    fly(s, (5_000_000, 0, 0), dt_us=10_000)
    assert 2400 < max(map(abs, s.deflection_mdeg)) <= 2500


def test_flags_have_the_names_in_order():
    bits = [at.PRIMARY_LIMITED, at.ROLL_LIMITED, at.SLEW_LIMITED, at.NO_THRUST, at.STALE_DEMAND,
            at.BAD_DEMAND, at.JAMMED_VANE, at.DOUBTED_PRESSURE]  # fmt: skip
    assert bits == [1 << n for n in range(len(FLAG_NAMES))]


def test_tables_survive_their_bytes():
    tables = flight_tables(vehicle())
    assert FlightTables.from_bytes(tables.to_bytes()).words == tables.words


def test_tables_from_bytes_and_a_steering_on_them_take_the_memory_of_one_copy():
    """A board with the bench's node has room for that in one piece, beside what was received."""
    blob = flight_tables(vehicle()).to_bytes()
    tracemalloc.start()
    flown = Steering(FlightTables.from_bytes(blob), copy=False)
    _, peak_bytes = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert len(blob) < peak_bytes < 1.9 * len(blob)
    assert flown.flags == 0


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda b: b[:5], "no whole header"),
        (lambda b: b"XXXX" + b[4:], "not flight tables"),
        (lambda b: b[:4] + b"\x09\x00" + b[6:], "version 9"),
        (lambda b: b[:-4], "cut short"),
        (lambda b: b[:100] + bytes([b[100] ^ 1]) + b[101:], "damaged"),
    ],
)
def test_spoilt_tables_are_refused_in_words(spoil, says):
    blob = flight_tables(vehicle()).to_bytes()
    with pytest.raises(TablesError, match=says):
        FlightTables.from_bytes(spoil(blob))


def test_authority_that_runs_out_for_slew_is_flagged_so_from_the_first_cycle():
    assert fly(steering(), (3_000_000, 2_000_000, 0)) & at.SLEW_LIMITED
    assert fly(steering(), (0, 0, 40_000)) & at.SLEW_LIMITED
