"""How long boards are waited for: one setting for slow ones.

`FOURVANE_PATIENCE=10` in the environment waits ten times as long everywhere, for a board that is
emulated at a tenth of its speed or hangs on a slow line.
"""

import math
import os

from mixer.ground.inputs.csv_files import InputError

VARIABLE = "FOURVANE_PATIENCE"


def patience(seconds: float) -> float:
    """This time, as long as the setting makes it. InputError for a setting that is no factor."""
    said = os.environ.get(VARIABLE, "1")
    try:
        factor = float(said)
    except ValueError:
        factor = math.nan
    if not 0.1 <= factor <= 1000:
        raise InputError(
            f"{VARIABLE}={said}: must be a number from 0.1 to 1000, as 10 for a board "
            "that runs at a tenth of its speed"
        )
    return factor * seconds
