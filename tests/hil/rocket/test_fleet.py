"""Flights that fly side by side, the faults in them, and what is kept of them."""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.optimize import linprog

from hil.campaigns.failures import single_failures
from hil.faults.faults import Fault
from hil.faults.wrong_tables import believed
from hil.flights.extremes import Tally
from hil.flights.fly import Cycle, Flight, fly
from hil.flights.primary_reach import PrimaryReach
from hil.rocket.dispersion import drawn, nominal
from hil.steering.pseudo_inverse import ClippedBlock
from hil.steering.steering_block import Given
from mixer.flight import Steering
from mixer.flight.layout import JAMMED_VANE, NO_THRUST, STALE_DEMAND
from mixer.ground.tables.build import flight_tables
from tests.support.flying import BRIEF, flying_vehicle

VEHICLE = flying_vehicle(BRIEF)
DISPERSED = 24
FAULTS = {  # of nominal flights, by name
    "sound": (),
    "jam": (Fault("jam", 3, 2.0, value=-9.0),),
    "jam that slips": (Fault("jam", 1, 2.0, value=10.0), Fault("jam", 1, 3.0, value=-5.0)),
    "jam in place": (Fault("jam-in-place", 4, 2.0),),
    "silent link": (Fault("link-dropout", 0, 2.0, lasts_s=0.3),),
    "pressure": (
        Fault("pressure", 0, 2.0, lasts_s=1.0, value=0.5),
        Fault("pressure", 0, 4.0, value=0.0),
    ),
    "reset": (Fault("board-reset", 0, 2.0, value=0.5),),
    "late cycles": (Fault("late-cycles", 0, 2.0, lasts_s=1.0, value=4.0),),
    "wiring": (Fault("swapped-servos", 1, value=2.0), Fault("reversed-servo", 4)),
    "slow servo": (Fault("slow-servo", 1, 1.0, value=0.02), Fault("jam", 1, 2.0, value=15.0)),
    "lost vane": (Fault("lost-vane", 2, 2.0),),
    "wrong tables": (Fault("clocking-sign"),),
}


class Diary:
    """A listener that writes down every cycle; the last axis is the flight's."""

    def __init__(self):
        self.lines = []

    def __call__(self, cycle: Cycle):
        commands = {name: part.copy() for name, part in vars(cycle.steering.commands).items()}
        self.lines.append(
            commands
            | {
                "demand_mnm": np.array(cycle.demand_mnm),
                "pressure_pa": np.array(cycle.pressure_pa),
                "vane_deg": np.array(cycle.rocket.vane_deg),
                "judged": np.array(cycle.glance.counts),
            }
        )

    @property
    def pages(self):
        return {name: np.array([line[name] for line in self.lines]) for name in self.lines[0]}


@dataclass
class Flown:
    """One flight of a block, every cycle by name."""

    pages: dict
    tally: Tally
    place: int = 0

    def __getitem__(self, name):
        return self.pages[name][..., self.place]

    def told(self, name):
        return getattr(self.tally, name)[self.place]


def flown(*faults, seed=0, vehicle=VEHICLE, **options):
    """One nominal flight with faults."""
    diary = Diary()
    tally = fly(vehicle, [Flight(nominal(vehicle), seed, faults)], listener=diary, **options)
    return Flown(diary.pages, tally)


STRUCK = Flight(
    drawn(VEHICLE, 5),
    5,
    (Fault("jam", 2, 2.0, value=12.0), Fault("link-damage", 0, 1.0, value=0.2)),
)


@pytest.fixture(scope="module")
def fleet():
    """All in one block, which takes little longer than one of them: flights with one fault or two
    by its name, dispersed ones without by their seed, and `STRUCK`.
    """
    flights: dict[object, Flight] = {
        name: Flight(nominal(VEHICLE), 0, faults) for name, faults in FAULTS.items()
    }
    flights |= {seed: Flight(drawn(VEHICLE, seed), seed) for seed in range(DISPERSED)}
    flights["struck"] = STRUCK
    diary = Diary()
    tally = fly(VEHICLE, list(flights.values()), listener=diary)
    return {name: Flown(diary.pages, tally, place) for place, name in enumerate(flights)}


# ---- blocks -----------------------------------------------------------------------------------


