"""What the rows of a batch stand under: burn time, burn load, pressure, vanes that stand still."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mixer.ground.inputs.arrays import LATEST_S, VANES, Array
from mixer.ground.tables.scales import PRESSURE_RATIO_MAX
from mixer.ground.vehicle.vehicle import Vehicle


@dataclass(frozen=True)
class Conditions:
    """As they were given: (N,), jams (N, 4), one row long where all rows share it."""

    time_s: Array
    load_s: Array
    pressure_bar: Array
    jammed_deg: Array  # NaN for a vane that moves
    most_bar: float
    rows: int

    @classmethod
    def given(
        cls,
        vehicle: Vehicle,
        rows: int,
        burn_time_s: ArrayLike,
        chamber_pressure_bar: ArrayLike | None,
        burn_load_s: ArrayLike | None,
        jammed_deg: ArrayLike | None,
    ) -> "Conditions":
        """Arguments as for `allocate_batch`. ValueError where a shape is wrong."""
        reference_bar = vehicle.engine.chamber_pressure_bar
        if chamber_pressure_bar is None:
            chamber_pressure_bar = reference_bar
        if burn_load_s is None:
            burn_load_s = burn_time_s
        if jammed_deg is None:
            jammed_deg = np.full(VANES, np.nan)
        return cls(
            one_or_all("burn_time_s", burn_time_s, rows),
            one_or_all("burn_load_s", burn_load_s, rows),
            one_or_all("chamber_pressure_bar", chamber_pressure_bar, rows),
            one_or_all("jammed", jammed_deg, rows, (VANES,)),
            PRESSURE_RATIO_MAX * reference_bar,
            rows,
        )

    @property
    def shared(self) -> bool:
        """Whether all rows share all of them."""
        return all(len(values) == 1 for values in self._columns)

    @property
    def _columns(self) -> tuple[Array, ...]:
        return self.time_s, self.load_s, self.pressure_bar, self.jammed_deg

    @cached_property
    def spread(self) -> list[Array]:
        """Burn times, loads, pressures and jams of all rows, without a copy."""
        return [np.broadcast_to(each, (self.rows, *each.shape[1:])) for each in self._columns]

    def refuse_wrong(self) -> None:
        """ValueError for the first value that is not allowed: argument, row, value, what is."""
        for name, values, most, unit in (
            ("burn_time_s", self.time_s, LATEST_S, "s"),
            ("burn_load_s", self.load_s, LATEST_S, "s"),
            ("chamber_pressure_bar", self.pressure_bar, self.most_bar, "bar"),
        ):
            wrong = ~((values >= 0) & (values <= most))
            refuse_first(name, values, wrong, f"must be from 0 to {most:g} {unit}")
        for vane, values in enumerate(self.jammed_deg.T, 1):
            allowed = "must be a deflection in deg, or NaN for a vane that moves"
            refuse_first(f"jammed, vane {vane}", values, np.isinf(values), allowed)


def one_or_all(name: str, values: ArrayLike, rows: int, shape: tuple[int, ...] = ()) -> Array:
    """Numbers for each row, (rows, *shape), or (1, *shape) where all rows share them."""
    numbers = np.require(values, np.float64, "A")
    if numbers.shape == shape:
        return numbers[None]
    if numbers.shape != (rows, *shape):
        raise ValueError(f"{name}: shape {numbers.shape}; must be {shape} or {(rows, *shape)}")
    return numbers


def refuse_first(name: str, values: Array, wrong: NDArray[np.bool_], allowed: str) -> None:
    """ValueError for the first wrong value."""
    if wrong.any():
        row = int(np.argmax(wrong))
        where = f", row {row}" if len(values) > 1 else ""
        raise ValueError(f"{name}{where}: {values[row]}; {allowed}")
