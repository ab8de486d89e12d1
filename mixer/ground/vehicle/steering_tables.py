"""The tables of a vehicle file, each with what its keys may hold and why."""

from functools import cached_property
from typing import Annotated, Any, Literal, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import BeforeValidator, Field, ValidationInfo, field_validator, model_validator

from mixer.ground.drawn_vane.geometry import VaneGeometry
from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.inputs.errors import visible
from mixer.ground.inputs.quantities import (
    Four,
    OneOrFour,
    OneOrFourPairs,
    OneOrFourRows,
    Row,
    refuse,
    refuse_missing,
)
from mixer.ground.inputs.section import Section
from mixer.ground.vehicle.curves import ForceCurve, Servo, ServoTable, straight
from mixer.ground.vehicle.servo_table import read_servo_tables

LEAST_CLOCKING_GAP_DEG = 20.0
# Edge-on to the jet a vane gives next to nothing; more than this share of its largest force
# means that the curve's angles are not measured from the jet.
LARGEST_SHARE_AT_ZERO = 0.1
MEASURED_OR_DRAWN = (
    "must have either the measured lists deflection_deg and force_n, or [vanes.geometry]"
)
SHORTEST_PULSE_US, LONGEST_PULSE_US = 400.0, 2600.0


class Naming(Section):
    """[vehicle]"""

    name: str = Field(min_length=1, max_length=80)

    @field_validator("name")
    @classmethod
    def can_be_shown(cls, name: str) -> str:
        if visible(name) != name or "\n" in name or "\t" in name:
            refuse(name, "must be without control characters")
        return name


def one_value_per_time(values: Array, info: ValidationInfo) -> Array:
    """A check of a schedule's values, which stand after its `time_s`."""
    same_length(values, "time_s", info.data.get("time_s"))
    return values


class LeverArm(Section):
    """Vane shaft to centre of gravity along the axis over burn time; ends hold."""

    time_s: Annotated[Array, Row(ge=0, le=600, increasing=True)]
    m: Annotated[Array, Row(gt=0, le=50)]

    _one_per_time = field_validator("m")(one_value_per_time)

    def at(self, time_s: ArrayLike) -> Array:
        """Lever arm in m at burn times in s, of the same shape."""
        return straight(time_s, self.time_s, self.m)


def constant_or_schedule(value: object) -> object:
    """A bare number stands for the same lever arm over the whole burn."""
    if isinstance(value, dict):
        return value
    allowed = "must be one number above 0 and at most 50, or { time_s = [...], m = [...] }"
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 < value <= 50:
        refuse(value, allowed)
    return {"time_s": [0.0], "m": [value]}


class Layout(Section):
    """[layout]: where the four vanes stand."""

    clocking_deg: Annotated[Array, Four(ge=-360, le=360)]
    roll_arm_m: float = Field(gt=0, le=5)
    lever_arm_m: Annotated[LeverArm, BeforeValidator(constant_or_schedule)]

    @field_validator("clocking_deg")
    @classmethod
    def apart(cls, clocking_deg: Array) -> Array:
        """Vanes this far apart neither touch nor line up: pitch and yaw are both reachable."""
        order, gaps_deg = round_the_axis(clocking_deg)
        if gaps_deg.min() < LEAST_CLOCKING_GAP_DEG:
            first = int(np.argmin(gaps_deg))
            a, b = sorted((order[first], order[(first + 1) % VANES]))
            refuse(
                clocking_deg.tolist(),
                f"vanes {a + 1} and {b + 1} are {gaps_deg.min():g} deg apart; neighbours must be "
                f"at least {LEAST_CLOCKING_GAP_DEG:g} deg apart round the axis",
            )
        return clocking_deg

    @property
    def least_gap_deg(self) -> float:
        """The smallest angle between neighbours round the axis."""
        return float(round_the_axis(self.clocking_deg)[1].min())


def round_the_axis(clocking_deg: Array) -> tuple[NDArray[np.int64], Array]:
    """The vanes' indices in their order round the axis, and the angle from each to the next."""
    order = np.argsort(clocking_deg % 360)
    first_again_deg = clocking_deg[order[0]] % 360 + 360
    return order, np.diff(clocking_deg[order] % 360, append=first_again_deg)


