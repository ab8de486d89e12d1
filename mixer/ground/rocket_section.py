"""[rocket]: the vehicle around the steering module, as the simulated flight needs it.

Lengths along the axis are measured forward from the plane of the four vane shafts. A pair
`[a, b]` is the value with full tanks and the value with empty tanks; between them it runs straight
with the propellant burned.
"""

from typing import Annotated, Self

from pydantic import Field, model_validator

from mixer.ground.section import Section

Positive = Annotated[float, Field(gt=0.0)]
NotNegative = Annotated[float, Field(ge=0.0)]
OverBurn = Annotated[list[Positive], Field(min_length=2, max_length=2)]
PitchAndYaw = Annotated[
    list[Annotated[float, Field(ge=-5.0, le=5.0)]], Field(min_length=2, max_length=2)
]
Sideways = Annotated[
    list[Annotated[float, Field(ge=-100.0, le=100.0)]], Field(min_length=2, max_length=2)
]


class WindSection(Section):
    """[rocket.wind]: a mean wind that grows with height, and one gust of the 1 − cos shape."""

    speed_m_s: Annotated[float, Field(ge=0.0, le=60.0)] = Field(
        default=5.0, description="mean wind 10 m above the ground"
    )
    from_deg: Annotated[float, Field(ge=-360.0, le=360.0)] = Field(
        default=0.0,
        description="where it comes from, counted as clocking is, the rocket on its rail",
    )
    shear_exponent: Annotated[float, Field(ge=0.0, le=0.6)] = Field(
        default=0.14, description="wind grows as (height / 10 m) to this power"
    )
    shear_top_m: Annotated[float, Field(ge=10.0, le=20000.0)] = Field(
        default=1000.0, description="height above ground where the growth ends"
    )
    gust_m_s: Annotated[float, Field(ge=0.0, le=60.0)] = Field(
        default=8.0, description="the gust's peak, on top of the mean wind"
    )
    gust_time_s: NotNegative = Field(default=8.0, description="when the gust begins")
    gust_length_s: Annotated[float, Field(gt=0.0, le=30.0)] = Field(
        default=1.5, description="how long it lasts"
    )
    gust_from_deg: Annotated[float, Field(ge=-360.0, le=360.0)] = 90.0


class HoldSection(Section):
    """[rocket.hold]: the plain attitude hold that makes the demands of a simulated flight."""

    frequency_rad_s: Annotated[float, Field(gt=0.0, le=30.0)] = Field(
        default=4.0, description="natural frequency of the pitch and yaw loops"
    )
    damping_ratio: Annotated[float, Field(gt=0.0, le=3.0)] = 0.8
    roll_frequency_rad_s: Annotated[float, Field(gt=0.0, le=30.0)] = 4.0
    roll_damping_ratio: Annotated[float, Field(gt=0.0, le=3.0)] = 1.0


class DispersionSection(Section):
    """[rocket.dispersion]: one standard deviation of what differs from flight to flight."""

    thrust_percent: Annotated[float, Field(ge=0.0, le=20.0)] = 2.0
    burn_time_percent: Annotated[float, Field(ge=0.0, le=20.0)] = 2.0
    mass_percent: Annotated[float, Field(ge=0.0, le=10.0)] = 1.0
    inertia_percent: Annotated[float, Field(ge=0.0, le=20.0)] = 3.0
    cg_mm: Annotated[float, Field(ge=0.0, le=300.0)] = 15.0
    cg_offset_mm: Annotated[float, Field(ge=0.0, le=50.0)] = Field(
        default=1.0, description="centre of gravity off the engine axis, each of y and z"
    )
    misalignment_deg: Annotated[float, Field(ge=0.0, le=2.0)] = 0.1
    aerodynamics_percent: Annotated[float, Field(ge=0.0, le=50.0)] = 10.0
    centre_of_pressure_mm: Annotated[float, Field(ge=0.0, le=500.0)] = 50.0
    fin_cant_deg: Annotated[float, Field(ge=0.0, le=2.0)] = 0.05
    wind_m_s: Annotated[float, Field(ge=0.0, le=20.0)] = 2.0
    gust_m_s: Annotated[float, Field(ge=0.0, le=20.0)] = 3.0
    vane_force_percent: Annotated[float, Field(ge=0.0, le=30.0)] = Field(
        default=3.0, description="each vane's true force against its curve"
    )
    vane_wear_percent: Annotated[float, Field(ge=0.0, le=100.0)] = Field(
        default=15.0, description="each vane's true loss of effectiveness against its table"
    )
    vane_clocking_deg: Annotated[float, Field(ge=0.0, le=5.0)] = 0.3
    vane_angle_deg: Annotated[float, Field(ge=0.0, le=5.0)] = Field(
        default=0.2, description="each vane's true angle against what its servo table says"
    )
    servo_slew_percent: Annotated[float, Field(ge=0.0, le=50.0)] = 5.0
    servo_lag_percent: Annotated[float, Field(ge=0.0, le=50.0)] = 10.0
    pressure_sensor_percent: Annotated[float, Field(ge=0.0, le=20.0)] = 1.0


