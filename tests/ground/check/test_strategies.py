"""The public strategies: what they make, what that covers, and how a team uses them."""

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, assume, find, given, settings
from hypothesis import strategies as st
from hypothesis.errors import NoSuchExample

from mixer.ground.authority.reach import reach
from mixer.ground.check.promises import limits
from mixer.ground.check.recovery import within_reach
from mixer.ground.check.smallest import simpler_numbers, smallest
from mixer.ground.check.steering_on_trial import SteeringOnTrial
from mixer.ground.check.strategies import (
    cycles,
    demands,
    flights,
    jams,
    pressures,
    time_steps,
    whole,
)
from mixer.ground.check.trial_flight import TrialCycle, TrialFlight
from mixer.ground.tables.scales import NO_THRUST_RATIO
from mixer.ground.vehicle.vehicle import Vehicle
from tests.support.vehicles import vehicle

# Not by chance: what is rare in a strategy is not found in every 500 draws.
QUIET = settings(
    max_examples=500, database=None, deadline=None, phases=[Phase.generate], derandomize=True
)
ONE_SIDED = vehicle(
    vanes={"travel_deg": [[-15.0, 15.0], [0.0, 12.0], [-9.5, 15.0], [-15.0, 4.0]]},
    servos={"slew_deg_s": [250.0, 100.0, 60.0, 400.0]},
)


