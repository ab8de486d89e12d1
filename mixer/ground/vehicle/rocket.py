"""[rocket]: the vehicle around the steering module, as the simulated flight needs it.

Lengths along the axis are measured forward from the plane of the four vane shafts. A pair
`[a, b]` is the value with full tanks and the value with empty tanks; between them it runs straight
with the propellant burned.
"""

from typing import Annotated

import numpy as np
from pydantic import Field, field_validator

from mixer.ground.inputs.arrays import Array
from mixer.ground.inputs.quantities import Numbers, Row, refuse
from mixer.ground.inputs.section import Section
from mixer.ground.vehicle.steering_tables import one_value_per_time

# What nothing is said about is as large for the rocket as it would be on one of this diameter: fins
# of 0.03 m², 0.2 m off the axis, and so on below. Orders of magnitude, from no source.
USUAL_DIAMETER_M = 0.32


class OverBurn(Numbers):
    """Two numbers, with full and with empty tanks: shape (2,)."""

    shape = "a pair [with full tanks, with empty tanks]"

    def read(self, value: object) -> Array:
        return self.row(value, length=2)


class Crosswise(Numbers):
    """Two numbers, one for each axis square to the engine's: shape (2,)."""

    shape = "a pair, one number for each axis square to the engine's"

    def read(self, value: object) -> Array:
        return self.row(value, length=2)


class ThrustSection(Section):
    """[rocket.thrust]: thrust and chamber pressure over their reference values, over burn time,
    between start-up and tail-off; the end values hold.
    """

    time_s: Annotated[Array, Row(ge=0, le=600, increasing=True)]
    share: Annotated[Array, Row(gt=0, le=2)]

    _one_per_time = field_validator("share")(one_value_per_time)


class WindSection(Section):
    """[rocket.wind]: a mean wind that grows with height, turbulence, one gust of the 1 − cos shape.

    Directions are where the wind comes from, counted round the rail as clocking is.
    """

    speed_m_s: float = Field(default=5.0, ge=0, le=60)  # mean, 10 m above the ground
    from_deg: float = Field(default=0.0, ge=-360, le=360)
    shear_exponent: float = Field(
        default=0.14, ge=0, le=0.6
    )  # grows as (height / 10 m) to this power
    shear_top_m: float = Field(
        default=1000.0, ge=10, le=20000
    )  # above the ground; no growth beyond
    gust_m_s: float = Field(default=8.0, ge=0, le=60)  # the gust's peak, on top of the mean wind
    gust_from_deg: float = Field(default=90.0, ge=-360, le=360)
    gust_time_s: float = Field(default=8.0, ge=0, le=600)  # when it begins
    gust_length_s: float = Field(default=1.5, gt=0, le=30)
    # Where given, the gust is of the air and not of time: to its peak over this way flown.
    gust_half_length_m: float | None = Field(default=None, gt=0, le=2000)
    # Vertical turbulence, of the mean wind 6.1 m above the ground: 10 in MIL-F-8785C; 0: none.
    turbulence_percent: float = Field(default=10.0, ge=0, le=50)


class HoldSection(Section):
    """[rocket.hold]: the plain attitude hold that makes the demands of a simulated flight."""

    frequency_rad_s: float = Field(default=4.0, gt=0, le=30)  # natural frequency in pitch and yaw
    damping_ratio: float = Field(default=0.8, gt=0, le=3)
    roll_frequency_rad_s: float = Field(default=4.0, gt=0, le=30)
    roll_damping_ratio: float = Field(default=1.0, gt=0, le=3)


class DispersionSection(Section):
    """[rocket.dispersion]: one standard deviation of what differs from flight to flight."""

    thrust_percent: float = Field(default=2.0, ge=0, le=20)
    burn_time_percent: float = Field(default=2.0, ge=0, le=20)
    mass_percent: float = Field(default=1.0, ge=0, le=10)
    inertia_percent: float = Field(default=3.0, ge=0, le=20)
    # Left out, lengths go with the rocket's diameter: `RocketSection.scatter_mm`.
    cg_mm: float | None = Field(default=None, ge=0, le=300)  # along the axis
    # off the axis, each of y and z
    cg_offset_mm: float | None = Field(default=None, ge=0, le=50)
    misalignment_deg: float = Field(default=0.1, ge=0, le=2)  # of thrust, each of pitch and yaw
    aerodynamics_percent: float = Field(default=10.0, ge=0, le=30)
    centre_of_pressure_mm: float | None = Field(default=None, ge=0, le=500)
    fin_cant_deg: float = Field(default=0.05, ge=0, le=2)
    wind_m_s: float = Field(default=2.0, ge=0, le=20)
    gust_m_s: float = Field(default=3.0, ge=0, le=20)
    vane_force_percent: float = Field(default=3.0, ge=0, le=20)  # each vane's against its curve
    vane_wear_percent: float = Field(default=15.0, ge=0, le=30)  # each vane's against its table
    vane_clocking_deg: float = Field(default=0.3, ge=0, le=5)
    vane_angle_deg: float = Field(default=0.2, ge=0, le=5)  # each vane's against its servo table
    servo_slew_percent: float = Field(default=5.0, ge=0, le=30)
    servo_lag_percent: float = Field(default=10.0, ge=0, le=30)
    pressure_sensor_percent: float = Field(default=1.0, ge=0, le=20)


