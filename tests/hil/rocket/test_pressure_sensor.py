"""The simulated pressure sensors, waiting on the pad, and flights that outlive their sensor."""

from dataclasses import replace
from importlib.resources import files

import numpy as np
import pytest

from hil.campaigns.plans import fly_plans
from hil.commands.sensor_campaign import (
    ENGINE_WAYS,
    TIMES,
    WAYS,
    compare,
    compare_engine,
    lost_of,
    plans_of,
)
from hil.faults.faults import Fault
from hil.faults.kinds import KINDS
from hil.faults.pressure_sensor import PressureSensors
from hil.faults.text import fault_text, parse_fault
from hil.flights.fly import Flight, fly, pad_steps_us
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink
from hil.rocket.dispersion import drawn, nominal
from mixer.flight.layout import PRESSURE_MOST_PA
from mixer.ground.vehicle.vehicle import parse_vehicle
from tests.support.dictation import dictated, repeat
from tests.support.flying import BRIEF, flying_vehicle

REFERENCE_PA = 2_000_000.0
DOUBTING = {"engine.believed_pressure": [0.5, 1.5]}
# With so little authority to spare, 1.4 times the true pressure, believed, loses 2 of 500 flights.
CLOSE = {"engine.believed_pressure": [0.75, 1.25]}
UNSTABLE = {"rocket.centre_of_pressure_m": 3.5}  # lost within 3 s unsteered
PERIOD_S = 0.005


def read(sensors: PressureSensors, seconds: float, true_pa: float = REFERENCE_PA) -> np.ndarray:
    times_s = np.arange(round(seconds / PERIOD_S)) * PERIOD_S
    return np.array([sensors.read(np.array([true_pa]), t, PERIOD_S)[0] for t in times_s])


@pytest.fixture
def one() -> PressureSensors:
    return PressureSensors([7], REFERENCE_PA)


def test_a_sound_sensor_reads_the_truth(one):
    assert set(read(one, 1.0)) == {2_000_000}


def test_scale_bias_and_full_scale(one):
    one.scale[0], one.bias[0] = 0.5, 0.1
    assert set(read(one, 0.1)) == {1_200_000}
    one.full[0] = True
    assert set(read(one, 0.1)) == {PRESSURE_MOST_PA}


def test_no_reading_is_below_nothing_or_above_what_a_frame_carries(one):
    one.bias[0] = -2.0
    assert set(read(one, 0.1)) == {0}
    one.bias[0], one.scale[0] = 0.0, 14.5
    assert set(read(one, 0.1)) == {PRESSURE_MOST_PA}


def test_noise_has_its_standard_deviation_and_is_the_flight_s_own(one):
    one.noise[0] = 0.01
    seen = read(one, 20.0)
    assert seen.std() == pytest.approx(20_000, rel=0.05)
    assert seen.mean() == pytest.approx(2_000_000, abs=1500)
    again = PressureSensors([7], REFERENCE_PA)
    again.noise[0] = 0.01
    assert np.array_equal(read(again, 20.0), seen)


def test_a_slow_sensor_has_63_percent_of_a_step_after_its_time_constant(one):
    one.lag_s[0] = 0.2
    seen = read(one, 0.2)
    assert seen[-1] / REFERENCE_PA == pytest.approx(1 - np.exp(-1.0), abs=1e-6)


def test_a_frozen_sensor_reads_what_it_read_last(one):
    read(one, 0.1, 1_700_000)
    one.freeze(0)
    assert set(read(one, 0.1)) == {1_700_000}


@pytest.mark.parametrize("hz", [1.0, 5.0, 20.0, 50.0])
def test_an_intermittent_sensor_is_off_half_of_the_time_so_many_times_a_second(one, hz):
    one.off_hz[0] = hz
    off = read(one, 2.0) == 0
    assert off[0] and off.mean() == pytest.approx(0.5, abs=0.02)
    assert np.count_nonzero(np.diff(off.astype(int)) == -1) == pytest.approx(2 * hz, abs=1)


def test_every_way_in_which_a_sensor_fails_can_be_written_and_read():
    assert {fault.kind for fault in WAYS} | {
        "pressure-noise",
        "pressure-bias",
        "pressure-slow",
    } == {name for name, kind in KINDS.items() if kind.part == "sensor"}
    for fault in WAYS:
        assert parse_fault(fault_text(replace(fault, time_s=2.0))) == replace(fault, time_s=2.0)


# ---- on the pad ----------------------------------------------------------------------------------


def commands(vehicle, wait_s: float, *faults: Fault) -> np.ndarray:
    seen = []

    def listen(cycle):
        told = cycle.steering.commands
        seen.append([*told.pulse_ns[:, 0], *told.moment_mnm[:, 0], told.flags[0]])

    fly(vehicle, [Flight(drawn(vehicle, 3), 3, faults)], listener=listen, wait_s=wait_s)
    return np.array(seen)