@pytest.fixture(scope="module")
def trial() -> SteeringOnTrial:
    """The one-sided vehicle, with the proof of its word bounds left out: not looked at here."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("mixer.ground.kernel_code.bounds.bound_cycle", lambda words: None)
        return SteeringOnTrial(ONE_SIDED)


def is_made(strategy: st.SearchStrategy, wanted: Callable) -> bool:
    try:
        find(strategy, wanted, settings=QUIET)
    except NoSuchExample:
        return False
    return True


def share(demand: tuple[int, int, int]) -> float:
    return float(reach(ONE_SIDED, 0.0).primary_share(demand[0] / 1000, demand[1] / 1000))


@pytest.mark.parametrize(
    ("kind", "wanted"),
    [
        ("well inside", lambda demand: 0.1 < share(demand) < 0.9),
        ("near the edge", lambda demand: 0.97 < share(demand) < 1.03),
        ("beyond", lambda demand: 2 < share(demand) < 30),
        ("far beyond", lambda demand: 40 < share(demand) < 1e4),
        ("out of range", lambda demand: max(map(abs, demand)) >= 2**31),
        ("much roll and little else", lambda demand: abs(demand[2]) > 20_000 and share(demand) < 1),
    ],
)
def test_demands_are_of_every_kind(kind: str, wanted: Callable) -> None:
    assert is_made(demands(ONE_SIDED), wanted), kind


@given(pressures(ONE_SIDED))
@settings(max_examples=300)
def test_pressures_are_from_none_to_twice_the_reference(pressure_pa: int) -> None:
    assert 0 <= pressure_pa <= 4_000_000


def test_pressures_come_close_to_both_sides_of_the_weakest_jet() -> None:
    weakest_pa = NO_THRUST_RATIO * 2_000_000
    assert is_made(pressures(ONE_SIDED), lambda pa: weakest_pa - 10 < pa < weakest_pa)
    assert is_made(pressures(ONE_SIDED), lambda pa: weakest_pa < pa < weakest_pa + 10)


@given(jams(ONE_SIDED))
@settings(max_examples=300)
def test_jams_stand_within_the_vanes_own_travel(jam: tuple[int, int]) -> None:
    vane, stands_mdeg = jam
    low, high = ONE_SIDED.vanes.travel_deg[vane - 1] * 1000
    assert low <= stands_mdeg <= high


@given(time_steps(ONE_SIDED))
@settings(max_examples=300)
def test_time_steps_are_never_negative_and_at_most_a_second(dt_us: int) -> None:
    assert 0 <= dt_us <= 1_000_000


@given(st.integers(-(10**7), 10**7), st.integers(0, 10**7), st.data())
@settings(max_examples=200)
def test_whole_numbers_stay_within_their_range(least: int, span: int, data: st.DataObject) -> None:
    assert least <= data.draw(whole(least, least + span)) <= least + span


def test_whole_numbers_reach_all_over_a_wide_range() -> None:
    """As many as make no difference below a fifth of it would leave worn vanes untried."""
    drawn: list[int] = []

    @given(whole(0, 10_000_000))
    @settings(max_examples=400, database=None)
    def draw(number: int) -> None:
        drawn.append(number)

    draw()
    assert np.mean(np.array(drawn) > 2_000_000) > 0.25
    assert np.mean(np.array(drawn) > 8_000_000) > 0.05


@pytest.mark.parametrize(
    ("kind", "wanted"),
    [
        ("silent", lambda cycle: cycle.demand_mnm is None),
        ("late", lambda cycle: (cycle.dt_us or 0) > 50_000),
        ("no jet", lambda cycle: cycle.pressure_pa == 0),
        ("jammed", lambda cycle: cycle.jam is not None),
        ("freed", lambda cycle: cycle.free is not None),
    ],
)
def test_cycles_are_of_every_kind(kind: str, wanted: Callable) -> None:
    assert is_made(cycles(ONE_SIDED), wanted), kind


def test_flights_begin_at_ignition_and_late_and_worn() -> None:
    for wanted in (
        lambda flight: flight.time_us == flight.load_us == 0,
        lambda flight: flight.time_us > 20_000_000,
        lambda flight: flight.load_us > 40_000_000,
        lambda flight: len(flight.cycles) >= 10,
    ):
        assert is_made(flights(ONE_SIDED), wanted)


@given(flights(ONE_SIDED, most_cycles=3))
@settings(max_examples=100)
def test_flights_have_no_more_cycles_than_asked_for(flight: TrialFlight) -> None:
    assert 1 <= len(flight.cycles) <= 3


@given(flights(ONE_SIDED))
@settings(max_examples=100, deadline=None)
def test_a_team_can_try_a_promise_of_its_own_choice(
    trial: SteeringOnTrial, flight: TrialFlight
) -> None:
    limits(trial, flight)


@given(flights(ONE_SIDED))
@settings(max_examples=100)
def test_a_flight_written_down_is_the_same_flight(flight: TrialFlight) -> None:
    assert eval(str(flight), {"TrialFlight": TrialFlight, "TrialCycle": TrialCycle}) == flight


@given(flights(ONE_SIDED))
@settings(max_examples=60, deadline=None)
def test_the_same_flight_is_flown_the_same_way_again(
    trial: SteeringOnTrial, flight: TrialFlight
) -> None:
    assert trial.fly(flight) == trial.fly(flight)


@given(flights(ONE_SIDED))
@settings(max_examples=60, deadline=None)
def test_the_demand_of_the_calm_lies_halfway_inside(
    trial: SteeringOnTrial, flight: TrialFlight
) -> None:
    one = trial.fly(flight)[-1]
    pitch, yaw, roll = np.array(within_reach(trial, one)) / 1000
    reached = reach(ONE_SIDED, one.time_us / 1e6, one.load_us / 1e6)
    assert reached.primary_share(pitch, yaw) < 0.51
    least, most = reached.roll_range_nm(pitch, yaw)
    assert least + 0.24 * (most - least) < roll < most - 0.24 * (most - least)


# ---- the smallest flight ----


def turns_late(flight: TrialFlight) -> bool:
    """More than 12345 mN·m of yaw, after a jam of vane 3."""
    seen = False
    for cycle in flight.cycles:
        seen |= cycle.jam is not None and cycle.jam[0] == 3
        if seen and cycle.demand_mnm is not None and cycle.demand_mnm[1] > 12_345:
            return True
    return False


@given(flights(ONE_SIDED))
@settings(  # not one flight in five turns late
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.filter_too_much]
)
def test_nothing_that_does_not_matter_is_left_in_the_smallest_flight(flight: TrialFlight) -> None:
    assume(turns_late(flight))
    found = smallest(flight, turns_late)
    assert turns_late(found)
    assert len(found.cycles) <= 2 and found.time_us == found.load_us == 0
    assert {one.demand_mnm for one in found.cycles if one.demand_mnm} <= {
        (0, yaw, 0) for yaw in range(12_346, 14_000)
    }
    assert all(one.dt_us is one.pressure_pa is one.free is None for one in found.cycles)


@given(st.integers(-(2**31), 2**31))
@settings(max_examples=300)
def test_simpler_numbers_are_never_farther_from_0_and_never_the_same(number: int) -> None:
    for simpler in simpler_numbers(number):
        assert abs(simpler) < abs(number) or simpler == -number > 0


def test_a_flight_that_cannot_be_simpler_stays_as_it_is() -> None:
    flight = TrialFlight((TrialCycle(),))
    assert smallest(flight, lambda other: True) == flight


def test_every_strategy_takes_a_vehicle_as_it_was_loaded() -> None:
    assert isinstance(ONE_SIDED, Vehicle)
    for strategy in (demands, pressures, time_steps, jams, cycles, flights):
        assert is_made(strategy(vehicle()), lambda made: True)
