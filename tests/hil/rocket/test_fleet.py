"""Flights that fly side by side, the faults in them, and what is kept of them."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import linprog

from hil.campaigns.failures import single_failures
from hil.faults.faults import Fault
from hil.faults.wrong_tables import believed
from hil.flights.fly import Cycle, Flight, fly
from hil.flights.primary_reach import PrimaryReach
from hil.rocket.dispersion import drawn, nominal
from hil.steering.pseudo_inverse import ClippedBlock
from hil.steering.steering_block import Given
from mixer.flight import Steering
from mixer.flight.layout import JAMMED_VANE, NO_THRUST, STALE_DEMAND
from mixer.ground.tables.build import flight_tables
from tests.support.flying import BRIEF, flying_vehicle


class Diary:
    """Writes down one thing in every cycle."""

    def __init__(self, what):
        self.what = what
        self.lines = []

    def __call__(self, cycle: Cycle):
        self.lines.append(np.array(self.what(cycle)))

    @property
    def pages(self):
        return np.array(self.lines)


def commands_of(cycle):
    return np.concatenate([cycle.steering.commands.pulse_ns, cycle.demand_mnm])


def commands_given(cycle):
    """All that the steering of every flight puts out."""
    return np.vstack(list(vars(cycle.steering.commands).values()))


def flown(vehicle, *faults, what=commands_of, seed=0, **options):
    """One nominal flight with faults; its diary and its tally."""
    diary = Diary(what)
    tally = fly(vehicle, [Flight(nominal(vehicle), seed, faults)], listener=diary, **options)
    return diary.pages, tally


# ---- blocks -----------------------------------------------------------------------------------


def test_a_flight_is_the_same_alone_and_in_a_block_bit_for_bit():
    """Every pulse and every demand of every cycle, faults included."""
    vehicle = flying_vehicle(BRIEF)
    faults = (Fault("jam", 2, 2.0, value=12.0), Fault("link-damage", 0, 1.0, value=0.2))
    block = [Flight(drawn(vehicle, seed), seed, faults if seed == 5 else ()) for seed in range(9)]
    together, alone = Diary(commands_of), Diary(commands_of)
    tally = fly(vehicle, block, listener=together)
    tally_alone = fly(vehicle, [block[5]], listener=alone)
    cycles = len(alone.lines)
    assert np.array_equal(together.pages[:cycles, :, 5], alone.pages[:, :, 0])
    assert tally.used.value[5] == tally_alone.used.value[0]
    assert tally.tilt.value[5] == tally_alone.tilt.value[0]


@pytest.mark.usefixtures("campaign")
def test_many_together_fly_as_a_few_do_with_every_failure_among_them():
    """All in one block, and a few at a time: every pulse, moment and flag."""
    vehicle = flying_vehicle(BRIEF)
    block = [
        Flight(drawn(vehicle, seed), seed, (replace(fault, time_s=1.5),))
        for seed, fault in enumerate(single_failures(vehicle))
    ]
    few = 23
    alone, together = [], Diary(commands_given)
    for start in range(0, len(block), few):
        diary = Diary(commands_given)
        fly(vehicle, block[start : start + few], listener=diary)
        alone.append(diary.pages)
    fly(vehicle, block, listener=together)
    assert len(block) > 2 * few
    for start, pages in zip(range(0, len(block), few), alone, strict=True):
        assert np.array_equal(together.pages[: len(pages), :, start : start + few], pages)


def test_the_block_steers_with_the_flight_core_itself():
    """Second route: the demands of a flight, given by hand to one `Steering`."""
    vehicle = flying_vehicle(BRIEF)
    steering = Steering(flight_tables(vehicle))

    def compare(cycle: Cycle):
        steering.demand(*cycle.demand_mnm[:, 0].tolist())
        steering.step(int(cycle.pressure_pa[0]), 10_000)
        commands = cycle.steering.commands
        assert list(steering.pulse_ns) == commands.pulse_ns[:, 0].tolist()
        assert list(steering.moment_mnm) == commands.moment_mnm[:, 0].tolist()

    fly(vehicle, [Flight(nominal(vehicle))], listener=compare)


def test_a_healthy_flight_stays_upright():
    vehicle = flying_vehicle(BRIEF)
    tally = fly(vehicle, [Flight(drawn(vehicle, seed), seed) for seed in range(12)])
    assert tally.attitude_error_deg.max() < 8.0
    assert tally.roll_rate_deg_s.max() < 10.0
    assert tally.margin_percent.min() > 20.0


def test_only_the_time_between_rail_and_tail_off_is_judged():
    vehicle = flying_vehicle(BRIEF)
    seen, tally = flown(vehicle, what=lambda cycle: cycle.glance.counts)
    first = int(np.argmax(seen[:, 0]))
    assert 0.7 < first / 100 < 1.5  # six metres of rail at about 2 g
    assert tally.cycles[0] == 500 - first
    assert not seen[500:].any()


# ---- reach -------------------------------------------------------------------------------------


def test_the_share_of_the_reach_is_that_of_a_linear_program():
    """Second route: scale the demand until it leaves the box, 200 random vehicles and limits."""
    random = np.random.default_rng(7)
    clocking = np.radians([[0.0], [90.0], [180.0], [270.0]]) + random.normal(0, 0.05, (4, 200))
    low = -random.uniform(20.0, 200.0, (4, 200))
    high = random.uniform(20.0, 200.0, (4, 200))
    jammed = random.random((4, 200)) < 0.15
    low[jammed] = high[jammed] = random.uniform(-150.0, 150.0, jammed.sum())
    demand = random.normal(0.0, 150.0, (2, 200))
    used = PrimaryReach(np.cos(clocking), np.sin(clocking)).used(demand, low, high)
    checked = 0
    for n in range(200):
        rows = np.stack([np.cos(clocking[:, n]), np.sin(clocking[:, n])])
        rest = rows @ np.clip(0.0, low[:, n], high[:, n])
        gap = demand[:, n] - rest
        found = linprog(
            [0, 0, 0, 0, -1],
            A_eq=np.column_stack([rows, -gap]),
            b_eq=rest,
            bounds=[*zip(low[:, n], high[:, n], strict=True), (0, None)],
        )
        if jammed[:, n].sum() > 2:
            continue
        checked += 1
        assert used[n] == pytest.approx(1.0 / found.x[4], rel=1e-6)
    assert checked > 150


def test_with_no_vane_free_any_demand_is_out_of_reach():
    clocking = np.radians([[0.0], [90.0], [180.0], [270.0]])
    reach = PrimaryReach(np.cos(clocking), np.sin(clocking))
    none = np.zeros((4, 1))
    assert reach.used(np.array([[1.0], [0.0]]), none, none)[0] == np.inf
    assert reach.used(np.zeros((2, 1)), none, none)[0] == 0.0


# ---- faults ------------------------------------------------------------------------------------


def test_a_jammed_vane_is_driven_there_found_and_worked_round():
    vehicle = flying_vehicle(BRIEF)
    fault = Fault("jam", 3, 2.0, value=-9.0)
    seen, tally = flown(
        vehicle,
        fault,
        what=lambda c: [c.rocket.vane_deg[2, 0], c.steering.commands.flags[0] & JAMMED_VANE],
    )
    assert np.abs(seen[230:, 0] + 9.0).max() < 0.05
    assert not seen[:200, 1].any()
    assert seen[230:, 1].all()
    assert tally.attitude_error_deg[0] < 8.0


def test_without_a_watch_nobody_is_told_of_the_jam():
    vehicle = flying_vehicle(BRIEF)
    seen, _ = flown(
        vehicle,
        Fault("jam", 3, 2.0, value=-9.0),
        what=lambda c: c.steering.commands.flags[0] & JAMMED_VANE,
        watch_jams=False,
    )
    assert not seen.any()


def test_a_jammed_vane_that_slips_is_found_again_where_it_stops():
    vehicle = flying_vehicle(BRIEF)
    seen, _ = flown(
        vehicle,
        Fault("jam", 1, 2.0, value=10.0),
        Fault("jam", 1, 3.0, value=-5.0),
        what=lambda c: c.steering.commands.deflection_mdeg[0, 0],
    )
    assert seen[290] == pytest.approx(10_000, abs=50)
    assert seen[330] == pytest.approx(-5_000, abs=50)


def test_a_vane_that_jams_where_it_stands_stays_there():
    vehicle = flying_vehicle(BRIEF)
    seen, _ = flown(vehicle, Fault("jam-in-place", 4, 2.0), what=lambda c: c.rocket.vane_deg[3, 0])
    assert np.ptp(seen[205:]) < 0.05
    assert np.ptp(seen[100:200]) > 0.2


def test_no_healthy_vane_is_ever_taken_for_jammed():
    """Over 24 dispersed flights, slow and fast servos among them."""
    vehicle = flying_vehicle(BRIEF)
    diary = Diary(lambda c: c.steering.commands.flags & JAMMED_VANE)
    fly(vehicle, [Flight(drawn(vehicle, seed), seed) for seed in range(24)], listener=diary)
    assert not diary.pages.any()


def test_a_silent_link_holds_the_demand_then_neutral_and_is_counted():
    """300 ms without a frame, a timeout of 100 ms: stale for the last 200 ms."""
    vehicle = flying_vehicle(BRIEF)
    seen, tally = flown(
        vehicle,
        Fault("link-dropout", 0, 2.0, lasts_s=0.3),
        what=lambda c: c.steering.commands.flags[0] & STALE_DEMAND,
    )
    stale = np.flatnonzero(seen[100:]) + 100
    assert stale[0] == pytest.approx(210, abs=1)
    assert stale[-1] == pytest.approx(229, abs=1)
    assert tally.frames_lost[0] == 30


@pytest.mark.usefixtures("campaign")
def test_damaged_frames_are_lost_at_their_rate_and_the_same_in_every_run():
    vehicle = flying_vehicle(BRIEF)
    fault = Fault("link-damage", 0, 1.0, lasts_s=4.0, value=0.1)
    first, second = (flown(vehicle, fault, seed=3)[1].frames_lost[0] for _ in range(2))
    other = flown(vehicle, fault, seed=4)[1].frames_lost[0]
    assert first == second != other
    assert first == pytest.approx(40, abs=18)  # three standard deviations of 400 draws


def test_a_lying_pressure_sensor_is_believed_and_a_dead_one_stops_the_steering():
    vehicle = flying_vehicle(BRIEF)
    seen, _ = flown(
        vehicle,
        Fault("pressure", 0, 2.0, lasts_s=1.0, value=0.5),
        Fault("pressure", 0, 4.0, value=0.0),
        what=lambda c: [c.pressure_pa[0], c.steering.commands.flags[0] & NO_THRUST],
    )
    assert seen[250, 0] == 1_000_000
    assert seen[350].tolist() == [2_000_000, 0]
    assert seen[450].tolist() == [0, NO_THRUST]


def test_a_board_that_resets_keeps_its_pulses_then_begins_anew():
    vehicle = flying_vehicle(BRIEF)
    seen, _ = flown(vehicle, Fault("board-reset", 0, 2.0, value=0.5))
    pulses = seen[:, :4, 0]
    assert np.ptp(pulses[200:250], axis=0).max() == 0
    assert (pulses[199] == pulses[200]).all()
    assert np.ptp(pulses[250:300], axis=0).max() > 0


def test_late_cycles_run_that_many_periods_apart():
    vehicle = flying_vehicle(BRIEF)
    seen, _ = flown(vehicle, Fault("late-cycles", 0, 2.0, lasts_s=1.0, value=4.0))
    pulses = seen[:, :4, 0]
    changes = 200 + np.flatnonzero(np.any(np.diff(pulses[200:300], axis=0) != 0, axis=1))
    assert np.all(np.diff(changes) % 4 == 0)
    assert len(changes) > 10


def test_swapped_servos_get_each_others_pulses_and_a_reversed_one_the_mirror_image():
    vehicle = flying_vehicle(BRIEF)
    seen, _ = flown(
        vehicle,
        Fault("swapped-servos", 1, value=2.0),
        Fault("reversed-servo", 4),
        what=lambda c: np.concatenate(
            [c.rocket.vane_deg[:, 0], 1e-3 * c.steering.commands.deflection_mdeg[:, 0]]
        ),
    )
    true, commanded = seen[110:130, :4], seen[110:130, 4:]
    lagging = 1.0  # degrees that a servo may be behind
    assert np.abs(true[:, 0] - commanded[:, 1]).max() < lagging
    assert np.abs(true[:, 1] - commanded[:, 0]).max() < lagging
    assert np.abs(true[:, 3] + commanded[:, 3]).max() < lagging
    assert np.abs(commanded).max() > 3 * lagging


def test_a_slow_servo_slews_at_its_share():
    vehicle = flying_vehicle(BRIEF)
    seen, _ = flown(
        vehicle,
        Fault("slow-servo", 1, 1.0, value=0.02),
        Fault("jam", 1, 2.0, value=15.0),
        what=lambda c: c.rocket.vane_deg[0, 0],
    )
    assert seen[300] - seen[220] == pytest.approx(0.02 * 250.0 * 0.8, rel=0.01)


@pytest.mark.usefixtures("campaign")
def test_a_lost_vane_is_found_by_nobody_but_its_moment_is_gone():
    vehicle = flying_vehicle(BRIEF)
    healthy, _ = flown(vehicle)
    seen, tally = flown(vehicle, Fault("lost-vane", 2, 2.0))
    assert np.array_equal(seen[:200], healthy[:200])
    assert not np.array_equal(seen[200:], healthy[200:])
    assert tally.margin_percent[0] < 100.0


def test_a_wrong_wear_table_is_in_the_beliefs_and_the_true_vehicle_stays_as_it_is():
    vehicle = flying_vehicle()
    wrong = believed(vehicle, [Fault("wear-table", value=2.0)])
    assert wrong.effectiveness(26.0) == pytest.approx([0.86] * 4)
    assert vehicle.effectiveness(26.0) == pytest.approx([0.93] * 4)
    assert flight_tables(wrong).to_bytes() != flight_tables(vehicle).to_bytes()


def test_wrong_tables_are_believed():
    """Clocking counted the wrong way round turns yaw demands over: the flight is lost."""
    vehicle = flying_vehicle(BRIEF)
    _, tally = flown(vehicle, Fault("clocking-sign"))
    assert tally.attitude_error_deg[0] > 30.0


# ---- the rival ----------------------------------------------------------------------------------


def test_the_rival_delivers_what_is_within_reach_as_the_flight_core_does():
    """Where nothing has to give way the pseudo-inverse is the least-effort answer too."""
    vehicle = flying_vehicle(BRIEF)
    rival = ClippedBlock(vehicle, 1)
    steering = Steering(flight_tables(vehicle))
    demand = np.array([[90_000], [-70_000], [4_000]])
    given = Given(demand, np.array([True]), np.array([2_000_000]), np.array([10_000]))
    for _ in range(20):
        steering.demand(*demand[:, 0].tolist())
        steering.step(2_000_000, 10_000)
        rival.cycle(given)
    ours = np.array(steering.deflection_mdeg)
    assert rival.commands.deflection_mdeg[:, 0] == pytest.approx(ours, abs=10)


def test_the_rival_loses_pitch_to_roll_where_the_flight_core_does_not():
    vehicle = flying_vehicle(BRIEF)
    demand = np.array([[800_000], [0], [30_000]])
    given = Given(demand, np.array([True]), np.array([2_000_000]), np.array([10_000]))
    pitch = {}
    for name, block in (("rival", ClippedBlock(vehicle, 1)), ("core", None)):
        if block is None:
            steering = Steering(flight_tables(vehicle))
            for _ in range(40):
                steering.demand(*demand[:, 0].tolist())
                steering.step(2_000_000, 10_000)
            deflection = np.array(steering.deflection_mdeg)
        else:
            for _ in range(40):
                block.cycle(given)
            deflection = block.commands.deflection_mdeg[:, 0]
        force = [vehicle.force_n(i, 1e-3 * deflection[i]) for i in range(4)]
        pitch[name] = 2.3 * float(np.cos(np.radians([45, 135, 225, 315])) @ force)
    assert pitch["core"] == pytest.approx(800.0, abs=5.0)
    assert pitch["rival"] < 700.0
