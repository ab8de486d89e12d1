"""What a local chip in a leading edge does to one vane's force and to roll trim."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from mixer.ground.drawn_vane.geometry import NozzleFields, VaneGeometry, WornEdge
from mixer.ground.drawn_vane.jet import FlowState
from mixer.ground.drawn_vane.profile_forces import flank_pressures
from mixer.ground.drawn_vane.vane_forces import computed_curve
from mixer.ground.inputs.csv_files import InputError
from mixer.ground.wear.prediction import effectiveness_of

SIDE_OF_CHIP_MM = 1e-3  # the chip's sides are steep: this far from none to full depth


class ChipError(InputError):
    """A chip that does not fit on the vane."""


@dataclass(frozen=True)
class Chip:
    """A piece out of the leading edge: its middle along the span, its width and chordwise depth.

    With `height_mm` it took that much off the thickness on one face only, and leaves a slope
    there instead of a shorter chord.
    """

    station_mm: float
    width_mm: float
    depth_mm: float
    height_mm: float | None = None


@dataclass(frozen=True)
class ChipEffect:
    """One chipped vane among three whole ones, at the reference chamber pressure.

    `effectiveness` over the whole travel, by least squares; `force_lost_n` at the largest
    deflection, `force_lost_share` of the new vane's force there; `roll_at_full_nm` is the roll
    moment that leaves when the vane and the one opposite are both there for a pitch or yaw
    demand; `offset_n` is side force at zero deflection, `offset_roll_nm` its roll moment;
    `trim_deg` turns the chipped vane back to no side force, `roll_trim_deg` turns all four to hold
    `roll_at_full_nm`.
    """

    effectiveness: float
    force_lost_n: float
    force_lost_share: float
    roll_at_full_nm: float
    roll_trim_deg: float
    offset_n: float
    offset_roll_nm: float
    trim_deg: float


def chip_effect(
    geometry: VaneGeometry,
    engine: NozzleFields,
    travel_deg: Sequence[float],
    chip: Chip,
    roll_arm_m: float,
) -> ChipEffect:
    """Effect of one chip. ChipError where it lies outside the vane's edge in the jet."""
    start, end = chip.station_mm - 0.5 * chip.width_mm, chip.station_mm + 0.5 * chip.width_mm
    if not (geometry.root_station_mm <= start < end <= geometry.span_mm):
        raise ChipError(
            f"a chip from station {start:g} to {end:g} mm is not within the edge in the jet,"
            f" {geometry.root_station_mm:g} to {geometry.span_mm:g} mm"
        )
    if not 0.0 < chip.depth_mm <= geometry.largest_recession_mm:
        raise ChipError(
            f"chip depth {chip.depth_mm:g} mm must be above 0 and at most"
            f" {geometry.largest_recession_mm:.3g} mm"
        )
    if chip.height_mm is not None and not 0.0 < chip.height_mm <= 0.5 * geometry.thickness_mm:
        raise ChipError(
            f"chip height {chip.height_mm:g} mm must be above 0 and at most half the thickness,"
            f" {0.5 * geometry.thickness_mm:g} mm"
        )
    new = computed_curve(geometry, engine, travel_deg)
    slope_n_deg = float(
        np.interp(0.5, new.deflection_deg, new.force_n)
        - np.interp(-0.5, new.deflection_deg, new.force_n)
    )
    furthest = int(np.argmax(np.abs(new.deflection_deg)))
    if chip.height_mm is not None:
        offset = _slope_force_n(geometry, new.jet.core, chip)
        return ChipEffect(
            1.0, 0.0, 0.0, 0.0, 0.0, offset, offset * roll_arm_m, -offset / slope_n_deg
        )
    side = min(SIDE_OF_CHIP_MM, 0.1 * chip.width_mm)
    worn = WornEdge(
        np.array([start - side, start, end, end + side]),
        np.array([0.0, chip.depth_mm, chip.depth_mm, 0.0]),
    )
    chipped = computed_curve(geometry, engine, travel_deg, worn)
    lost = float(abs(new.force_n[furthest]) - abs(chipped.force_n[furthest]))
    roll = lost * roll_arm_m
    return ChipEffect(
        effectiveness_of(chipped, new),
        lost,
        lost / float(abs(new.force_n[furthest])),
        roll,
        lost / (4.0 * slope_n_deg),
        0.0,
        0.0,
        0.0,
    )


def _slope_force_n(geometry: VaneGeometry, stream: FlowState, chip: Chip) -> float:
    """Side force of a one-sided slope: its pressure less the flank's it replaced, on its area.

    Shock-expansion on the slope; past detachment the estimate that stands in for it there.
    """
    assert chip.height_mm is not None
    outline = geometry.outline_at(chip.station_mm)
    flank = outline.flank_rad
    slope = flank + np.arctan2(chip.height_mm, chip.depth_mm)
    pressures = [
        float(flank_pressures(np.array([turn]), stream.mach, stream.gamma)[0][0])
        for turn in (slope, flank)
    ]
    area_m2 = 1e-6 * chip.width_mm * chip.depth_mm
    return stream.pressure_pa * (pressures[0] - pressures[1]) * area_m2
