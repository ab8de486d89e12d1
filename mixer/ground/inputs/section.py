"""The common ground of every table in a vehicle file: no unknown keys, no NaN, no silent casts."""

from pydantic import BaseModel, ConfigDict


class Section(BaseModel):
    """One TOML table. Unknown keys, infinite and not-a-number values are refused."""

    model_config = ConfigDict(
        defer_build=True,  # at the first file read: `--help` reads none
        extra="forbid",
        frozen=True,
        strict=True,
        allow_inf_nan=False,
        arbitrary_types_allowed=True,
    )
