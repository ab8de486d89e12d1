"""Clockings become unit vectors, exactly where a quarter or eighth turn allows it."""

import math
from collections.abc import Sequence

Vector = tuple[float, float]
SAME_DEG = 1e-9  # a clocking this close to a quarter or eighth turn is meant to be one


def direction(clocking_deg: float) -> Vector:
    """(cos, sin) of one clocking; whole quarter turns are taken out before any rounding."""
    eighths = round(clocking_deg / 45.0)
    if abs(clocking_deg - 45.0 * eighths) < SAME_DEG:
        start = (math.sqrt(0.5), math.sqrt(0.5)) if eighths % 2 else (1.0, 0.0)
        return quarter_turned(start, eighths // 2)
    quarters, rest_deg = divmod(clocking_deg, 90.0)
    rest = math.radians(rest_deg)
    return quarter_turned((math.cos(rest), math.sin(rest)), int(quarters))


def quarter_turned(vector: Vector, quarters: int) -> Vector:
    """The vector after so many quarter turns, without rounding."""
    x, y = vector
    for _ in range(quarters % 4):
        x, y = -y, x
    return x, y


def turned(vector: Vector, angle_deg: float) -> Vector:
    if not angle_deg:
        return vector
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    return vector[0] * c - vector[1] * s, vector[0] * s + vector[1] * c


def directions(
    clocking_deg: Sequence[float], misalignment_deg: Sequence[float] = (0.0, 0.0, 0.0, 0.0)
) -> list[Vector]:
    """One unit vector b_i for each vane: (4,) degrees in, four (x, y) out.

    Vanes whole quarter turns apart (within SAME_DEG: 87.4 and 177.4 differ from 90 in the last
    bit) come out exactly square or exactly opposite. The misalignment is turned in afterwards and
    kept however small, as 1e-15 degree on top of 90 is.
    """
    vectors: list[Vector] = []
    for index, clocking in enumerate(clocking_deg):
        vector = direction(clocking)
        for earlier in range(index):
            quarters = (clocking - clocking_deg[earlier]) / 90.0
            if abs(quarters - round(quarters)) * 90.0 < SAME_DEG:
                vector = quarter_turned(vectors[earlier], round(quarters))
                break
        vectors.append(vector)
    return [turned(v, m) for v, m in zip(vectors, misalignment_deg, strict=True)]