def test_a_flight_is_the_same_alone_and_in_a_block_bit_for_bit(fleet):
    """Every pulse, demand and vane of every cycle, faults included."""
    alone, together = Diary(), fleet["struck"]
    tally = fly(VEHICLE, [STRUCK], listener=alone)
    cycles = len(alone.lines)
    for name, pages in alone.pages.items():
        assert np.array_equal(together[name][:cycles], pages[..., 0]), name
    assert together.tally.used.value[together.place] == tally.used.value[0]
    assert together.tally.tilt.value[together.place] == tally.tilt.value[0]


@pytest.mark.usefixtures("campaign")
def test_many_together_fly_as_a_few_do_with_every_failure_among_them():
    """All in one block, and a few at a time: every pulse, moment and flag."""
    block = [
        Flight(drawn(VEHICLE, seed), seed, (replace(fault, time_s=1.5),))
        for seed, fault in enumerate(single_failures(VEHICLE))
    ]
    few = 23
    alone, diary = [], Diary()
    fly(VEHICLE, block, listener=diary)
    for start in range(0, len(block), few):
        alone.append(Diary())
        fly(VEHICLE, block[start : start + few], listener=alone[-1])
    assert len(block) > 2 * few
    together = diary.pages
    for start, some in zip(range(0, len(block), few), alone, strict=True):
        for name, pages in some.pages.items():
            whole = together[name][: len(pages), ..., start : start + few]
            assert np.array_equal(whole, pages), name


def test_the_block_steers_with_the_flight_core_itself(fleet):
    """Second route: the demands of a flight, given by hand to one `Steering`."""
    sound, steering = fleet["sound"], Steering(flight_tables(VEHICLE))
    given = zip(sound["demand_mnm"].tolist(), sound["pressure_pa"].tolist(), strict=True)
    for cycle, (demand_mnm, pressure_pa) in enumerate(given):
        steering.demand(*demand_mnm)
        steering.step(pressure_pa, 10_000)
        assert list(steering.pulse_ns) == sound["pulse_ns"][cycle].tolist()
        assert list(steering.moment_mnm) == sound["moment_mnm"][cycle].tolist()
    assert cycle > 500


def test_a_healthy_flight_stays_upright(fleet):
    for seed in range(DISPERSED):
        assert fleet[seed].told("attitude_error_deg") < 8.0
        assert fleet[seed].told("roll_rate_deg_s") < 10.0
        assert fleet[seed].told("margin_percent") > 20.0


def test_only_the_time_between_rail_and_tail_off_is_judged(fleet):
    judged = fleet["sound"]["judged"]
    first = int(np.argmax(judged))
    assert 0.7 < first / 100 < 1.5  # six metres of rail at about 2 g
    assert fleet["sound"].told("cycles") == 500 - first
    assert not judged[500:].any()


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


def test_a_jammed_vane_is_driven_there_found_and_worked_round(fleet):
    jam = fleet["jam"]
    flagged = jam["flags"] & JAMMED_VANE
    assert np.abs(jam["vane_deg"][230:, 2] + 9.0).max() < 0.05
    assert not flagged[:200].any()
    assert flagged[230:].all()
    assert jam.told("attitude_error_deg") < 8.0


def test_without_a_watch_nobody_is_told_of_the_jam():
    """In a burn of 3 s; with the watch it is found within 0.3 s, the test before."""
    brief = flying_vehicle(BRIEF, {"engine.burn_time_s": 3.0})
    jam = flown(*FAULTS["jam"], vehicle=brief, watch_jams=False)
    assert np.abs(jam["vane_deg"][230:, 2] + 9.0).max() < 0.05
    assert not (jam["flags"] & JAMMED_VANE).any()


def test_a_jammed_vane_that_slips_is_found_again_where_it_stops(fleet):
    deflection_mdeg = fleet["jam that slips"]["deflection_mdeg"][:, 0]
    assert deflection_mdeg[290] == pytest.approx(10_000, abs=50)
    assert deflection_mdeg[330] == pytest.approx(-5_000, abs=50)


def test_a_vane_that_jams_where_it_stands_stays_there(fleet):
    vane_deg = fleet["jam in place"]["vane_deg"][:, 3]
    assert np.ptp(vane_deg[205:]) < 0.05
    assert np.ptp(vane_deg[100:200]) > 0.2


