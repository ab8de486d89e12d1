"""The test driver of simulated flights: a plain proportional-derivative attitude hold.

It holds the rocket's axis vertical and its roll angle at null, and makes the moment demands that
the steering is to deliver. It is not guidance: it knows no target, no trajectory and no point to
go to, and it sees attitude and rates without error. It belongs to the test side and never runs on
a board that steers.
"""

import numpy as np
from numpy.typing import NDArray

from hil.engine.burn import make_burn
from hil.rocket.rigid_body import Array
from hil.rocket.rocket import QUATERNION, RATE, Rocket, between
from mixer.ground.vehicle.vehicle import Vehicle

Integers = NDArray[np.int64]
MNM_PER_NM = 1000.0


class AttitudeHold:
    """Demands for every flight of a block, from gains that fit the vehicle file's inertia.

    With ωn and ζ of [rocket.hold], a small tilt e and its rate ė obey ë + 2ζωn ė + ωn² e = 0.
    """

    def __init__(self, vehicle: Vehicle):
        self._rocket = vehicle.needs_rocket()
        self._burn = make_burn(vehicle)

    def demand_nm(self, rocket: Rocket) -> Array:
        """(3, N): pitch, yaw and roll. Nothing is asked for while the rail holds the rocket."""
        hold = self._rocket.hold
        burned = float(self._burn.burned_at(np.array(rocket.time_s)))
        roll_kg_m2 = between(self._rocket.inertia_roll_kg_m2, burned)
        pitch_kg_m2 = between(self._rocket.inertia_pitch_kg_m2, burned)
        p, q, r = rocket.state[RATE]
        about_pitch, about_yaw = tilt(rocket.axes)
        spring = hold.frequency_rad_s**2
        damper = 2.0 * hold.damping_ratio * hold.frequency_rad_s
        roll_spring = hold.roll_frequency_rad_s**2
        roll_damper = 2.0 * hold.roll_damping_ratio * hold.roll_frequency_rad_s
        roll = roll_angle(rocket.state[QUATERNION])
        wanted = np.array(
            [
                -pitch_kg_m2 * (spring * about_pitch + damper * q),
                -pitch_kg_m2 * (spring * about_yaw + damper * r),
                -roll_kg_m2 * (roll_spring * roll + roll_damper * p),
            ]
        )
        return np.where(rocket.off_rail, wanted, 0.0)


def tilt(axes: Array) -> tuple[Array, Array]:
    """How far the nose is turned away from the vertical about body pitch and yaw: the sine, (N,).

    The vertical in body axes is the first row of `axes`; a small turn by +θ about pitch leaves
    (1, 0, θ) there, by +θ about yaw (1, −θ, 0).
    """
    _, starboard, down = axes[0]
    return down, -starboard


def roll_angle(quaternion: Array) -> Array:
    """Turn about the rocket's own axis since the rail, as 2 sin(half the angle): ±2 at most."""
    w, x = quaternion[0], quaternion[1]
    length = np.sqrt(w * w + x * x)
    towards = np.where(w < 0.0, -2.0, 2.0)
    return towards * x / np.where(length == 0.0, 1.0, length)


def in_mnm(demand_nm: Array, most_mnm: int, most_roll_mnm: int) -> Integers:
    """Demands (3, N) in whole millinewton metres, held to what the steering takes.

    Pitch and yaw keep their direction when they are far.
    """
    demand_mnm = demand_nm * MNM_PER_NM
    farthest = np.maximum(np.abs(demand_mnm[0]), np.abs(demand_mnm[1]))
    demand_mnm[:2] *= np.minimum(1.0, most_mnm / np.maximum(farthest, 1.0))
    demand_mnm[2] = np.clip(demand_mnm[2], -most_roll_mnm, most_roll_mnm)
    return np.trunc(demand_mnm).astype(np.int64)
