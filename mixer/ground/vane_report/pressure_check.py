"""Do the drawn vane's forces go with chamber pressure, as the flight tables take it?

In flight a vane's force is kappa times its reference curve, kappa = pc/pc_ref, at any height. The
jet behind the drawing does not quite: its lip wave and its edge move with exit over ambient
pressure. Here the drawing is computed again at other pressures, and held against kappa.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from mixer.ground.drawn_vane.gas import GasError
from mixer.ground.drawn_vane.geometry import GeometryError, NozzleFields, VaneGeometry
from mixer.ground.drawn_vane.vane_forces import SpanOf, VaneCurve, computed_curve
from mixer.ground.wear.prediction import effectiveness_of

PRESSURE_RATIOS = (0.5, 0.7, 0.85, 1.2, 1.5)  # of the reference: what the flight core believes
HEIGHTS_M = (1000.0, 3000.0, 5000.0)  # above the ground the drawing's ambient pressure is of
STEP_DEG = 5.0


class DrawnNozzle(NamedTuple):
    """What the jet needs of [engine], at another chamber pressure."""

    chamber_pressure_bar: float
    throat_diameter_mm: float | None
    expansion_ratio: float | None
    specific_heat_ratio: float | None


@dataclass(frozen=True)
class ScaledForce:
    """Force at another pressure over kappa times the reference force.

    `share` with the finite-span correction of the drawing, `share_wetted` with that of the span in
    the jet; both None where `refused` says why there is no such jet.
    """

    condition: str
    pressure_ratio: float
    ambient_bar: float
    share: float | None = None
    share_wetted: float | None = None
    refused: str = ""


def ambient_at_bar(ground_bar: float, height_m: float) -> float:
    """Ambient pressure at a height above ground, by the standard lapse of 6.5 K/km from 288.15 K.

    ISO 2533, troposphere: (1 - 0.0065 h/288.15)^5.25588.
    """
    return ground_bar * (1.0 - 0.0065 * height_m / 288.15) ** 5.25588


def pressure_check(
    geometry: VaneGeometry, engine: NozzleFields, travel_deg: Sequence[float]
) -> list[ScaledForce]:
    """The drawing at other chamber pressures on the ground, and at heights at the reference's."""
    ground_bar = geometry.ambient_pressure_bar
    cases = [ScaledForce(f"pc {100.0 * ratio:g} %", ratio, ground_bar) for ratio in PRESSURE_RATIOS]
    if ground_bar > 0.0:
        cases += [
            ScaledForce(
                f"{height_m / 1000.0:g} km higher", 1.0, ambient_at_bar(ground_bar, height_m)
            )
            for height_m in HEIGHTS_M
        ]

    def curve(case: ScaledForce, span_of: SpanOf) -> VaneCurve:
        there = geometry.model_copy(update={"ambient_pressure_bar": case.ambient_bar})
        nozzle = DrawnNozzle(
            engine.chamber_pressure_bar * case.pressure_ratio,
            engine.throat_diameter_mm,
            engine.expansion_ratio,
            engine.specific_heat_ratio,
        )
        return computed_curve(there, nozzle, travel_deg, step_deg=STEP_DEG, span_of=span_of)

    same = ScaledForce("reference", 1.0, ground_bar)
    drawn, wetted = curve(same, "drawing"), curve(same, "wetted")

    def held(case: ScaledForce) -> ScaledForce:
        try:
            return replace(
                case,
                share=effectiveness_of(curve(case, "drawing"), drawn) / case.pressure_ratio,
                share_wetted=effectiveness_of(curve(case, "wetted"), wetted) / case.pressure_ratio,
            )
        except (GasError, GeometryError) as error:
            return replace(case, refused=str(error))

    return [held(case) for case in cases]


def largest_error(checks: Sequence[ScaledForce]) -> float:
    """Largest distance of a share from 1, with the drawing's span correction; 0 without any."""
    return max((abs(c.share - 1.0) for c in checks if c.share is not None), default=0.0)