class Vanes(Section):
    """[vanes]: travel, and what a new vane gives at the reference chamber pressure.

    Measured, as three lists, or drawn, as [vanes.geometry]. A drawn vehicle's lists are filled in
    by the `Vehicle`, which knows the jet; from there on the two are alike.
    """

    travel_deg: Annotated[Array, OneOrFourPairs(ge=-45, le=45, increasing=True)]
    deflection_deg: Annotated[list[Array] | None, OneOrFourRows(ge=-90, le=90, increasing=True)] = (
        None
    )
    force_n: Annotated[list[Array] | None, OneOrFourRows(ge=-1e5, le=1e5, increasing=True)] = None
    drag_n: Annotated[list[Array] | None, OneOrFourRows(ge=0, le=1e5)] = None
    geometry: VaneGeometry | None = None

    @field_validator("travel_deg")
    @classmethod
    def neutral_is_within(cls, travel_deg: Array) -> Array:
        for vane, (low, high) in enumerate(travel_deg, 1):
            if not low <= 0 <= high:
                refuse([low, high], f"vane {vane}: travel must include 0, the neutral deflection")
        return travel_deg

    @field_validator("deflection_deg")
    @classmethod
    def travel_is_covered(cls, deflection_deg: list[Array], info: ValidationInfo) -> list[Array]:
        travel_deg = info.data.get("travel_deg")
        for vane, row in enumerate(deflection_deg):
            if len(row) < 2:
                refuse(row.tolist(), f"vane {vane + 1}: must have at least two deflections")
            if travel_deg is not None and not covers(row, travel_deg[vane]):
                low, high = travel_deg[vane]
                refuse(
                    row.tolist(),
                    f"vane {vane + 1}: must reach over the whole travel from {low:g} to {high:g}",
                )
        return deflection_deg

    @field_validator("force_n", "drag_n")
    @classmethod
    def one_value_per_deflection(cls, rows: list[Array], info: ValidationInfo) -> list[Array]:
        deflection_deg = info.data.get("deflection_deg")
        for vane, row in enumerate(rows):
            if deflection_deg is not None:
                same_length(row, "deflection_deg", deflection_deg[vane], vane)
        return rows

    @field_validator("force_n")
    @classmethod
    def edge_on_is_neutral(cls, force_n: list[Array], info: ValidationInfo) -> list[Array]:
        deflection_deg, travel_deg = info.data.get("deflection_deg"), info.data.get("travel_deg")
        if deflection_deg is None or travel_deg is None:
            return force_n
        for vane in range(VANES):
            at_zero, *at_ends = straight(
                [0.0, *travel_deg[vane]], deflection_deg[vane], force_n[vane]
            )
            if abs(at_zero) > LARGEST_SHARE_AT_ZERO * max(abs(force) for force in at_ends):
                refuse(
                    float(at_zero),
                    f"vane {vane + 1}, force at 0 deg: must be at most {LARGEST_SHARE_AT_ZERO:.0%} "
                    "of the largest force within travel, since 0 is edge-on to the jet",
                )
        return force_n

    @model_validator(mode="after")
    def measured_or_drawn(self) -> Self:
        given = [
            key for key in ("deflection_deg", "force_n", "drag_n") if getattr(self, key) is not None
        ]
        if self.geometry is not None:
            if given:
                refuse(None, f"{MEASURED_OR_DRAWN}; has [vanes.geometry] and {', '.join(given)}")
        elif self.deflection_deg is None and self.force_n is None:
            refuse(None, f"{MEASURED_OR_DRAWN}; has {f'{given[0]} alone' if given else 'neither'}")
        elif self.deflection_deg is None or self.force_n is None:
            refuse_missing("force_n" if self.force_n is None else "deflection_deg")
        return self

    @cached_property
    def curves(self) -> list[ForceCurve]:
        """The force curve of each of the four vanes."""
        assert self.deflection_deg is not None and self.force_n is not None
        drag_n = self.drag_n or [None] * VANES
        return [
            ForceCurve(*curve)
            for curve in zip(self.deflection_deg, self.force_n, drag_n, strict=True)
        ]


