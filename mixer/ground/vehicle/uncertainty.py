"""[uncertainty]: how well the numbers of the vehicle file are known, as standard errors.

`fourvane identify` writes it from a static test, `fourvane erosion fit` from inspections; it may as
well be written by hand. Every key may be left out; what is left out counts as exact.

A static test tells about the four vanes that were burnt. How a new set differs from them, in a new
burn, is `vane_scatter` and `burn_scatter`; only with these is a band one for the flight's vanes.
"""

from typing import Annotated

import numpy as np
from numpy.typing import ArrayLike
from pydantic import Field, ValidationInfo, field_validator

from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.inputs.quantities import OneOrFour, OneOrFourRows, Row, refuse
from mixer.ground.inputs.section import Section
from mixer.ground.vehicle.curves import straight
from mixer.ground.vehicle.steering_tables import same_length


class Uncertainty(Section):
    """Standard errors (one standard deviation); the scatters are of effectiveness, at `load_s`."""

    load_s: Annotated[Array | None, Row(ge=0, le=3600, increasing=True)] = None
    effectiveness: Annotated[list[Array] | None, OneOrFourRows(ge=0, le=1)] = None
    # Between the vanes of one burn, each by itself; and what all four of a burn share.
    vane_scatter: Annotated[Array | None, Row(ge=0, le=1)] = None
    burn_scatter: Annotated[Array | None, Row(ge=0, le=1)] = None
    clocking_deg: Annotated[Array | None, OneOrFour(ge=0, le=45)] = None
    zero_deg: Annotated[Array | None, OneOrFour(ge=0, le=45)] = None  # where edge-on is
    roll_arm_m: float = Field(default=0.0, ge=0, le=5)
    lever_arm_m: float = Field(default=0.0, ge=0, le=50)

    @field_validator("effectiveness")
    @classmethod
    def one_value_per_load(
        cls, rows: list[Array] | None, info: ValidationInfo
    ) -> list[Array] | None:
        load_s = info.data.get("load_s")
        if rows is not None and load_s is None and "load_s" in info.data:
            refuse(None, "needs load_s, the burn loads that its values belong to")
        for vane, row in enumerate(rows or []):
            same_length(row, "load_s", load_s, vane)
        return rows

    @field_validator("vane_scatter", "burn_scatter")
    @classmethod
    def one_scatter_per_load(cls, row: Array | None, info: ValidationInfo) -> Array | None:
        load_s = info.data.get("load_s")
        if row is not None and load_s is None and "load_s" in info.data:
            refuse(None, "needs load_s, the burn loads that its values belong to")
        if row is not None:
            same_length(row, "load_s", load_s)
        return row

    @property
    def knows_scatter(self) -> bool:
        """Whether it says how a new set of vanes differs from those that were burnt."""
        return self.vane_scatter is not None or self.burn_scatter is not None

    def vane_at(self, load_s: ArrayLike) -> Array:
        """Standard deviation of each vane's effectiveness by itself, its error and its scatter in
        quadrature: shape (..., 4).
        """
        scatter = self._row_at(load_s, self.vane_scatter)[..., None]
        return np.sqrt(self.effectiveness_at(load_s) ** 2 + scatter**2)

    def burn_at(self, load_s: ArrayLike) -> Array:
        """Standard deviation of what the four vanes of a burn share: shape (...)."""
        return self._row_at(load_s, self.burn_scatter)

    def _row_at(self, load_s: ArrayLike, row: Array | None) -> Array:
        if row is None or self.load_s is None:
            return np.zeros(np.shape(load_s))
        return straight(load_s, self.load_s, row)

    def effectiveness_at(self, load_s: ArrayLike) -> Array:
        """Standard error of the four vanes' effectiveness at burn loads in s: shape (..., 4)."""
        if self.effectiveness is None or self.load_s is None:
            return np.zeros((*np.shape(load_s), VANES))
        return np.stack([straight(load_s, self.load_s, row) for row in self.effectiveness], -1)