def test_no_healthy_vane_is_ever_taken_for_jammed(fleet):
    """Over 24 dispersed flights, slow and fast servos among them."""
    for seed in range(DISPERSED):
        assert not (fleet[seed]["flags"] & JAMMED_VANE).any(), seed


def test_a_silent_link_holds_the_demand_then_neutral_and_is_counted(fleet):
    """300 ms without a frame, a timeout of 100 ms: stale for the last 200 ms."""
    silent = fleet["silent link"]
    stale = np.flatnonzero(silent["flags"][100:] & STALE_DEMAND) + 100
    assert stale[0] == pytest.approx(210, abs=1)
    assert stale[-1] == pytest.approx(229, abs=1)
    assert silent.told("frames_lost") == 30


@pytest.mark.usefixtures("campaign")
def test_damaged_frames_are_lost_at_their_rate_and_the_same_in_every_run():
    fault = Fault("link-damage", 0, 1.0, lasts_s=4.0, value=0.1)
    first, second, other = (flown(fault, seed=seed).told("frames_lost") for seed in (3, 3, 4))
    assert first == second != other
    assert first == pytest.approx(40, abs=18)  # three standard deviations of 400 draws


def test_a_lying_pressure_sensor_is_believed_and_a_dead_one_stops_the_steering(fleet):
    pressure_pa = fleet["pressure"]["pressure_pa"]
    no_thrust = fleet["pressure"]["flags"] & NO_THRUST
    assert pressure_pa[250] == 1_000_000
    assert (pressure_pa[350], no_thrust[350]) == (2_000_000, 0)
    assert (pressure_pa[450], no_thrust[450]) == (0, NO_THRUST)


def test_a_board_that_resets_keeps_its_pulses_then_begins_anew(fleet):
    pulses = fleet["reset"]["pulse_ns"]
    assert np.ptp(pulses[200:250], axis=0).max() == 0
    assert (pulses[199] == pulses[200]).all()
    assert np.ptp(pulses[250:300], axis=0).max() > 0


def test_late_cycles_run_that_many_periods_apart(fleet):
    pulses = fleet["late cycles"]["pulse_ns"]
    changes = 200 + np.flatnonzero(np.any(np.diff(pulses[200:300], axis=0) != 0, axis=1))
    assert np.all(np.diff(changes) % 4 == 0)
    assert len(changes) > 10


def test_swapped_servos_get_each_others_pulses_and_a_reversed_one_the_mirror_image(fleet):
    true = fleet["wiring"]["vane_deg"][110:130]
    commanded = 1e-3 * fleet["wiring"]["deflection_mdeg"][110:130]
    lagging = 1.0  # degrees that a servo may be behind
    assert np.abs(true[:, 0] - commanded[:, 1]).max() < lagging
    assert np.abs(true[:, 1] - commanded[:, 0]).max() < lagging
    assert np.abs(true[:, 3] + commanded[:, 3]).max() < lagging
    assert np.abs(commanded).max() > 3 * lagging


def test_a_slow_servo_slews_at_its_share(fleet):
    vane_deg = fleet["slow servo"]["vane_deg"][:, 0]
    assert vane_deg[300] - vane_deg[220] == pytest.approx(0.02 * 250.0 * 0.8, rel=0.01)


def test_a_lost_vane_is_found_by_nobody_but_its_moment_is_gone(fleet):
    sound, lost = fleet["sound"], fleet["lost vane"]
    for name in ("pulse_ns", "demand_mnm"):
        assert np.array_equal(lost[name][:200], sound[name][:200])
        assert not np.array_equal(lost[name][200:], sound[name][200:])
    assert not (lost["flags"] & JAMMED_VANE).any()
    assert lost.told("margin_percent") < 100.0


def test_a_wrong_wear_table_is_in_the_beliefs_and_the_true_vehicle_stays_as_it_is():
    vehicle = flying_vehicle()
    wrong = believed(vehicle, [Fault("wear-table", value=2.0)])
    assert wrong.effectiveness(26.0) == pytest.approx([0.86] * 4)
    assert vehicle.effectiveness(26.0) == pytest.approx([0.93] * 4)
    assert flight_tables(wrong).to_bytes() != flight_tables(vehicle).to_bytes()


def test_wrong_tables_are_believed(fleet):
    """Clocking counted the wrong way round turns yaw demands over: the flight is lost."""
    assert fleet["wrong tables"].told("attitude_error_deg") > 30.0


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
