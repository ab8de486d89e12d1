"""The outline of a vane section: sharp or round-nosed, double wedge or biconvex, new or worn.

Lengths are metres, x runs from the new vane's leading edge along the chord, y is the half
thickness. Sections are symmetrical and thickest at half chord. The nose is a circle that touches
the flanks; behind the point of touch the outline is a row of straight panels.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from mixer.ground.drawn_vane.gas import root_between
from mixer.ground.inputs.arrays import Array
from mixer.ground.inputs.csv_files import InputError

SECTIONS = ("double-wedge", "biconvex")
LARGEST_NOSE = 0.48  # radius over thickness; a nose of half the thickness leaves no flank
LARGEST_FACE = 0.2  # of the thickness, off each face
BICONVEX_PANELS = 24  # per half chord; halving it moves no coefficient by 0.1 %


class OutlineError(InputError):
    """A section that cannot exist, said in words."""


@dataclass(frozen=True)
class Outline:
    """Upper half of a section: panel ends from the nose circle's point of touch to the tail.

    `x_m`, `y_m` (n + 1,) panel ends; `nose_x_m` where the nose is; `nose_radius_m` 0 when sharp;
    `chord_m` the reference chord, that of the new section.
    """

    x_m: Array
    y_m: Array
    nose_x_m: float
    nose_radius_m: float
    chord_m: float

    @property
    def slope_rad(self) -> Array:
        """Inclination of each panel to the chord line, (n,)."""
        return np.arctan2(np.diff(self.y_m), np.diff(self.x_m))

    @property
    def flank_rad(self) -> float:
        """Half angle that the flow meets first behind the nose."""
        return float(self.slope_rad[0])

    @property
    def area_m2(self) -> float:
        """Area of the whole section."""
        r, touch = self.nose_radius_m, 0.5 * np.pi - self.flank_rad
        cap = r * r * (touch - np.sin(touch) * np.cos(touch)) if r > 0.0 else 0.0
        return float(cap + 2.0 * np.trapezoid(self.y_m, self.x_m))

    @property
    def thickness_m(self) -> float:
        return 2.0 * float(self.y_m.max())

    def drawn(self) -> tuple[Array, Array]:
        """Closed curve x, y of the whole section, for pictures."""
        r = self.nose_radius_m
        arc = np.linspace(0.0, 0.5 * np.pi - self.flank_rad, 24)
        x = np.concatenate([self.nose_x_m + r * (1.0 - np.cos(arc)), self.x_m])
        y = np.concatenate([r * np.sin(arc), self.y_m])
        return np.concatenate([x, x[::-1]]), np.concatenate([y, -y[::-1]])


@dataclass(frozen=True)
class _Flank:
    """Front half of a section, as the curve its round nose is inscribed in.

    The curve starts sharp at `apex_m` (at or before the drawn leading edge) and reaches the half
    thickness at half chord. A circle that touches it at x has its centre on the chord line:
    radius y*sqrt(1 + y'^2), nose at x + y*y' - radius.
    """

    section: str
    chord_m: float
    thickness_m: float
    apex_m: float

    def y(self, x: float | Array) -> Array:
        u = (0.5 * self.chord_m - np.asarray(x)) / (0.5 * self.chord_m - self.apex_m)
        shape = 1.0 - u if self.section == "double-wedge" else 1.0 - u * u
        return 0.5 * self.thickness_m * shape

    def slope(self, x: float) -> float:
        length = 0.5 * self.chord_m - self.apex_m
        u = (0.5 * self.chord_m - x) / length
        steepness = 1.0 if self.section == "double-wedge" else 2.0 * u
        return 0.5 * self.thickness_m * steepness / length

    def x_of(self, y_m: float) -> float:
        """Where the flank is so high."""
        share = 1.0 - 2.0 * y_m / self.thickness_m
        u = share if self.section == "double-wedge" else float(np.sqrt(share))
        return 0.5 * self.chord_m - u * (0.5 * self.chord_m - self.apex_m)

    def radius(self, x: float) -> float:
        return float(self.y(x)) * np.hypot(1.0, self.slope(x))

    def nose(self, x: float) -> float:
        return x + float(self.y(x)) * self.slope(x) - self.radius(x)

    def touch_for_radius(self, radius_m: float) -> float:
        return self._solve(lambda x: self.radius(x) - radius_m)

    def touch_for_nose(self, nose_m: float) -> float:
        return self._solve(lambda x: self.nose(x) - nose_m)

    def _solve(self, gap: Callable[[float], float]) -> float:
        return root_between(gap, self.apex_m, 0.5 * self.chord_m)


def _thinned(flank: _Flank, face_m: float) -> _Flank:
    """The flank with so much off its face: a wedge, or a parabola, again, thinner and shorter."""
    if face_m == 0.0:
        return flank
    length = 0.5 * flank.chord_m - flank.apex_m
    left = flank.thickness_m - 2.0 * face_m / np.cos(np.arctan2(0.5 * flank.thickness_m, length))
    share = left / flank.thickness_m
    shorter = length * (share if flank.section == "double-wedge" else np.sqrt(share))
    return _Flank(flank.section, flank.chord_m, left, 0.5 * flank.chord_m - shorter)


@lru_cache(maxsize=512)
def _new_flank(section: str, chord_m: float, thickness_m: float, nose_radius_m: float) -> _Flank:
    if section not in SECTIONS:
        raise OutlineError(f"section '{section}' is none of {', '.join(SECTIONS)}")
    if not 0.0 < thickness_m < chord_m:
        raise OutlineError(
            f"thickness {thickness_m * 1e3:g} mm must be above 0 and under the chord,"
            f" {chord_m * 1e3:g} mm"
        )
    if nose_radius_m == 0.0:
        return _Flank(section, chord_m, thickness_m, 0.0)
    if not 0.0 <= nose_radius_m <= LARGEST_NOSE * thickness_m:
        raise OutlineError(
            f"leading-edge radius {nose_radius_m * 1e3:g} mm must be 0 to {LARGEST_NOSE:g} of the"
            f" thickness, {thickness_m * 1e3:g} mm: no flank is left to carry it"
        )

    def nose_ahead_of_edge(apex_m: float) -> float:
        flank = _Flank(section, chord_m, thickness_m, apex_m)
        return flank.nose(flank.touch_for_radius(nose_radius_m))

    # A sharp apex on the drawn edge puts the round nose behind it; move the apex forward.
    apex = root_between(nose_ahead_of_edge, -100.0 * chord_m, 0.0)
    return _Flank(section, chord_m, thickness_m, apex)


def largest_recession_m(chord_m: float, thickness_m: float) -> float:
    """Recession at which the worn nose is as thick as the vane: the front half is gone."""
    return 0.5 * (chord_m - thickness_m)


@lru_cache(maxsize=4096)
def section_outline(
    section: str,
    chord_m: float,
    thickness_m: float,
    nose_radius_m: float = 0.0,
    recession_m: float = 0.0,
    face_m: float = 0.0,
    tail_m: float = 0.0,
) -> Outline:
    """Outline of a section whose nose has receded along the chord, and its faces by `face_m`.

    A worn nose is again a circle that touches the flanks, further back: it grows blunter as it
    recedes. Thinner flanks keep their shape. `tail_m` is the thickness drawn at the trailing
    edge; a worn tail ends where the section is as thin as its faces have lost, and so blunts.
    OutlineError for a shape that cannot exist.
    """
    if not 0.0 <= face_m <= LARGEST_FACE * thickness_m:
        raise OutlineError(
            f"{face_m * 1e3:.3g} mm off each face is outside 0 to {LARGEST_FACE:g} of the"
            f" thickness, {thickness_m * 1e3:.3g} mm: too little is left of the section"
        )
    flank = _thinned(_new_flank(section, chord_m, thickness_m, nose_radius_m), face_m)
    largest_m = largest_recession_m(chord_m, thickness_m)
    if not 0.0 <= recession_m <= largest_m:
        raise OutlineError(
            f"recession {recession_m * 1e3:.3g} mm is outside 0 to {largest_m * 1e3:.3g} mm: the"
            " front half of the section is gone"
        )
    # A flank that has thinned may itself begin behind the nose that is asked for.
    recession_m = max(recession_m, flank.apex_m) if face_m > 0.0 else recession_m
    if recession_m > max(flank.apex_m, 0.0) or (face_m > 0.0 and recession_m > flank.apex_m):
        touch = flank.touch_for_nose(recession_m)
        radius = flank.radius(touch)
    elif face_m > 0.0:
        touch, radius = flank.apex_m, 0.0
    else:
        touch = flank.touch_for_radius(nose_radius_m) if nose_radius_m > 0.0 else 0.0
        radius = nose_radius_m
    half = 0.5 * chord_m
    panels = 1 if section == "double-wedge" else BICONVEX_PANELS
    front = np.linspace(touch, half, panels + 1)
    # The tail mirrors a sharp front that is thinner by what is drawn, and stands upon, its end.
    base = 0.5 * tail_m
    tail = _Flank(section, chord_m, thickness_m - tail_m, 0.0)
    lost = face_m / np.cos(np.arctan2(thickness_m - tail_m, chord_m))
    end = chord_m - tail.x_of(face_m + lost - base) if face_m + lost > base else chord_m
    back = np.linspace(half, end, panels + 1)[1:]
    x = np.concatenate([front, back])
    y = np.concatenate([flank.y(front), tail.y(chord_m - back) + base - lost])
    return Outline(x, y, recession_m, radius, chord_m)
