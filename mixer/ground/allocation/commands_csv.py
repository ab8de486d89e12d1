"""Commands files: what the four servos were told at each burn time, and what that gives."""

from typing import IO

import numpy as np

from mixer.flight import FLAG_NAMES
from mixer.ground.inputs.arrays import VANES, Array

COLUMNS = (
    "time_s",
    *(f"vane{vane}_deg" for vane in range(1, VANES + 1)),
    *(f"pulse{vane}_us" for vane in range(1, VANES + 1)),
    "pitch_nm",
    "yaw_nm",
    "roll_nm",
    "flags",
)
NUMBERS = len(COLUMNS) - 2
ROW = "%.6f" + ",%.3f" * NUMBERS + ",%s\n"


def flag_names(flags: int) -> str:
    """The names of the bits set in `flags`, joined by semicolons; bit 0 is the first name.

    ValueError for a bit that has no name.
    """
    if not 0 <= flags < 1 << len(FLAG_NAMES):
        raise ValueError(f"flags {flags:#x} hold a bit without a name")
    return ";".join(name for bit, name in enumerate(FLAG_NAMES) if flags >> bit & 1)


ALL_FLAGS = np.array([flag_names(flags) for flags in range(1 << len(FLAG_NAMES))], dtype=object)


class CommandsWriter:
    """Writes a commands file to an open text stream, some rows at a time.

    Times are written to the microsecond, deflections to 0.001 deg, pulses to the nanosecond and
    moments to the millinewton metre: all that the flight core's integers hold.
    """

    def __init__(self, stream: IO[str]) -> None:
        self.stream = stream
        stream.write(",".join(COLUMNS) + "\n")

    def write(
        self,
        time_s: Array,
        deflections_deg: Array,
        pulses_us: Array,
        moments_nm: Array,
        flags: np.ndarray,
    ) -> None:
        """Rows for `time_s` (n,), `deflections_deg` and `pulses_us` (n, 4), `moments_nm` (n, 3)
        as pitch, yaw, roll, and `flags` (n,) whole numbers.
        """
        numbers = np.column_stack([deflections_deg, pulses_us, moments_nm])
        rows = np.empty((len(time_s), NUMBERS + 2), dtype=object)
        rows[:, 0] = time_s
        rows[:, 1:-1] = np.round(numbers, 3) + 0.0  # + 0.0 so that -0.000 is never written
        rows[:, -1] = ALL_FLAGS[np.asarray(flags, dtype=np.intp)]
        self.stream.write(ROW * len(rows) % tuple(rows.ravel()))
