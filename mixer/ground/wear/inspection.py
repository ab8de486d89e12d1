"""Reading inspections of burnt vanes: chord and mass before and after, and what burn it was.

CSV, one row for a station of a vane after a burn: `burn,vane` and any of `duration_s`,
`chamber_pressure_bar` (mean over the burn), `pressure_log` (a CSV beside this one with
`time_s,chamber_pressure_bar`), `station_mm` (from the root) with `chord_before_mm,chord_after_mm`,
`thickness_before_mm,thickness_after_mm` there (where the section is thickest), and
`mass_before_g,mass_after_g` (the same in every row of a vane and burn). A burn needs its duration
or its log; the vanes need chords or masses. A column `rehearsal` of ones: nothing was burnt.
"""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from mixer.ground.inputs.arrays import Array
from mixer.ground.inputs.csv_files import (
    REHEARSAL,
    DataError,
    FilePath,
    Rows,
    origin_of,
    read_all,
)
from mixer.ground.wear.plausible_wear import refuse_implausible

CHORDS = ("station_mm", "chord_before_mm", "chord_after_mm")
FACES = ("thickness_before_mm", "thickness_after_mm")
MASSES = ("mass_before_g", "mass_after_g")
BURN = ("duration_s", "chamber_pressure_bar", "pressure_log")
LOG_EXTRAS = (
    "vane1_deg", "vane2_deg", "vane3_deg", "vane4_deg",
    "side_y_n", "side_z_n", "roll_nm", "axial_n",
)  # fmt: skip
CALLIPER_MM = 0.05  # what a hand calliper on a burnt edge can be trusted to [practice]


@dataclass(frozen=True)
class InspectedBurn:
    """One burn: its number, and chamber pressure over time, (n,); two points for a known mean."""

    number: int
    time_s: Array
    pressure_bar: Array

    @property
    def duration_s(self) -> float:
        return float(self.time_s[-1] - self.time_s[0])

    @property
    def mean_pressure_bar(self) -> float:
        return float(np.trapezoid(self.pressure_bar, self.time_s) / self.duration_s)

    def load_s(self, reference_bar: float, exponent: float) -> float:
        """Equivalent seconds at the reference pressure, the integral of (pc/pc_ref)^exponent."""
        share = np.maximum(self.pressure_bar, 0.0) / reference_bar
        return float(np.trapezoid(share**exponent, self.time_s))


@dataclass(frozen=True)
class Specimen:
    """One vane after one burn: chords (n,) at stations (n,), masses; None where not measured."""

    burn: InspectedBurn
    vane: int
    station_mm: Array = field(default_factory=lambda: np.empty(0))
    chord_before_mm: Array = field(default_factory=lambda: np.empty(0))
    chord_after_mm: Array = field(default_factory=lambda: np.empty(0))
    mass_before_g: float | None = None
    mass_after_g: float | None = None
    thickness_before_mm: Array = field(default_factory=lambda: np.empty(0))
    thickness_after_mm: Array = field(default_factory=lambda: np.empty(0))

    @property
    def face_loss_mm(self) -> Array:
        """What each of the two faces lost, at the stations; empty where not measured."""
        return 0.5 * (self.thickness_before_mm - self.thickness_after_mm)

    @property
    def recession_mm(self) -> Array:
        return self.chord_before_mm - self.chord_after_mm

    @property
    def mass_loss_g(self) -> float | None:
        if self.mass_before_g is None or self.mass_after_g is None:
            return None
        return self.mass_before_g - self.mass_after_g


@dataclass(frozen=True)
class Inspection:
    """Everything one inspection file told."""

    file: str
    specimens: list[Specimen]
    rehearsal: bool = False

    @property
    def origin(self) -> str:
        """What a vehicle file says its wear is from."""
        return origin_of(self.file, self.rehearsal)

    @property
    def burns(self) -> list[InspectedBurn]:
        return list({s.burn.number: s.burn for s in self.specimens}.values())

    @property
    def has_chords(self) -> bool:
        return all(len(s.station_mm) > 0 for s in self.specimens)

    @property
    def has_masses(self) -> bool:
        return all(s.mass_loss_g is not None for s in self.specimens)