class RocketSection(Section):
    """Mass, engine transients, fins, wind and test driver of the simulated rocket."""

    mass_kg: OverBurn
    inertia_roll_kg_m2: OverBurn
    inertia_pitch_kg_m2: OverBurn = Field(description="about pitch and about yaw alike")
    cg_m: OverBurn | None = Field(
        default=None, description="centre of gravity; left out, the lever arm of [layout] holds"
    )
    start_up_s: Annotated[float, Field(gt=0.0, le=5.0)] = Field(
        default=0.3, description="ignition to full thrust"
    )
    tail_off_s: Annotated[float, Field(gt=0.0, le=10.0)] = Field(
        default=0.6, description="full thrust to none, after burn_time_s"
    )
    thrust_misalignment_deg: PitchAndYaw = Field(
        default=[0.0, 0.0],
        description="thrust line turned about pitch and about yaw, at the engine",
    )
    cg_offset_mm: Sideways = Field(
        default=[0.0, 0.0], description="centre of gravity off the engine axis, along y and z"
    )
    diameter_m: Annotated[float, Field(gt=0.0, le=5.0)]
    drag_coefficient: Annotated[float, Field(ge=0.0, le=3.0)] = 0.5
    normal_force_per_rad: Annotated[float, Field(ge=0.0, le=100.0)] = Field(
        default=8.0, description="slope of the normal force coefficient, whole rocket"
    )
    centre_of_pressure_m: Annotated[float, Field(ge=-5.0, le=50.0)] = Field(
        description="where the air's normal force acts; behind the centre of gravity it restores"
    )
    fin_count: Annotated[int, Field(ge=0, le=8)] = 4
    fin_area_m2: Annotated[float, Field(ge=0.0, le=10.0)] = Field(
        default=0.03, description="one fin"
    )
    fin_arm_m: Annotated[float, Field(ge=0.0, le=10.0)] = Field(
        default=0.2, description="engine axis to one fin's centre of pressure"
    )
    fin_lift_per_rad: Annotated[float, Field(ge=0.0, le=20.0)] = 2.5
    fin_cant_deg: Annotated[float, Field(ge=-5.0, le=5.0)] = 0.0
    rail_m: Annotated[float, Field(ge=0.0, le=100.0)] = Field(
        default=6.0, description="length over which the launch rail holds the attitude"
    )
    launch_altitude_m: Annotated[float, Field(ge=-500.0, le=6000.0)] = 0.0
    servo_lag_ms: Annotated[float, Field(gt=0.0, le=500.0)] = Field(
        default=20.0, description="time constant of a servo that is not slewing"
    )
    wind: WindSection = WindSection()
    hold: HoldSection = HoldSection()
    dispersion: DispersionSection = DispersionSection()

    @model_validator(mode="after")
    def _burns_propellant(self) -> Self:
        full_kg, empty_kg = self.mass_kg
        if not full_kg > empty_kg:
            raise ValueError(f"mass_kg must fall over the burn, from full to empty: {self.mass_kg}")
        return self
