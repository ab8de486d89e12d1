"""[engine]: the reference for every force, the burn, what its pressure may be, and its exhaust."""

from typing import Annotated

import numpy as np
from pydantic import Field, ValidationInfo, field_validator

from mixer.flight.layout import PRESSURE_MOST_PA
from mixer.ground.drawn_vane.propellants import BLEND, PropellantError, burning_limit
from mixer.ground.inputs.arrays import Array
from mixer.ground.inputs.quantities import Row, refuse
from mixer.ground.inputs.section import Section
from mixer.ground.vehicle.steering_tables import one_value_per_time

BELIEVED_SHARES = (0.5, 1.5)
MOST_SHARE = 3.0
# What a frame to the board can carry, over 2: readings count up to twice the reference.
MOST_REFERENCE_BAR = int(PRESSURE_MOST_PA / 2 / 1e4) / 10


class PressureProfile(Section):
    """Chamber pressure expected over burn time; ends hold."""

    time_s: Annotated[Array, Row(ge=0, le=600, increasing=True)]
    bar: Annotated[Array, Row(ge=0, le=2 * MOST_REFERENCE_BAR)]

    _one_per_time = field_validator("bar")(one_value_per_time)


class EngineSection(Section):
    """[engine]: the chamber pressure is the reference for every force in the file."""

    chamber_pressure_bar: float = Field(gt=0, le=MOST_REFERENCE_BAR)
    thrust_n: float = Field(gt=0, le=1e6)
    burn_time_s: float = Field(gt=0, le=600)
    specific_heat_ratio: float | None = Field(None, gt=1, le=1.67)
    throat_diameter_mm: float | None = Field(None, gt=0, le=1000)
    expansion_ratio: float | None = Field(None, gt=1, le=100)
    # What the exhaust does to a drawn vane; without them it is taken in the middle, and wide.
    propellants: BLEND | None = None
    mixture_ratio: float | None = Field(None, gt=0, le=20)  # oxidiser to fuel, by mass
    solids_in_exhaust: bool = False  # a hybrid's grain, a metallised propellant
    # What pressure is expected over the burn (left out: the reference), and between which shares
    # of that a reading is believed.
    pressure_profile: PressureProfile | None = None
    believed_pressure: Annotated[Array, Row(ge=0, le=MOST_SHARE, increasing=True)] = Field(
        default_factory=lambda: np.array(BELIEVED_SHARES)
    )

    @field_validator("pressure_profile")
    @classmethod
    def counts(cls, profile: PressureProfile | None, info: ValidationInfo) -> object:
        reference = info.data.get("chamber_pressure_bar")
        if profile is not None and reference is not None and profile.bar.max() > 2 * reference:
            refuse(
                float(profile.bar.max()),
                f"readings count up to twice the chamber_pressure_bar, {2 * reference:g} bar",
            )
        return profile

    @field_validator("believed_pressure")
    @classmethod
    def about_what_is_expected(cls, shares: Array) -> Array:
        if len(shares) != 2 or not shares[0] < 1 < shares[1]:
            refuse(
                shares.tolist(),
                "must be two shares of the expected pressure, the first below 1 and the second "
                "above",
            )
        return shares

    def expected_bar(self) -> tuple[Array, Array]:
        """Burn times in s and the pressure expected then; the last one holds on."""
        if self.pressure_profile is None:
            return np.array([0.0]), np.array([self.chamber_pressure_bar])
        return self.pressure_profile.time_s, self.pressure_profile.bar

    @field_validator("mixture_ratio")
    @classmethod
    def burns_without_soot(cls, mixture_ratio: float, info: ValidationInfo) -> float:
        if "propellants" not in info.data:
            return mixture_ratio  # refused already
        blend = info.data["propellants"]
        if blend is None:
            refuse(mixture_ratio, "goes with propellants, which is missing")
        try:
            burning_limit(blend, mixture_ratio)
        except PropellantError as error:
            refuse(mixture_ratio, str(error))
        return mixture_ratio
