"""Vane angles that another logger measured, put beside a replayed record: which servo fell behind.

Their clock is not the node's. What it said when the record's first cycle ran is for whoever has
both to tell; a whole second wrong, and every vane that moved is told to be behind.
"""

from pathlib import Path

import numpy as np

from mixer.flight import layout as at
from mixer.ground.flight_record.replay import Replayed
from mixer.ground.inputs.csv_files import DataError, read_all

TIME = "time_s"
ANGLES = tuple(f"vane{vane + 1}_deg" for vane in range(at.VANES))
MOST_DEG = 90.0


def put_angles(found: Replayed, path: Path, began_s: float) -> int:
    """Put a file's angles where the record's own readings stand; how many fell within it.

    path: a CSV file of `time_s` and any of `vane1_deg` … `vane4_deg`, rows in order of time.
    began_s: what its clock said at the record's first cycle. DataError where it is no such file, or
    none of its rows falls within the record.
    """
    rows = read_all(path, (TIME,), optional=ANGLES)
    vanes = [vane for vane, name in enumerate(ANGLES) if name in rows]
    if not vanes:
        raise DataError(path, 1, None, None, f"no angles; name at least one of {', '.join(ANGLES)}")
    for vane in vanes:
        beyond = np.flatnonzero(np.abs(rows[ANGLES[vane]]) > MOST_DEG)
        if beyond.size:
            raise rows.fault(beyond[0], ANGLES[vane], f"must be within {MOST_DEG:g}° of neutral")
    back = np.flatnonzero(np.diff(rows[TIME]) <= 0)
    if back.size:
        raise rows.fault(back[0] + 1, TIME, "must be later than the row before")
    cycles_s = np.cumsum(found.columns["dt_us"]) / 1e6
    cycles_s = cycles_s - cycles_s[:1]
    # The command that stood then is that of the last cycle before; a reading stands one row later.
    here = np.searchsorted(cycles_s, rows[TIME] - began_s, "right")
    within = (here > 0) & (here < len(cycles_s))
    if not within.any():
        first_s, last_s = rows[TIME][[0, -1]]
        raise DataError(
            path,
            None,
            TIME,
            f"{first_s:g} to {last_s:g}",
            f"no row falls within the record, {began_s:g} s to "
            f"{began_s + (cycles_s[-1] if cycles_s.size else 0.0):g} s on this clock; tell what it "
            "said at the record's first cycle",
        )
    readings = found.columns["reading_mdeg"]
    for vane in vanes:
        readings[:, vane] = at.NO_READING
        readings[here[within], vane] = np.rint(rows[ANGLES[vane]][within] * 1000)
    return int(within.sum())