class RocketSection(Section):
    """Mass, engine transients, fins, wind and test driver of the simulated rocket."""

    mass_kg: Annotated[Array, OverBurn(gt=0, le=1e5)]
    inertia_roll_kg_m2: Annotated[Array, OverBurn(gt=0, le=1e6)]
    # about pitch and about yaw alike
    inertia_pitch_kg_m2: Annotated[Array, OverBurn(gt=0, le=1e7)]
    cg_m: Annotated[Array | None, OverBurn(gt=0, le=50)] = None  # else the lever arm of [layout]
    start_up_s: float = Field(default=0.3, gt=0, le=5)  # ignition to full thrust
    tail_off_s: float = Field(default=0.6, gt=0, le=10)  # full thrust to none, after burn_time_s
    thrust: ThrustSection | None = None  # left out, it is constant
    # The thrust line turned about pitch and about yaw, at the engine.
    thrust_misalignment_deg: Annotated[Array, Crosswise(ge=-5, le=5)] = np.zeros(2)
    cg_offset_mm: Annotated[Array, Crosswise(ge=-100, le=100)] = np.zeros(2)  # along y and z
    diameter_m: float = Field(gt=0, le=5)
    drag_coefficient: float = Field(default=0.5, ge=0, le=3)
    normal_force_per_rad: float = Field(
        default=8.0, ge=0, le=100
    )  # of the whole rocket's coefficient
    # Where the air's normal force acts; behind the centre of gravity it restores.
    centre_of_pressure_m: float = Field(ge=-5, le=50)
    fin_count: int = Field(default=4, ge=0, le=8)
    # One fin, and engine axis to a fin's centre of pressure; left out, they go with the diameter.
    fin_area_m2: float | None = Field(default=None, ge=0, le=10)
    fin_arm_m: float | None = Field(default=None, ge=0, le=10)
    fin_lift_per_rad: float = Field(default=2.5, ge=0, le=20)
    fin_cant_deg: float = Field(default=0.0, ge=-5, le=5)  # all fins set askew alike: it rolls
    rail_m: float = Field(
        default=6.0, ge=0, le=100
    )  # over which the launch rail holds the attitude
    launch_altitude_m: float = Field(default=0.0, ge=-500, le=6000)
    servo_lag_ms: float = Field(default=20.0, gt=0, le=500)  # time constant of a servo not slewing
    wind: WindSection = Field(default_factory=WindSection)
    hold: HoldSection = Field(default_factory=HoldSection)
    dispersion: DispersionSection = Field(default_factory=DispersionSection)

    @property
    def one_fin_m2(self) -> float:
        """Area of a fin, as stated or assumed."""
        if self.fin_area_m2 is not None:
            return self.fin_area_m2
        return self.by_size["rocket.fin_area_m2"]

    @property
    def one_fin_arm_m(self) -> float:
        """Engine axis to a fin's centre of pressure, as stated or assumed."""
        if self.fin_arm_m is not None:
            return self.fin_arm_m
        return self.by_size["rocket.fin_arm_m"]

    @property
    def by_size(self) -> dict[str, float]:
        """What goes with the diameter where the file does not state it, by its key there."""
        size = self.diameter_m / USUAL_DIAMETER_M
        return {
            "rocket.fin_area_m2": 0.03 * size**2,
            "rocket.fin_arm_m": 0.2 * size,
            "rocket.dispersion.cg_mm": 15.0 * size,
            "rocket.dispersion.cg_offset_mm": 1.0 * size,
            "rocket.dispersion.centre_of_pressure_mm": 50.0 * size,
        }

    def scatter_mm(self, name: str) -> float:
        """One standard deviation of a length of [rocket.dispersion], as stated or assumed."""
        stated = getattr(self.dispersion, name)
        return self.by_size[f"rocket.dispersion.{name}"] if stated is None else stated

    @field_validator("mass_kg")
    @classmethod
    def burns_propellant(cls, mass_kg: Array) -> Array:
        full_kg, empty_kg = mass_kg
        if not full_kg > empty_kg:
            refuse(mass_kg.tolist(), "a pair that falls: the tanks empty over the burn")
        return mass_kg
