"""The attainable set of three moments as the convex hull of the 16 corners of the box."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.spatial import ConvexHull

from .directions import Vector
from .primary import Point


@dataclass(frozen=True)
class Attainable:
    """Facets as rows (n_x, n_y, n_z, offset) with n . x <= offset, counts of each, and volume."""

    facets: np.ndarray
    vertices: np.ndarray
    volume: float

    def roll_range(self, p: Point) -> tuple[float, float]:
        """Least and largest sum f over the primary p, read off the facets."""
        normals, offsets = self.facets[:, :3], self.facets[:, 3]
        room = offsets - normals[:, :2] @ np.array([float(x) for x in p])
        up, down = normals[:, 2] > 1e-9, normals[:, 2] < -1e-9
        return (
            float(np.max(room[down] / normals[down, 2])),
            float(np.min(room[up] / normals[up, 2])),
        )


def attainable_set(
    directions: Sequence[Vector], lo: Sequence[float], hi: Sequence[float]
) -> Attainable:
    """The hull of all (sum f b, sum f): pitch and yaw over lever arm, roll over roll arm.

    Triangles of one facet are joined; corners inside the hull are left out.
    """
    columns = np.vstack([np.asarray(directions).T, np.ones(4)])
    corners = np.array([columns @ f for f in product(*zip(lo, hi, strict=True))])
    hull = ConvexHull(corners)
    planes = np.unique(np.round(hull.equations, 9), axis=0)
    return Attainable(
        facets=planes * [1, 1, 1, -1],
        vertices=corners[hull.vertices],
        volume=float(hull.volume),
    )
