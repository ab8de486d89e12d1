"""[acceptance]: what a servo must be able to do before it is bolted on, and the verdict.

Every key may be left out; what is left out is not judged. What is asked for but was not measured
fails: nobody knows. Where only a part of the runs was made, the limits of the others stay open.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import Field

from mixer.ground.inputs.section import Section

Outcome = Literal["fail", "pass so far", "not judged", "no fault found", "pass"]
Degrees = Annotated[float, Field(gt=0, le=45)]
Percent = Annotated[float, Field(gt=0, le=100)]
Milliseconds = Annotated[float, Field(gt=0, le=5000)]
Hertz = Annotated[float, Field(gt=0, le=500)]

AT_LEAST = ("bandwidth_hz", "quarter_turn_hz", "slew_deg_s")  # of these more is better


class Acceptance(Section):
    """Limits by the name of the figure they limit; `servo_figures.py` says how each is found."""

    backlash_deg: Degrees | None = Field(default=None, description="largest reversal value B")
    repeatability_deg: Degrees | None = Field(
        default=None, description="largest bidirectional repeatability R"
    )
    accuracy_deg: Degrees | None = Field(
        default=None,
        description="largest bidirectional accuracy A of the table, by readings that did not make"
        " it, with the angle sensor's own non-linearity",
    )
    hysteresis_percent: Percent | None = Field(default=None, description="largest, of the span")
    nonlinearity_percent: Percent | None = Field(
        default=None, description="largest independent non-linearity, of the span"
    )
    dead_band_us: Annotated[float, Field(gt=0, le=500)] | None = Field(
        default=None,
        description="largest change of the pulse, on reversal of its direction, that moves nothing",
    )
    resolution_us: Annotated[float, Field(gt=0, le=500)] | None = Field(
        default=None,
        description="largest change of the pulse in one direction that moves nothing, play taken"
        " up",
    )
    latency_ms: Milliseconds | None = Field(
        default=None, description="longest time from a command to the start of the motion"
    )
    overshoot_percent: Percent | None = Field(default=None, description="largest, of the step")
    settling_ms: Milliseconds | None = Field(
        default=None, description="longest time to stay within 2 % of the step"
    )
    slew_deg_s: Annotated[float, Field(gt=0, le=5000)] | None = Field(
        default=None, description="least rate of the vane in the middle of a large step"
    )
    bandwidth_hz: Hertz | None = Field(default=None, description="least frequency of -3 dB")
    quarter_turn_hz: Hertz | None = Field(
        default=None, description="least frequency of a phase lag of 90 degrees"
    )
    drift_deg: Degrees | None = Field(
        default=None, description="largest shift of neutral in the endurance run"
    )
    hold_deg: Degrees | None = Field(
        default=None, description="largest give under the load that was hung on"
    )
    sag_v: Annotated[float, Field(gt=0, le=50)] | None = Field(
        default=None, description="largest drop of the supply in a large step"
    )
    roll_trim_nm: Annotated[float, Field(gt=0, le=1e5)] | None = Field(
        default=None,
        description="largest roll moment that the four servos' differences may make together",
    )

    # No limit: what the readings themselves may be off by, either way, over the travel. It counts
    # against what depends on it. Magnetic 12-bit sensors have about 1 deg [memory].
    sensor_nonlinearity_deg: Annotated[float, Field(ge=0, le=10)] | None = None

    def limits(self) -> dict[str, float]:
        """The limits that are set, by figure."""
        inputs = ("sensor_nonlinearity_deg",)
        return {name: value for name, value in self if value is not None and name not in inputs}


@dataclass(frozen=True)
class Judgement:
    """One figure against its limit. `margin` is positive where it passes, in the figure's unit."""

    figure: str
    value: float | None
    limit: float
    at_least: bool

    @property
    def margin(self) -> float | None:
        if self.value is None:
            return None
        return self.value - self.limit if self.at_least else self.limit - self.value

    @property
    def passed(self) -> bool:
        return self.margin is not None and self.margin >= 0

    def __str__(self) -> str:
        bound = "at least" if self.at_least else "at most"
        measured = "not measured" if self.value is None else f"{self.value:.4g}"
        margin = "" if self.margin is None else f", margin {self.margin:+.3g}"
        return f"{self.figure} {measured}, {bound} {self.limit:g}{margin}"


def judge(
    figures: Mapping[str, float | None], acceptance: Acceptance | None, only: Iterable[str] = ()
) -> list[Judgement]:
    """Every limit that is set (of `only`, where that names any) against what was measured."""
    limits = acceptance.limits() if acceptance else {}
    names = set(only) or set(limits)
    return [
        Judgement(name, figures.get(name), limit, name in AT_LEAST)
        for name, limit in limits.items()
        if name in names
    ]


def outcome_of(passed: bool, something_asked: bool, something_open: bool) -> Outcome:
    """The verdict in words: "pass" only where something was asked for and all of it is met.

    something_asked: some limit was judged; "pass so far" needs one too.
    """
    if not passed:
        return "fail"
    if something_open:
        return "pass so far" if something_asked else "not judged"
    return "pass" if something_asked else "no fault found"
