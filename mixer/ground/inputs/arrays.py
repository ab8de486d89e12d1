"""Arrays of numbers, and the few numbers that everything shares."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
VANES = 4
LATEST_S = 3600.0  # time of a burn that a file or a call may name


def fixed(array: Array) -> Array:
    """The array, from now on read-only."""
    array.setflags(write=False)
    return array