def read_inspection(
    path: FilePath, reference_bar: float, calliper_mm: float = CALLIPER_MM
) -> Inspection:
    """Read an inspection file. DataError names file, line, column and value of the first fault.

    Without a pressure a burn is taken to have been at the reference. A chord that grew by more
    than three calliper errors is a fault: the columns are swapped or the rows are.
    """
    rows = read_all(
        path, ("burn", "vane"), (*BURN, *CHORDS, *FACES, *MASSES, REHEARSAL), {"pressure_log": None}
    )
    _complete(rows)
    refuse_implausible(rows, reference_bar, calliper_mm)
    burn_number, vane = _whole(rows, "burn", 1, 100_000), _whole(rows, "vane", 1, 4)
    specimens = []
    burns: dict[int, InspectedBurn] = {}
    logs: dict[str, Rows] = {}  # each is read once, however many burns name it
    for number in np.unique(burn_number):
        burns[int(number)] = _burn(rows, int(number), burn_number == number, reference_bar, logs)
    for number, position in sorted(set(zip(burn_number.tolist(), vane.tolist(), strict=True))):
        mine = np.flatnonzero((burn_number == number) & (vane == position))
        specimens.append(_specimen(rows, burns[number], position, mine, calliper_mm))
    return Inspection(rows.file, specimens, rows.rehearsal)


def _complete(rows: Rows) -> None:
    """The columns that must come together do, and there is something to learn from."""
    file = rows.file
    for group in (CHORDS, FACES, MASSES):
        missing = [name for name in group if name not in rows]
        if missing and len(missing) < len(group):
            present = [name for name in group if name in rows]
            raise DataError(
                file, 1, ", ".join(missing), None, f"missing; goes with {', '.join(present)}"
            )
    if FACES[0] in rows and CHORDS[0] not in rows:
        raise DataError(file, 1, "station_mm", None, f"missing; {FACES[0]} is of a station")
    if CHORDS[0] not in rows and MASSES[0] not in rows:
        raise DataError(
            file, 1, None, None, f"must have {', '.join(CHORDS)} or {', '.join(MASSES)}"
        )
    if "duration_s" not in rows and "pressure_log" not in rows:
        raise DataError(file, 1, None, None, "must have duration_s or pressure_log")


def _whole(rows: Rows, column: str, low: int, high: int) -> NDArray[np.int64]:
    values = rows[column]
    bad = np.flatnonzero((values != np.round(values)) | (values < low) | (values > high))
    if len(bad):
        raise rows.fault(int(bad[0]), column, f"must be a whole number from {low} to {high}")
    return values.astype(np.int64)


def _positive(rows: Rows, column: str, row: int) -> float:
    value = float(rows[column][row])
    if not value > 0.0:
        raise rows.fault(row, column, "must be above 0")
    return value


def _constant(rows: Rows, column: str, mine: NDArray[np.int64], what: str) -> None:
    """A column that belongs to the whole of `mine` says the same in each of its rows."""
    differing = np.flatnonzero(rows[column][mine] != rows[column][mine[0]])
    if len(differing):
        raise rows.fault(
            int(mine[differing[0]]),
            column,
            f"must be {rows[column][mine[0]]} as in the first row of {what}",
        )