def test_from_ignition_on_every_integer_is_the_same_however_long_the_pad_lasted():
    vehicle = flying_vehicle(BRIEF, DOUBTING, {"engine.burn_time_s": 2.5})
    wanted = commands(vehicle, 0.0)
    assert np.ptp(wanted[:, :4], axis=0).min() > 0
    for wait_s in (30.0, 3600.0):
        assert np.array_equal(commands(vehicle, wait_s), wanted), wait_s


def test_a_wait_lasts_as_long_as_it_says():
    for wait_s in (0.0, 0.5, 30.0, 3600.0):
        assert sum(pad_steps_us(wait_s, 5000)) == round(1e6 * wait_s)


@pytest.mark.usefixtures("campaign")
def test_a_sensor_that_reads_just_below_a_jet_for_a_minute_changes_nothing():
    vehicle = flying_vehicle(BRIEF, DOUBTING)
    fault = Fault("pressure-bias", value=0.04)
    assert np.array_equal(commands(vehicle, 60.0, fault), commands(vehicle, 0.0, fault))


def test_a_node_gives_the_same_integers_from_the_pad_through_a_dead_sensor():
    vehicle = flying_vehicle(BRIEF, DOUBTING)
    faults = (
        Fault("pressure", time_s=2.0, lasts_s=1.0, value=0.0),
        Fault("pressure-intermittent", time_s=3.5, value=20.0),
        Fault("pressure-noise", value=0.02),
    )
    record = dictated(vehicle, Flight(nominal(vehicle), 1, faults))
    assert repeat(vehicle, record, NodeLink(Loopback())) > 500


# ---- outliving it --------------------------------------------------------------------------------


def test_an_unstable_vehicle_outlives_its_sensor_in_whichever_way_it_fails():
    vehicle = flying_vehicle(BRIEF, DOUBTING, UNSTABLE)
    healthy = plans_of(vehicle, [1])[0]
    plans = [replace(healthy, faults=(replace(way, time_s=1.3),)) for way in WAYS]
    error_deg = fly_plans(vehicle, plans)["attitude_error_deg"]
    lost = [str(way) for way, error in zip(WAYS, error_deg, strict=True) if error >= 20]
    assert not lost


def test_ways_and_times_are_drawn_by_the_seed_and_all_of_them_come():
    vehicle = flying_vehicle(BRIEF)
    plans = plans_of(vehicle, range(1500))
    assert {replace(plan.faults[0], time_s=0.0) for plan in plans} == set(WAYS)
    assert len({plan.faults[0].time_s for plan in plans}) == TIMES
    assert plans_of(vehicle, [7]) == [plans[7]]


def test_a_vehicle_that_believes_whatever_is_read_is_lost_by_its_sensor():
    """So that the campaign can fail."""
    credulous = flying_vehicle(BRIEF, UNSTABLE)
    dead = [replace(p, faults=(Fault("pressure", time_s=1.0),)) for p in plans_of(credulous, [1])]
    assert len(lost_of(credulous, dead)) == 1


DEMO = (files("mixer.ground") / "demo" / "demo.toml").read_text(encoding="utf-8")
BRIEF_DEMO = (  # a control cycle is one step, as in `BRIEF`
    DEMO.replace("burn_time_s = 26.0", "burn_time_s = 4.0")
    .replace("rate_hz = 200", "rate_hz = 100")
    .replace("servo_lag_ms = 20.0", "servo_lag_ms = 29.0")
)
VEHICLES = {  # as they are, and for a short run
    "demo": (parse_vehicle(DEMO), parse_vehicle(BRIEF_DEMO)),
    "flying": (flying_vehicle(DOUBTING), flying_vehicle(BRIEF, DOUBTING)),
    "unstable": (
        flying_vehicle(BRIEF, UNSTABLE, CLOSE, {"rocket.servo_lag_ms": 20.0}),
        flying_vehicle(BRIEF, UNSTABLE, CLOSE),
    ),
}


@pytest.mark.parametrize("name", VEHICLES)
def test_no_flight_is_lost_that_a_true_sensor_keeps(name: str, size: str) -> None:
    if size == "laptop" and name == "flying":
        pytest.skip("the unstable one is this vehicle with less to spare; with --campaigns")
    count = {"laptop": 3, "ci": 60, "long": 500}[size]
    each_way = size == "long"  # 5 500 flights of each vehicle
    found = compare(VEHICLES[name][size == "laptop"], range(1, 1 + count), each_way)
    assert found.flights == count * (len(WAYS) if each_way else 1)
    assert found.lost_by_the_sensor == ()


@pytest.mark.parametrize("name", VEHICLES)
def test_an_engine_that_is_late_chuffs_or_goes_out_loses_no_flight_more_than_before(
    name: str, size: str
) -> None:
    """Than where every reading counts as it stands: 500 flights of each of seven ways."""
    if size != "long":
        pytest.skip("takes minutes: with --long; a few of them: tests/hil/engine/test_engine.py")
    found = compare_engine(VEHICLES[name][0], range(1, 501))
    assert found.flights == 500 * len(ENGINE_WAYS)
    assert found.lost_by_the_sensor == ()
    print(f"{name}: {found.flights} flights, {len(found.lost_failing)} lost, as before")
