"""What is really so in a flight, as against what the vehicle file says: one column per flight.

A nominal flight has the vehicle file's own numbers. A dispersed one draws every difference from
the standard deviations of [rocket.dispersion], by its seed alone: the same seed is the same
flight, whoever flies beside it.
"""

from dataclasses import dataclass, fields

import numpy as np

from hil.air.turbulence import series
from hil.engine.burn import LOAD_EXPONENT
from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.vehicle.vehicle import Vehicle

MOST_DEVIATIONS = 3.0  # draws farther out are held here: a vehicle that bad fails its inspection


@dataclass(frozen=True)
class Truth:
    """Shapes: (1, N), or (2, N) for y and z, or (4, N) for the vanes. `alike` is 1 where the
    vehicle file is right."""

    thrust_alike: Array
    load_alike: Array  # burn load against what the nominal pressure would give
    burn_time_alike: Array
    mass_alike: Array
    inertia_alike: Array
    cg_shift_m: Array
    cg_offset_m: Array  # (2, N)
    misalignment_rad: Array  # (2, N), about pitch and yaw
    aerodynamics_alike: Array
    cp_shift_m: Array
    fin_cant_rad: Array
    wind_m_s: Array  # (2, N), along earth y and z, 10 m above the ground
    gust_m_s: Array  # (2, N)
    gust_time_s: Array
    vane_force_alike: Array  # (4, N), as are the next six
    vane_wear_alike: Array
    cos_clocking: Array
    sin_clocking: Array
    vane_angle_deg: Array  # true angle less what the servo table says
    servo_slew_alike: Array
    servo_lag_alike: Array
    sensor_alike: Array
    frame_phase_us: Array  # when the first pulse leaves the board
    turbulence: Array  # (2 * POINTS, N): see hil/air/turbulence.py; (0, N) where there is none

    @property
    def flights(self) -> int:
        """How many flights stand side by side."""
        return self.thrust_alike.shape[1]


def side_by_side(truths: list[Truth]) -> Truth:
    """Several flights as one block, in the order given."""
    columns = {
        field.name: np.concatenate([getattr(truth, field.name) for truth in truths], axis=1)
        for field in fields(Truth)
    }
    return Truth(**columns)


def nominal(vehicle: Vehicle) -> Truth:
    """One flight in which the vehicle file is right in everything."""
    return _flight(vehicle, _NoDraws())


def drawn(vehicle: Vehicle, seed: int) -> Truth:
    """One flight whose differences from the vehicle file are drawn by `seed`."""
    return _flight(vehicle, _Draws(seed))


class _NoDraws:
    """Draws of a flight without dispersion."""

    def deviation(self, rows: int = 1) -> Array:
        return np.zeros((rows, 1))

    def between(self, low: float, high: float, nominal: float) -> float:
        return nominal

    def turbulence(self) -> Array:
        return series(0)


class _Draws:
    """Draws of one flight. The order of the calls is part of what a seed means."""

    def __init__(self, seed: int):
        self._seed = seed
        self._random = np.random.default_rng(seed)

    def deviation(self, rows: int = 1) -> Array:
        """Standard normal deviations, (rows, 1)."""
        deviations = self._random.standard_normal((rows, 1))
        return np.clip(deviations, -MOST_DEVIATIONS, MOST_DEVIATIONS)

    def between(self, low: float, high: float, nominal: float) -> float:
        """Evenly drawn; the nominal value belongs to the flight without dispersion."""
        return self._random.uniform(low, high)

    def turbulence(self) -> Array:
        """Air of its own, (2 * POINTS, 1); drawn apart."""
        return series(self._seed)


def _towards(from_deg: float) -> Array:
    """Unit vector (2, 1) along earth y and z of a wind that comes from `from_deg`."""
    angle_rad = np.radians(from_deg)
    return -np.array([[np.cos(angle_rad)], [np.sin(angle_rad)]])


def _flight(vehicle: Vehicle, draws: _Draws | _NoDraws) -> Truth:
    rocket = vehicle.needs_rocket()
    sigma = rocket.dispersion
    wind = rocket.wind

    def alike(percent: float, rows: int = 1) -> Array:
        return 1.0 + 0.01 * percent * draws.deviation(rows)

    thrust = alike(sigma.thrust_percent)
    burn_time = alike(sigma.burn_time_percent)
    wind_from_deg = draws.between(-180.0, 180.0, wind.from_deg)
    gust_from_deg = draws.between(-180.0, 180.0, wind.gust_from_deg)
    gust_time_s = draws.between(0.0, vehicle.engine.burn_time_s, wind.gust_time_s)
    wind_speed = np.maximum(wind.speed_m_s + sigma.wind_m_s * draws.deviation(), 0.0)
    gust_speed = np.maximum(wind.gust_m_s + sigma.gust_m_s * draws.deviation(), 0.0)
    misclocking_deg = sigma.vane_clocking_deg * draws.deviation(VANES)
    clocking_rad = np.radians(vehicle.layout.clocking_deg[:, None] + misclocking_deg)
    frame_us = 1e6 / vehicle.servo_table.pulse_hz
    return Truth(
        thrust_alike=thrust,
        load_alike=thrust**LOAD_EXPONENT * burn_time,
        burn_time_alike=burn_time,
        mass_alike=alike(sigma.mass_percent),
        inertia_alike=alike(sigma.inertia_percent),
        cg_shift_m=1e-3 * rocket.scatter_mm("cg_mm") * draws.deviation(),
        cg_offset_m=1e-3
        * (rocket.cg_offset_mm[:, None] + rocket.scatter_mm("cg_offset_mm") * draws.deviation(2)),
        misalignment_rad=np.radians(
            rocket.thrust_misalignment_deg[:, None] + sigma.misalignment_deg * draws.deviation(2)
        ),
        aerodynamics_alike=alike(sigma.aerodynamics_percent),
        cp_shift_m=1e-3 * rocket.scatter_mm("centre_of_pressure_mm") * draws.deviation(),
        fin_cant_rad=np.radians(rocket.fin_cant_deg + sigma.fin_cant_deg * draws.deviation()),
        wind_m_s=wind_speed * _towards(wind_from_deg),
        gust_m_s=gust_speed * _towards(gust_from_deg),
        gust_time_s=np.full((1, 1), gust_time_s),
        vane_force_alike=alike(sigma.vane_force_percent, VANES),
        vane_wear_alike=alike(sigma.vane_wear_percent, VANES),
        cos_clocking=np.cos(clocking_rad),
        sin_clocking=np.sin(clocking_rad),
        vane_angle_deg=sigma.vane_angle_deg * draws.deviation(VANES),
        servo_slew_alike=alike(sigma.servo_slew_percent, VANES),
        servo_lag_alike=alike(sigma.servo_lag_percent, VANES),
        sensor_alike=alike(sigma.pressure_sensor_percent),
        frame_phase_us=np.full((1, 1), draws.between(0.0, frame_us, 0.0)),
        turbulence=draws.turbulence() if wind.turbulence_percent > 0 else np.zeros((0, 1)),
    )
