"""Healthy vanes are not taken for jammed ones: dispersed flights, servos as bad as they may be."""

import pytest

from hil.campaigns.plans import FLIGHTS_A_BLOCK, Plan, fly_plans, in_blocks
from mixer.ground.vehicle.vehicle import Vehicle, load_vehicle
from tests.support.flying import flying_vehicle

# Servos at the limits that their acceptance asks for.
AT_THEIR_LIMITS = {
    "servos.latency_ms": 20.0,
    "servos.backlash_deg": 0.5,
    "servos.pulse_hz": 50.0,
    "rocket.servo_lag_ms": 30.0,
    "engine.burn_time_s": 8.0,
}
UNSTABLE = {  # no fins, and the air pushes ahead of the centre of gravity
    "rocket.centre_of_pressure_m": 2.9,
    "rocket.fin_area_m2": 0.0,
    "engine.burn_time_s": 8.0,
    "rocket.wind.speed_m_s": 8.0,
}
VEHICLES = {
    "demo": lambda: load_vehicle("mixer/ground/demo/demo.toml"),
    "limits": lambda: flying_vehicle(AT_THEIR_LIMITS),
    "unstable": lambda: flying_vehicle(UNSTABLE),
}


@pytest.mark.usefixtures("campaign")
@pytest.mark.parametrize("name", VEHICLES)
def test_no_vane_of_a_healthy_flight_is_declared_jammed(name: str, size: str) -> None:
    """With --long 10 000 flights of each, some 5 minutes each on two cores."""
    flights = 10_000 if size == "long" else 12
    vehicle: Vehicle = VEHICLES[name]()
    flown = 0
    for plans in in_blocks([Plan(seed) for seed in range(flights)], FLIGHTS_A_BLOCK):
        columns = fly_plans(vehicle, plans)
        assert (columns["jammed_vane_percent"] == 0.0).all(), columns["seed"]
        flown += len(columns["seed"])
    print(f"{name}: {flown} flights, no vane declared")
    assert flown == flights