class Erosion(Section):
    """[erosion]: what is left of a vane's force over the burn load; the last value holds."""

    load_s: Annotated[Array, Row(ge=0, le=3600, increasing=True)]
    effectiveness: Annotated[list[Array], OneOrFourRows(gt=0, le=1.25)]

    @field_validator("load_s")
    @classmethod
    def starts_new(cls, load_s: Array) -> Array:
        if load_s[0] != 0:
            refuse(load_s.tolist(), "must start at 0, the new vane")
        return load_s

    @field_validator("effectiveness")
    @classmethod
    def one_value_per_load(cls, effectiveness: list[Array], info: ValidationInfo) -> list[Array]:
        for vane, row in enumerate(effectiveness):
            same_length(row, "load_s", info.data.get("load_s"), vane)
        return effectiveness

    def at(self, load_s: ArrayLike) -> Array:
        """Effectiveness of the four vanes at burn loads in s: shape (..., 4)."""
        return np.stack([straight(load_s, self.load_s, row) for row in self.effectiveness], -1)


class Servos(Section):
    """[servos]: a straight line from deflection to pulse, or a measured table."""

    slew_deg_s: Annotated[Array, OneOrFour(gt=0, le=2000)]
    neutral_us: Annotated[Array | None, OneOrFour(ge=SHORTEST_PULSE_US, le=LONGEST_PULSE_US)] = None
    us_per_deg: Annotated[Array | None, OneOrFour(ge=-200, le=200)] = None
    table: Annotated[list[ServoTable] | None, BeforeValidator(read_servo_tables)] = None
    # As measured on the bench, and how often the board sends pulses. Kept for people and
    # simulations; the flight core does not use them.
    pulse_hz: float = Field(default=50.0, ge=20, le=500)
    latency_ms: Annotated[Array | None, OneOrFour(ge=0, le=500)] = None
    backlash_deg: Annotated[Array | None, OneOrFour(ge=0, le=20)] = None
    # By how much a static test moved the neutrals from the jig's, in them already: see edge_on.py.
    edge_on_deg: Annotated[Array | None, OneOrFour(ge=-20, le=20)] = None

    def each(self) -> list[Servo]:
        """The four servos."""
        if self.table is not None:
            return [
                Servo(float(slew), float(straight(0, t.deflection_deg, t.pulse_us)), None, t)
                for slew, t in zip(self.slew_deg_s, self.table, strict=True)
            ]
        assert self.neutral_us is not None and self.us_per_deg is not None
        lines = zip(self.slew_deg_s, self.neutral_us, self.us_per_deg, strict=True)
        return [Servo(float(slew), float(us), float(gain)) for slew, us, gain in lines]


class ControlSection(Section):
    """[control]: the control cycle and what it does with what it is given."""

    rate_hz: float = Field(ge=20, le=2000)
    policy: Literal["nearest", "direction"]
    demand_timeout_ms: float = Field(ge=5, le=5000)

    @field_validator("demand_timeout_ms")
    @classmethod
    def a_cycle_at_least(cls, demand_timeout_ms: float, info: ValidationInfo) -> float:
        rate_hz = info.data.get("rate_hz")
        if rate_hz and demand_timeout_ms < 1000 / rate_hz:
            refuse(demand_timeout_ms, f"must be at least one control cycle, {1000 / rate_hz:g} ms")
        return demand_timeout_ms


def covers(row: Array, span: Array) -> bool:
    """Whether an increasing row reaches over the whole of a span [low, high]."""
    return bool(row[0] <= span[0] and span[1] <= row[-1])


def same_length(row: Array, other_key: str, other: Any, vane: int | None = None) -> None:
    """Refuse a row that does not have one value for each of another key's."""
    if other is not None and len(row) != len(other):
        whose = "" if vane is None else f"vane {vane + 1}: "
        refuse(row.tolist(), f"{whose}must be {len(other)} numbers, one for each of {other_key}")