def _burn(
    rows: Rows,
    number: int,
    of_burn: NDArray[np.bool_],
    reference_bar: float,
    logs: dict[str, Rows],
) -> InspectedBurn:
    mine = np.flatnonzero(of_burn)
    for column in BURN:
        if column in rows:
            _constant(rows, column, mine, f"burn {number}")
    first = int(mine[0])
    log = str(rows["pressure_log"][first]) if "pressure_log" in rows else ""
    if log:
        return _logged(rows, number, first, log, logs)
    if "duration_s" not in rows:
        raise rows.fault(first, "pressure_log", "must name a file, as there is no duration_s")
    duration_s = _positive(rows, "duration_s", first)
    bar = reference_bar
    if "chamber_pressure_bar" in rows:
        bar = _positive(rows, "chamber_pressure_bar", first)
    return InspectedBurn(number, np.array([0.0, duration_s]), np.array([bar, bar]))


def _logged(rows: Rows, number: int, first: int, name: str, logs: dict[str, Rows]) -> InspectedBurn:
    path = Path(rows.file).parent / name
    if not path.is_file():
        raise rows.fault(first, "pressure_log", f"no such file beside the inspection: {path}")
    if name not in logs:
        logs[name] = read_all(path, ("time_s", "chamber_pressure_bar"), LOG_EXTRAS)
    log = logs[name]
    for column, most in (("time_s", 3600.0), ("chamber_pressure_bar", 500.0)):
        for row in np.flatnonzero(np.abs(log[column]) > most)[:1]:
            raise log.fault(row, column, f"must be from {-most:g} to {most:g}")
    back = np.flatnonzero(np.diff(log["time_s"]) <= 0.0)
    if len(back):
        raise log.fault(int(back[0]) + 1, "time_s", "time must increase from row to row")
    if len(log) < 2 or not np.any(log["chamber_pressure_bar"] > 0.0):
        raise DataError(
            log.file,
            None,
            "chamber_pressure_bar",
            None,
            "must have two rows or more, with a pressure above 0 somewhere",
        )
    return InspectedBurn(number, log["time_s"], log["chamber_pressure_bar"])


def _shrinks(rows: Rows, row: int, columns: tuple[str, ...], calliper_mm: float) -> None:
    """A length before and after, by column names, has not grown by more than the calliper errs."""
    before, after = (_positive(rows, column, row) for column in columns)
    if after - before > 3.0 * calliper_mm:
        raise rows.fault(
            row,
            columns[1],
            f"is {after - before:.3g} mm over {columns[0]}; a vane does not grow in the jet: are"
            " before and after swapped?",
        )


def _specimen(
    rows: Rows, burn: InspectedBurn, vane: int, mine: NDArray[np.int64], calliper_mm: float
) -> Specimen:
    what = f"vane {vane} after burn {burn.number}"
    chords: tuple[Array, ...] = ()
    if CHORDS[0] in rows:
        order = np.argsort(rows["station_mm"][mine], kind="stable")
        mine = mine[order]
        again = np.flatnonzero(np.diff(rows["station_mm"][mine]) == 0.0)
        if len(again):
            raise rows.fault(int(mine[again[0] + 1]), "station_mm", f"given twice for {what}")
        for row in mine:
            if rows["station_mm"][row] < 0.0:
                raise rows.fault(int(row), "station_mm", "must be at least 0, from the root")
            for columns in (CHORDS[1:], *((FACES,) if FACES[0] in rows else ())):
                _shrinks(rows, int(row), columns, calliper_mm)
        chords = tuple(rows[column][mine] for column in CHORDS)
    masses: list[float] = []
    if MASSES[0] in rows:
        for column in MASSES:
            _constant(rows, column, mine, what)
            masses.append(_positive(rows, column, int(mine[0])))
        if masses[1] > masses[0]:
            raise rows.fault(
                int(mine[0]), "mass_after_g", "must not be above mass_before_g: swapped?"
            )
    stations, before, after = chords or (np.empty(0),) * 3
    mass_before, mass_after = masses or (None, None)
    faces = [rows[c][mine] for c in FACES] if FACES[0] in rows else [np.empty(0)] * 2
    return Specimen(burn, vane, stations, before, after, mass_before, mass_after, *faces)
