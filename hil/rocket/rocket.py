"""The simulated rocket: N flights that advance together, each with its own truth.

Three axes of attitude as a quaternion, flight path, burn, vanes and servos. Within one step the
integrator follows attitude, path and vane angles; what changes slowly (mass, wear, air density,
wind) holds its value of the middle of the step.

Left out: bending of the airframe, slosh of the propellant, what leaving gas and emptying tanks do
to roll, cross-flow of one vane's wake on another, Mach number in the aerodynamics, separation of
the nozzle's flow in the tail-off, sensor errors other than the chamber pressure's.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hil.air.atmosphere import GRAVITY_M_S2
from hil.engine.engine import RunningEngine
from hil.engine.nozzle import nozzle_of
from hil.rocket.airframe import Airframe, air_density_kg_m3
from hil.rocket.dispersion import Truth
from hil.rocket.rigid_body import (
    angular_acceleration,
    axes_in_earth,
    cross,
    normalised,
    quaternion_rate,
    runge_kutta,
    to_body,
    to_earth,
)
from hil.rocket.servos import Actuators
from hil.rocket.vanes import TrueVanes
from hil.rocket.wind import Wind
from mixer.ground.inputs.arrays import Array
from mixer.ground.inputs.csv_files import InputError
from mixer.ground.vehicle.vehicle import Vehicle

# Rows of the state, one column per flight.
QUATERNION = slice(0, 4)
RATE = slice(4, 7)  # rad/s about body x, y, z
POSITION = slice(7, 10)  # m from the foot of the rail, earth axes, x up
VELOCITY = slice(10, 13)
VANE = slice(13, 17)  # where each servo stands, as the vane's angle with no play, deg
ROWS = 17

LONGEST_STEP_S = 0.01
LARGEST_STATE = 1e9  # far beyond any flight in metres, metres or radians a second, degrees
STEP_OVER_LAG = 0.5  # of the fastest servo, so that the integrator resolves it


@dataclass(frozen=True)
class Moment:
    """What holds its value over one step."""

    thrust_n: Array  # (N,), as all below unless said
    mass_kg: Array
    inertia_kg_m2: Array  # (3, N)
    cg_m: Array
    strength: Array  # (4, N), of the vanes
    density_kg_m3: Array
    wind_m_s: Array  # (3, N)
    damping_nms: Array  # moment against pitch and yaw rate by jet and emptying tanks, N m s
    free: Array  # 1 once off the rail, else 0


class Rocket:
    """N flights of one vehicle. `state` (17, N), `time_s` common to all."""

    def __init__(self, vehicle: Vehicle, truth: Truth):
        rocket = vehicle.needs_rocket()
        self.truth = truth
        self.engine = RunningEngine(
            vehicle, truth.thrust_alike[0], truth.burn_time_alike[0], truth.load_alike[0]
        )
        self.vanes = TrueVanes(vehicle, truth)
        self.servos = Actuators(vehicle, truth, 1e-3 * rocket.servo_lag_ms)
        self.time_s = 0.0
        self._time_us = 0
        self.state = np.zeros((ROWS, truth.flights))
        self.state[QUATERNION.start] = 1.0
        self.state[VANE] = truth.vane_angle_deg
        self.off_rail = np.zeros(truth.flights, bool)  # the rail no longer holds the attitude
        self.disturbance_nm = np.zeros((3, truth.flights))  # all but the vanes' moment
        self.chamber_bar = vehicle.engine.chamber_pressure_bar
        self._thrust_n = vehicle.engine.thrust_n
        self._section = rocket
        self._airframe = Airframe(rocket, truth)
        self._wind = Wind(rocket.wind, truth)
        self._nozzle = nozzle_of(vehicle)
        self._played_deg = self.state[VANE].copy()
        self._lever_arm = vehicle.layout.lever_arm_m

    @property
    def pressure_share(self) -> Array:
        """(N,): true chamber pressure over the reference."""
        return self.engine.share(self.time_s)

    @property
    def burning(self) -> NDArray[np.bool_]:
        """(N,) bool: before the tail-off."""
        return self.engine.burning(self.time_s)

    @property
    def axes(self) -> Array:
        """(3, 3, N): body axes seen from earth."""
        return axes_in_earth(self.state[QUATERNION])

    @property
    def vane_deg(self) -> Array:
        """(4, N): the true vane angles."""
        return self.servos.vane_deg(self.state[VANE], self._played_deg)

    def advance(self, pulse_us: Array, duration_us: int) -> None:
        """Fly on with the four pulses (4, N) held."""
        target_deg = self.servos.target_deg(pulse_us)
        # The same steps whoever flies beside: by the vehicle, not by the block's quickest servo.
        longest_us = min(
            1e6 * LONGEST_STEP_S,
            1e6 * STEP_OVER_LAG * self.servos.shortest_lag_s,
            self.servos.frame_us,
        )
        steps = max(1, int(np.ceil(duration_us / longest_us - 1e-9)))
        begin_us = self._time_us
        with np.errstate(over="ignore", invalid="ignore"):  # found below, in words
            for step in range(1, steps + 1):
                lasting_us = begin_us + duration_us * step // steps - self._time_us
                self._step(target_deg, lasting_us)
        if not (np.abs(self.state) < LARGEST_STATE).all():
            raise InputError(
                f"the simulated rocket turned faster than can be computed, {self.time_s:.2f} s "
                "into the flight; are mass, inertia, areas and slopes in [rocket] in the units "
                "that they name?"
            )

    def held_over_step(self, step_s: float = 0.0) -> Moment:
        """What the next step of `step_s` will hold."""
        middle_s = self.time_s + 0.5 * step_s
        share, load_s = self.engine.share(middle_s), self.engine.load_s(middle_s)
        burned = self.engine.burned(middle_s)
        rocket, truth = self._section, self.truth
        roll_kg_m2 = between(rocket.inertia_roll_kg_m2, burned) * truth.inertia_alike[0]
        pitch_kg_m2 = between(rocket.inertia_pitch_kg_m2, burned) * truth.inertia_alike[0]
        if rocket.cg_m is None:
            cg_m = self._lever_arm.at(self.engine.nominal_s(middle_s))
        else:
            cg_m = between(rocket.cg_m, burned)
        height_m = self.state[POSITION.start]
        return Moment(
            thrust_n=self._thrust_n * share
            + self._nozzle.more_thrust_n(share, height_m + rocket.launch_altitude_m),
            mass_kg=between(rocket.mass_kg, burned) * truth.mass_alike[0],
            inertia_kg_m2=np.array([roll_kg_m2, pitch_kg_m2, pitch_kg_m2]),
            cg_m=cg_m + truth.cg_shift_m[0],
            strength=self.vanes.strength(share[None], load_s[None]),
            density_kg_m3=air_density_kg_m3(height_m + rocket.launch_altitude_m),
            wind_m_s=self._wind.with_turbulence(middle_s, height_m),
            damping_nms=self._damping_nms(middle_s, cg_m + truth.cg_shift_m[0]),
            free=np.where(self.off_rail, 1.0, 0.0),
        )

    def _damping_nms(self, time_s: float, lever_arm_m: Array) -> Array:
        """What a rate of pitch or yaw meets besides air: gas leaves with the rate's speed at the
        exit, ṁ l², and the tanks' inertia falls, İ < 0. I ω̇ = M − (İ + ṁ l²) ω for a body that
        loses mass (Thomson, Introduction to Space Dynamics, on jet damping [memory]).
        """
        rocket, truth = self._section, self.truth
        per_s = self.engine.burned_per_s(time_s)
        full_kg, empty_kg = rocket.mass_kg
        full_kg_m2, empty_kg_m2 = rocket.inertia_pitch_kg_m2
        flow_kg_s = (full_kg - empty_kg) * truth.mass_alike[0] * per_s
        growing_kg_m2_s = (empty_kg_m2 - full_kg_m2) * truth.inertia_alike[0] * per_s
        return flow_kg_s * lever_arm_m * lever_arm_m + growing_kg_m2_s

    def _step(self, target_deg: Array, lasting_us: int) -> None:
        step_s = 1e-6 * lasting_us
        driven_deg = self.servos.driven_to_deg(target_deg, self._time_us, lasting_us)
        held = self.held_over_step(step_s)

        def derivative(_time_s: float, state: Array) -> Array:
            return self._derivative(held, driven_deg, state)

        self.state = runge_kutta(derivative, self.time_s, self.state, step_s)
        self.state[QUATERNION] = normalised(self.state[QUATERNION])
        self._played_deg = self.vane_deg
        through_air = self.state[VELOCITY] - held.wind_m_s
        u, v, w = through_air
        way_m = step_s * np.sqrt(u * u + v * v + w * w)
        self._wind.fly(self.time_s, way_m, self.state[POSITION.start])
        self.off_rail |= self.state[POSITION.start] >= self._section.rail_m
        self._time_us += lasting_us
        self.time_s = 1e-6 * self._time_us  # counted, so that it does not drift

    def _loads(self, held: Moment, state: Array) -> tuple[Array, Array, Array]:
        """Body force (3, N), moment without and with the vanes (3, N), axes not yet turned."""
        axes = axes_in_earth(state[QUATERNION])
        through_air = to_body(axes, state[VELOCITY] - held.wind_m_s)
        air = self._airframe.loads(held.density_kg_m3, through_air, state[RATE], held.cg_m)
        thrust = self._thrust(held)
        arm = np.array([-held.cg_m, -self.truth.cg_offset_m[0], -self.truth.cg_offset_m[1]])
        vane_deg = self.servos.vane_deg(state[VANE], self._played_deg)
        vane_n = self.vanes.force_n(held.strength, vane_deg)
        vanes_nm, side_y_n, side_z_n = self.vanes.loads(vane_n, held.cg_m)
        vanes = np.array([-self.vanes.drag_n(held.strength, vane_deg), side_y_n, side_z_n])
        without = air.moment_nm + cross(arm, thrust)
        moment = without + vanes_nm
        moment[1:] -= held.damping_nms * state[RATE][1:]
        return to_earth(axes, air.force_n + thrust + vanes), without, moment

    def _thrust(self, held: Moment) -> Array:
        about_pitch, about_yaw = self.truth.misalignment_rad
        return np.array([held.thrust_n, held.thrust_n * about_yaw, -held.thrust_n * about_pitch])

    def _derivative(self, held: Moment, target_deg: Array, state: Array) -> Array:
        force_n, without_vanes_nm, moment_nm = self._loads(held, state)
        if state is self.state:  # the first look of a step, at its beginning
            self.disturbance_nm = without_vanes_nm
        acceleration = force_n / held.mass_kg
        acceleration[0] -= GRAVITY_M_S2
        # On the rail only its own direction is free, and the pad carries a rocket too heavy to go.
        acceleration[0] = np.where(
            held.free == 0.0, np.maximum(acceleration[0], 0.0), acceleration[0]
        )
        acceleration[1:] *= held.free
        turning = angular_acceleration(held.inertia_kg_m2, state[RATE], moment_nm) * held.free
        return np.concatenate(
            [
                quaternion_rate(state[QUATERNION], state[RATE]),
                turning,
                state[VELOCITY],
                acceleration,
                self.servos.rate_deg_s(target_deg, state[VANE]),
            ]
        )


def between(pair: Array, burned: Array | float) -> Array:
    """A value that runs straight from full to empty tanks."""
    return pair[0] + (pair[1] - pair[0]) * burned
