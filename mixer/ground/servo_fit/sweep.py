"""A static sweep of a servo: what angle the vane stood at for each pulse, up and down."""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from mixer.ground.inputs.arrays import VANES, Array
from mixer.ground.inputs.csv_files import DataError, FilePath, Rows, read_all, write_whole

COLUMNS = ("servo", "pulse_us", "angle_deg", "direction", "pass")
DIRECTIONS = ("up", "down")
SHORTEST_US, LONGEST_US = 200.0, 3000.0
WIDEST_DEG = 180.0
LAST_PASS = 1_000_000
# A table has a place for every pulse in every pass; of more than a few, most must be filled.
FEW_CELLS, MOST_EMPTY = 100_000, 4


@dataclass(frozen=True)
class Sweep:
    """One servo's readings: `pulse_us` (m,) rises strictly; `up_deg`, `down_deg` (m, passes).

    Up means that the pulse was approached from shorter ones. A reading that was not taken is
    not-a-number. `passes` holds the numbers the passes had in the file.
    """

    servo: int
    pulse_us: Array
    passes: tuple[int, ...]
    up_deg: Array
    down_deg: Array

    def traverses(self) -> Iterable[tuple[str, int, Array]]:
        """Direction, pass number and the readings (m,) by rising pulse, of each traverse."""
        for direction, readings in (("up", self.up_deg), ("down", self.down_deg)):
            for column, number in enumerate(self.passes):
                yield direction, number, readings[:, column]


def read_sweeps(path: FilePath) -> dict[int, Sweep]:
    """Every servo of a sweep file. DataError names line, column and value of the first fault."""
    rows = read_all(path, COLUMNS, text={"direction": DIRECTIONS})
    check(rows)
    servo = rows["servo"].astype(int)
    return {int(number): arranged(rows, servo == number) for number in np.unique(servo)}


def check(rows: Rows) -> None:
    """Whole servo and pass numbers, pulses and angles a servo can have, no reading twice."""
    servo, number = rows["servo"], rows["pass"]
    pulse_us, angle_deg = rows["pulse_us"], rows["angle_deg"]
    faults = (
        ("servo", ~np.isin(servo, range(1, VANES + 1)), f"must be a whole number 1 to {VANES}"),
        (
            "pass",
            (number != np.floor(number)) | (number < 1) | (number > LAST_PASS),
            f"must be a whole number from 1 to {LAST_PASS}",
        ),
        (
            "pulse_us",
            (pulse_us < SHORTEST_US) | (pulse_us > LONGEST_US),
            f"must be from {SHORTEST_US:g} to {LONGEST_US:g} microseconds",
        ),
        (
            "angle_deg",
            np.abs(angle_deg) > WIDEST_DEG,
            f"must be from {-WIDEST_DEG:g} to {WIDEST_DEG:g} degrees, 0 = edge-on to the jet",
        ),
    )
    for column, wrong, allowed in faults:
        if np.any(wrong):
            raise rows.fault(int(np.flatnonzero(wrong)[0]), column, allowed)
    refuse_repeated(rows)


def refuse_repeated(rows: Rows) -> None:
    """DataError for a reading that stands in the file already."""
    up = rows["direction"] == "up"
    keys = np.column_stack([rows["servo"], rows["pulse_us"], up.astype(float), rows["pass"]])
    _, first, place = np.unique(keys, axis=0, return_index=True, return_inverse=True)
    for row in np.flatnonzero(first[place] != np.arange(len(keys)))[:1]:
        line = rows.first_line + int(first[place][row])
        allowed = f"the same servo, pulse, direction and pass already stand in line {line}"
        raise rows.fault(row, "pulse_us", allowed)


def arranged(rows: Rows, chosen: NDArray[np.bool_]) -> Sweep:
    """The chosen rows, put into one table a direction with a row a pulse and a column a pass."""
    pulse_us, place = np.unique(rows["pulse_us"][chosen], return_inverse=True)
    passes, column = np.unique(rows["pass"][chosen].astype(int), return_inverse=True)
    servo, readings = int(rows["servo"][chosen][0]), int(chosen.sum())
    if len(pulse_us) * len(passes) > max(FEW_CELLS, MOST_EMPTY * readings):
        raise DataError(
            rows.file,
            None,
            None,
            None,
            f"servo {servo}: {len(pulse_us)} pulses in {len(passes)} passes, but {readings} "
            "readings; each pass must go over the same pulses",
        )
    tables = {}
    for direction in DIRECTIONS:
        here = rows["direction"][chosen] == direction
        table = np.full((len(pulse_us), len(passes)), np.nan)
        table[place[here], column[here]] = rows["angle_deg"][chosen][here]
        tables[direction] = table
    numbers = tuple(int(number) for number in passes)
    return Sweep(servo, pulse_us, numbers, tables["up"], tables["down"])


def write_sweeps(path: FilePath, sweeps: Iterable[Sweep]) -> None:
    """A sweep file, readings in the order in which a bench takes them."""
    with write_whole(path) as stream:
        stream.write(",".join(COLUMNS) + "\n")
        for sweep in sweeps:
            for column, number in enumerate(sweep.passes):
                for direction, table in (("up", sweep.up_deg), ("down", sweep.down_deg)):
                    places = range(len(sweep.pulse_us))
                    for row in places if direction == "up" else reversed(places):
                        if np.isfinite(table[row, column]):
                            stream.write(
                                f"{sweep.servo},{sweep.pulse_us[row]:g},"
                                f"{table[row, column]:z.4f},{direction},{number}\n"
                            )
