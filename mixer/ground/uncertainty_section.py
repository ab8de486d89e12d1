"""[uncertainty]: how well the numbers of the vehicle file are known, as standard errors.

`fourvane identify` writes it from a static test; it may as well be written by hand. Every key may
be left out; what is left out counts as exact.
"""

from typing import Annotated

import numpy as np
from numpy.typing import ArrayLike
from pydantic import Field, ValidationInfo, field_validator

from mixer.ground.curves import straight
from mixer.ground.quantities import VANES, Array, OneOrFour, OneOrFourRows, Row, refuse
from mixer.ground.section import Section
from mixer.ground.sections import same_length


class Uncertainty(Section):
    """Standard errors (one standard deviation)."""

    load_s: Annotated[Array | None, Row(ge=0, le=3600, increasing=True)] = None
    effectiveness: Annotated[list[Array] | None, OneOrFourRows(ge=0, le=1)] = None
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

    def effectiveness_at(self, load_s: ArrayLike) -> Array:
        """Standard error of the four vanes' effectiveness at burn loads in s: shape (..., 4)."""
        if self.effectiveness is None or self.load_s is None:
            return np.zeros((*np.shape(load_s), VANES))
        return np.stack([straight(load_s, self.load_s, row) for row in self.effectiveness], -1)
