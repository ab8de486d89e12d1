"""Steps 1 and 2 of the policy by polygon geometry: which pitch and yaw are delivered.

The reachable primary is the zonotope Z = {sum f_i b_i : lo <= f <= hi}, a convex polygon whose
edges are the vane's own segments (hi_i - lo_i) b_i sorted by angle, each once forward and once
backward. Everything here is plain arithmetic on whatever numbers come in: floats, or fractions
for an answer without rounding.
"""

from collections.abc import Sequence
from fractions import Fraction
from functools import cmp_to_key

Number = float | Fraction
Point = tuple[Number, Number]
# Floats this close to parallel (sine of the angle) count as parallel: far below the smallest real
# misclocking, far above rounding. Fractions are compared exactly.
PARALLEL = 1e-12


def cross(a: Point, b: Point) -> Number:
    return a[0] * b[1] - a[1] * b[0]


def dot(a: Point, b: Point) -> Number:
    return a[0] * b[0] + a[1] * b[1]


def along(start: Point, step: Point, t: Number) -> Point:
    return start[0] + t * step[0], start[1] + t * step[1]


def minus(a: Point, b: Point) -> Point:
    return a[0] - b[0], a[1] - b[1]


def parallel(a: Point, b: Point) -> bool:
    """Whether a and b lie on one line; a zero vector is parallel to everything."""
    sine_norm = cross(a, b)
    if isinstance(sine_norm, Fraction):
        return sine_norm == 0
    return sine_norm * sine_norm <= PARALLEL**2 * dot(a, a) * dot(b, b)


class Zonotope:
    """Z shrunk by the share `kept_back` about `rest`, a0 = sum clamp(0, lo_i, hi_i) b_i.

    Corners are kept as offsets from rest, counter-clockwise, so that narrow boxes of large forces
    lose no digits. offsets[k] + edges[k] = offsets[k + 1]. A segment has two edges, there and
    back; a point has one corner and no edge (hence zips that are not strict).
    """

    def __init__(
        self,
        directions: Sequence[Point],
        lo: Sequence[Number],
        hi: Sequence[Number],
        kept_back: Number = 0,
    ) -> None:
        at_rest = [min(max(low, 0), high) for low, high in zip(lo, hi, strict=True)]
        self.rest = combine(directions, at_rest)
        corner, generators = upward_generators(
            directions,
            [(1 - kept_back) * (low - f) for low, f in zip(lo, at_rest, strict=True)],
            [(1 - kept_back) * (high - f) for high, f in zip(hi, at_rest, strict=True)],
        )
        self.edges = generators + [(-x, -y) for x, y in generators]
        self.offsets = [corner]
        for edge in self.edges[:-1]:
            self.offsets.append(along(self.offsets[-1], edge, 1))

    @property
    def vertices(self) -> list[Point]:
        return [along(self.rest, offset, 1) for offset in self.offsets]

    @property
    def flat(self) -> bool:
        """A segment or a point: no interior."""
        return len(self.edges) <= 2

    def contains(self, point: Point) -> bool:
        """Whether the point is inside or on the edge (False for a flat set: measure it instead)."""
        step = minus(point, self.rest)
        return not self.flat and all(
            cross(edge, minus(step, offset)) >= 0
            for offset, edge in zip(self.offsets, self.edges, strict=True)
        )

    def nearest(self, point: Point) -> Point:
        """The point of the set with the least distance to `point`."""
        if self.contains(point):
            return point
        step = minus(point, self.rest)
        for offset, edge in zip(self.offsets, self.edges, strict=False):
            beyond = minus(step, offset)
            t = dot(beyond, edge) / dot(edge, edge)
            # In a convex set a violated edge that holds the foot holds the nearest point.
            if (self.flat or cross(edge, beyond) < 0) and 0 <= t <= 1:
                return along(self.rest, along(offset, edge, t), 1)
        closest = min(self.offsets, key=lambda o: dot(minus(o, step), minus(o, step)))
        return along(self.rest, closest, 1)

    def last_on_segment(self, point: Point) -> Point:
        """The last point of the segment rest -> point that lies in the set.

        A flat set is left at once by every segment that does not run along it.
        """
        step = minus(point, self.rest)
        if self.flat:
            runs_along = self.edges and parallel(self.edges[0], step)
            return self.nearest(point) if runs_along else self.rest
        return along(self.rest, step, self.segment_share(step))

    def segment_share(self, step: Point, margin: float = 0.0) -> Number:
        """The largest t in [0, 1] that keeps rest + t step at least `margin` inside every edge."""
        t: Number = 1
        for offset, edge in zip(self.offsets, self.edges, strict=False):
            inside = cross(offset, edge)
            if margin:
                inside -= margin * float(dot(edge, edge)) ** 0.5
            rate = cross(edge, step)
            if rate < 0:
                t = min(t, max(inside, 0) / -rate)
        return t


def combine(directions: Sequence[Point], forces: Sequence[Number]) -> Point:
    """sum f_i b_i."""
    return (
        sum(f * b[0] for f, b in zip(forces, directions, strict=True)),
        sum(f * b[1] for f, b in zip(forces, directions, strict=True)),
    )


def upward_generators(
    directions: Sequence[Point], lo: Sequence[Number], hi: Sequence[Number]
) -> tuple[Point, list[Point]]:
    """The lowest vertex of Z and its edge vectors turned upward, sorted by angle in [0, pi)."""
    lowest_forces, generators = [], []
    for b, low, high in zip(directions, lo, hi, strict=True):
        upward = b[1] > 0 or (b[1] == 0 and b[0] > 0)
        lowest_forces.append(low if upward else high)
        width = high - low if upward else low - high
        if width:
            generators.append((width * b[0], width * b[1]))
    generators.sort(key=cmp_to_key(lambda a, b: -1 if cross(a, b) > 0 else int(cross(a, b) < 0)))
    merged: list[Point] = []
    for generator in generators:
        if merged and parallel(merged[-1], generator):
            merged[-1] = along(merged[-1], generator, 1)
        else:
            merged.append(generator)
    return combine(directions, lowest_forces), merged
