"""The sane vehicle with a rocket round it, to fly in tests, and small changes to it."""

import copy
from typing import Any

from mixer.ground.vehicle.vehicle import Vehicle, parse_vehicle
from tests.support.vehicles import SANE, toml_of

FLYING: dict[str, dict[str, Any]] = {
    **SANE,
    "requirements": {
        "attitude_error_deg": 8.0,
        "roll_rate_deg_s": 60.0,
        "margin_percent": 5.0,
    },
    "rocket": {
        "mass_kg": [165.0, 105.0],
        "inertia_roll_kg_m2": [2.6, 2.0],
        "inertia_pitch_kg_m2": [260.0, 200.0],
        "diameter_m": 0.32,
        "centre_of_pressure_m": 1.5,
        "thrust_misalignment_deg": [0.1, -0.1],
    },
}

# Short enough for a test that flies many; its servos so slow that a control cycle is one step.
BRIEF = {
    "engine.burn_time_s": 5.0,
    "control.rate_hz": 100,
    "rocket.wind.gust_time_s": 2.0,
    "rocket.servo_lag_ms": 29.0,
}
# Off the rail and out soon after: for what does not hang on how long a flight is.
TINY = BRIEF | {"engine.burn_time_s": 1.2, "control.rate_hz": 50, "rocket.rail_m": 2.0}
STILL_AIR = {
    "rocket.wind.speed_m_s": 0.0,
    "rocket.wind.gust_m_s": 0.0,
    "rocket.normal_force_per_rad": 0.0,
    "rocket.drag_coefficient": 0.0,
    "rocket.fin_area_m2": 0.0,
}


def flying_text(*changes: dict[str, Any]) -> str:
    """The vehicle file with dotted keys changed; None takes a key away."""
    data: dict[str, Any] = copy.deepcopy(FLYING)
    for change in changes:
        for dotted, value in change.items():
            *tables, key = dotted.split(".")
            table = data
            for name in tables:
                table = table.setdefault(name, {})
            if value is None:
                table.pop(key)
            else:
                table[key] = value
    return toml_of(data)


def flying_vehicle(*changes: dict[str, Any]) -> Vehicle:
    """The vehicle itself, with several sets of changes laid over one another."""
    return parse_vehicle(flying_text(*changes))
