"""What the rows of a batch stand under: pressure, wear, burn time, vanes that stand still."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mixer.flight import layout as at
from mixer.ground.batch_box import Box
from mixer.ground.batch_schedule import lever_gains, pressure_ratio, set_force_gain
from mixer.ground.batch_tables import LAST_TIME_US, BatchTables
from mixer.ground.batch_words import Mask, Reals, Words
from mixer.ground.demands import LATEST_S
from mixer.ground.tables import PRESSURE_RATIO_MAX
from mixer.ground.vehicle import Vehicle

FARTHEST_DEG = 90.0  # beyond every travel


@dataclass(frozen=True)
class Conditions:
    """In the flight core's units: (columns,), the last two (4, columns). One column serves all."""

    time_us: Words
    load_us: Words
    pressure_pa: Words
    stands_mdeg: Words
    jammed: Mask

    def no_thrust(self, t: BatchTables) -> Mask:
        """Where there is no jet to steer with."""
        return self.pressure_pa < t[at.PA_MIN]

    def flags(self, t: BatchTables) -> NDArray[np.int_]:
        """The flags that do not hang on the demand."""
        return at.NO_THRUST * self.no_thrust(t) + at.JAMMED_VANE * self.jammed.any(axis=0)

    def put_into(self, box: Box, t: BatchTables) -> Words:
        """Set the box's windows and force gains; return the gain of pitch and yaw demands."""
        set_force_gain(t, pressure_ratio(t, self.pressure_pa), self.load_us, box)
        travel = [np.array(ends, np.int32)[:, None] for ends in (t.travel_lo, t.travel_hi)]
        stands = np.clip(self.stands_mdeg, *travel)
        for window, end in zip((box.window_lo, box.window_hi), travel, strict=True):
            window[:] = end
            np.copyto(window, 0, where=self.no_thrust(t))
            np.copyto(window, stands, where=self.jammed)
        return lever_gains(t, self.time_us)[0]


class GivenConditions:
    """The conditions of `rows` rows as they were given; arguments as for `allocate_batch`.

    They are checked and turned into integers a piece at a time. ValueError names the argument,
    the row, the value and what is allowed.
    """

    def __init__(
        self,
        vehicle: Vehicle,
        rows: int,
        burn_time_s: ArrayLike,
        chamber_pressure_bar: ArrayLike | None,
        burn_load_s: ArrayLike | None,
        jammed_deg: ArrayLike | None,
    ):
        reference_bar = vehicle.engine.chamber_pressure_bar
        if chamber_pressure_bar is None:
            chamber_pressure_bar = reference_bar
        if burn_load_s is None:
            burn_load_s = burn_time_s
        if jammed_deg is None:
            jammed_deg = np.full(4, np.nan)
        self._time_s = one_or_all("burn_time_s", burn_time_s, rows)
        self._load_s = one_or_all("burn_load_s", burn_load_s, rows)
        self._pressure_bar = one_or_all("chamber_pressure_bar", chamber_pressure_bar, rows)
        self._jammed_deg = one_or_all("jammed", jammed_deg, rows, (4,))
        self._most_bar = PRESSURE_RATIO_MAX * reference_bar
        given = (self._time_s, self._load_s, self._pressure_bar, self._jammed_deg)
        self.shared = all(len(values) == 1 for values in given)

    def of(self, rows: slice) -> Conditions:
        """Those of some rows: one column where all rows share them."""
        first = rows.start

        def some(values: Reals) -> Reals:
            return values if len(values) == 1 else values[rows]

        time_s, load_s = some(self._time_s), some(self._load_s)
        pressure_bar, jammed_deg = some(self._pressure_bar), some(self._jammed_deg).T
        for name, values, most, unit in (
            ("burn_time_s", time_s, LATEST_S, "s"),
            ("burn_load_s", load_s, LATEST_S, "s"),
            ("chamber_pressure_bar", pressure_bar, self._most_bar, "bar"),
        ):
            wrong = ~((values >= 0) & (values <= most))
            refuse_first(name, values, wrong, first, f"must be from 0 to {most:g} {unit}")
        for vane, values in enumerate(jammed_deg, 1):
            allowed = "must be a deflection in deg, or NaN for a vane that moves"
            refuse_first(f"jammed, vane {vane}", values, np.isinf(values), first, allowed)
        jammed = ~np.isnan(jammed_deg)
        stands_deg = np.where(jammed, jammed_deg, 0.0).clip(-FARTHEST_DEG, FARTHEST_DEG)
        columns = 1 if self.shared else rows.stop - rows.start

        def whole(values: Reals) -> Words:
            integers = np.rint(values).astype(np.int32)
            return np.broadcast_to(integers, (*values.shape[:-1], columns))

        return Conditions(
            whole(np.minimum(time_s * 1e6, LAST_TIME_US)),
            whole(np.minimum(load_s * 1e6, LAST_TIME_US)),
            whole(pressure_bar * 1e5),
            whole(stands_deg * 1e3),
            np.broadcast_to(jammed, (4, columns)),
        )


def one_or_all(name: str, values: ArrayLike, rows: int, shape: tuple[int, ...] = ()) -> Reals:
    """Numbers for each row, (rows, *shape), or (1, *shape) where all rows share them."""
    numbers = np.asarray(values, dtype=float)
    if numbers.shape == shape:
        return numbers[None]
    if numbers.shape != (rows, *shape):
        raise ValueError(f"{name}: shape {numbers.shape}; must be {shape} or {(rows, *shape)}")
    return numbers


def refuse_first(name: str, values: Reals, wrong: Mask, first_row: int, allowed: str) -> None:
    """ValueError for the first wrong value."""
    if wrong.any():
        row = int(np.argmax(wrong))
        where = f", row {first_row + row}" if len(values) > 1 else ""
        raise ValueError(f"{name}{where}: {values[row]}; {allowed}")
