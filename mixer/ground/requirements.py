"""[requirements]: what the module must be able to do, and how straight the rocket must fly.

Every key may be left out; what is left out is not judged.
"""

from typing import Annotated

from pydantic import Field

from mixer.ground.section import Section

Moment = Annotated[float, Field(gt=0.0, le=1.0e6)]


class Requirements(Section):
    """The limits that `envelope`, `ascent`, `campaign` and `check` judge a vehicle by."""

    pitch_nm: Moment | None = Field(
        default=None, description="pitch moment that must be within reach, both ways, N·m"
    )
    yaw_nm: Moment | None = Field(
        default=None, description="yaw moment that must be within reach, both ways, N·m"
    )
    roll_nm: Moment | None = Field(
        default=None, description="roll moment that must be within reach, both ways, N·m"
    )
    attitude_error_deg: Annotated[float, Field(gt=0.0, le=90.0)] | None = Field(
        default=None, description="largest angle between the rocket's axis and the vertical"
    )
    roll_rate_deg_s: Annotated[float, Field(gt=0.0, le=3600.0)] | None = Field(
        default=None, description="largest roll rate"
    )
    margin_percent: Annotated[float, Field(ge=0.0, lt=100.0)] | None = Field(
        default=None,
        description="least share of the pitch and yaw authority that must stay unused",
    )
