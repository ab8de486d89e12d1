"""[requirements]: what the module must be able to do, and how straight the rocket must fly.

Every key may be left out; what is left out is not judged.
"""

from pydantic import Field

from mixer.ground.inputs.section import Section


class Requirements(Section):
    """The limits that a vehicle's envelope and its simulated flights are judged by."""

    # Moments that must be within reach, both ways, each by itself.
    pitch_nm: float | None = Field(default=None, gt=0, le=1e6)
    yaw_nm: float | None = Field(default=None, gt=0, le=1e6)
    roll_nm: float | None = Field(default=None, gt=0, le=1e6)
    # Whether all of these must be within reach at once too, in every combination of signs.
    together: bool = False
    # From all vanes at neutral to each of the moments above by itself, at the slew of [servos].
    rise_time_ms: float | None = Field(default=None, gt=0, le=5000)
    # Angle between the rocket's axis and the vertical, and roll rate, at any time under thrust.
    attitude_error_deg: float | None = Field(default=None, gt=0, le=90)
    roll_rate_deg_s: float | None = Field(default=None, gt=0, le=3600)
    # Share of the pitch and yaw authority that must stay unused at any time under thrust.
    margin_percent: float | None = Field(default=None, ge=0, lt=100)
