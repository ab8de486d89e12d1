"""How numbers are read from a vehicle file: one, four, lists, pairs; with limits and a unit.

Each class stands as metadata in an annotation, for instance
`Annotated[Array, OneOrFour(gt=0, le=2000)]`, reads what the file gave into a numpy array and
says in words what is allowed. Plain numbers use pydantic's own `Field(gt=..., le=...)`.
"""

import math
from dataclasses import dataclass
from typing import Any, NoReturn, TypeGuard

import numpy as np
from pydantic import GetCoreSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from mixer.ground.inputs.arrays import VANES, Array, fixed

# Units by the end of a key's name; the longest ending that fits counts.
UNITS = {
    "us_per_deg": "µs/deg",
    "_bar": "bar",
    "_deg": "deg",
    "_deg_s": "deg/s",
    "_deg_s2": "deg/s²",
    "_g_mol": "g/mol",
    "_hz": "Hz",
    "_k": "K",
    "_kg": "kg",
    "_kg_m2": "kg m²",
    "_kg_m3": "kg/m³",
    "_m": "m",
    "_mm": "mm",
    "_mm_s": "mm/s",
    "_m_s": "m/s",
    "_m_s2": "m/s²",
    "_ms": "ms",
    "_n": "N",
    "_nm": "N m",
    "_pa": "Pa",
    "_percent": "%",
    "_rad_s": "rad/s",
    "_s": "s",
    "_us": "µs",
    "_v": "V",
}
BARE_UNITS = {"m": "m"}


def unit_of(key: str) -> str:
    """The unit a key's name ends in, or an empty string where it has none."""
    if key in BARE_UNITS:
        return BARE_UNITS[key]
    fitting = [ending for ending in UNITS if key.endswith(ending)]
    return UNITS[max(fitting, key=len)] if fitting else ""


def refuse(value: object, message: str, where: str = "", with_unit: bool = False) -> NoReturn:
    """Refuse `value`, found at `where` within its key ("[2]", "[0][3]"), and say why.

    `with_unit` adds the unit of the key to the message; a value of None is not shown.
    """
    raise PydanticCustomError(
        "refused",
        "{message}",
        {"given": value, "message": message, "where": where, "with_unit": with_unit},
    )


def refuse_missing(key: str) -> NoReturn:
    """Refuse a table that lacks `key`, which others in the same table call for."""
    raise PydanticCustomError("missing_key", "{key} is missing", {"key": key})


def limits_in_words(
    gt: float | None = None,
    ge: float | None = None,
    lt: float | None = None,
    le: float | None = None,
) -> str:
    """'above 0 and at most 500', or an empty string where nothing limits the number."""
    words = {"above": gt, "at least": ge, "below": lt, "at most": le}
    return " and ".join(
        f"{word} {limit:.12g}" for word, limit in words.items() if limit is not None
    )


@dataclass(frozen=True)
class Numbers:
    """The common part: limits for each number, and the shape in words."""

    gt: float | None = None
    ge: float | None = None
    lt: float | None = None
    le: float | None = None
    increasing: bool = False

    shape = "numbers"

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.no_info_plain_validator_function(self.read)

    @property
    def each(self) -> str:
        return limits_in_words(self.gt, self.ge, self.lt, self.le)

    @property
    def allowed(self) -> str:
        text = self.shape
        if self.increasing:
            text += ", strictly increasing"
        return text + (f", each {self.each}" if self.each else "")

    def read(self, value: object) -> Any:
        raise NotImplementedError

    def wrong(self, value: object, where: str = "") -> NoReturn:
        refuse(value, f"must be {self.allowed}", where, with_unit=True)

    def number(self, value: object, where: str = "") -> float:
        """A finite number within the limits; whole numbers are welcome, true and false are not."""
        if isinstance(value, bool) or not isinstance(value, int | float):
            self.wrong(value, where)
        if not math.isfinite(value):
            self.wrong(value, where)
        too_low = (self.gt is not None and value <= self.gt) or (
            self.ge is not None and value < self.ge
        )
        too_high = (self.lt is not None and value >= self.lt) or (
            self.le is not None and value > self.le
        )
        if too_low or too_high:
            self.wrong(value, where)
        return float(value)

    def row(self, value: object, where: str = "", length: int | None = None) -> Array:
        """A list of numbers, of the given length where one is given."""
        if not isinstance(value, list) or not value or (length and len(value) != length):
            self.wrong(value, where)
        row = np.array([self.number(item, f"{where}[{i}]") for i, item in enumerate(value)])
        if self.increasing:
            steps = np.flatnonzero(np.diff(row) <= 0)
            if len(steps):
                i = int(steps[0]) + 1
                refuse(
                    value[i],
                    f"not above the {value[i - 1]} before it; must be {self.allowed}",
                    f"{where}[{i}]",
                    True,
                )
        return fixed(row)


class Four(Numbers):
    """Exactly four numbers, one per vane: shape (4,)."""

    shape = "a list of four numbers"

    def read(self, value: object) -> Array:
        return self.row(value, length=VANES)


class OneOrFour(Numbers):
    """One number for all vanes or a list of four: shape (4,)."""

    shape = "one number, or a list of four"

    def read(self, value: object) -> Array:
        if isinstance(value, list):
            return self.row(value, length=VANES)
        return fixed(np.full(VANES, self.number(value)))


class Row(Numbers):
    """A list of numbers: shape (n,)."""

    shape = "a list of numbers"

    def read(self, value: object) -> Array:
        return self.row(value)


class OneOrFourRows(Numbers):
    """One list of numbers for all vanes or four lists: a list of four arrays."""

    shape = "a list of numbers, or four such lists"

    def read(self, value: object) -> list[Array]:
        if is_nested(value):
            if len(value) != VANES:
                self.wrong(value)
            return [self.row(row, f"[{i}]") for i, row in enumerate(value)]
        return [self.row(value)] * VANES


class OneOrFourPairs(Numbers):
    """One pair [low, high] for all vanes or four pairs: shape (4, 2)."""

    shape = "a pair [low, high], or four such pairs"

    def read(self, value: object) -> Array:
        if is_nested(value):
            if len(value) != VANES:
                self.wrong(value)
            pairs = [self.row(pair, f"[{i}]", length=2) for i, pair in enumerate(value)]
            return fixed(np.array(pairs))
        return fixed(np.tile(self.row(value, length=2), (VANES, 1)))


def is_nested(value: object) -> TypeGuard[list[Any]]:
    """Whether a value is a list of lists: one row per vane."""
    return isinstance(value, list) and any(isinstance(item, list) for item in value)
