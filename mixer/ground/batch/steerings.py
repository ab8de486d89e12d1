"""Many steerings that run side by side: N `Steering` objects of one vehicle, equal bit for bit."""

from collections.abc import Callable, Iterable
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from mixer.flight import FlightTables, commands
from mixer.flight import layout as at
from mixer.ground.batch.compiled import WORTH, machine, new_words
from mixer.ground.batch.cores import in_parts

PART = 2048  # steerings worth a thread
Words = NDArray[np.int32]
Mask = NDArray[np.bool_]
Rows = int | slice | NDArray[np.intp] | Mask


def prepare() -> None:
    """Compile what blocks need, once, before several processes ask for it at the same time."""
    for name in ("demand_rows", "sensed_rows", "look_rows", "cycle_rows"):
        machine().function(name)


class Steerings:
    """N steerings with the same flight tables, each with its own demand, load, time and jams.

    The state is what one cycle hands to the next (`mixer.flight.layout`), a row for each steering.

    After each `step`: `deflection_mdeg`, `pulse_ns`, `force` (4, N), `moment_mnm` (3, N) and
    `flags` (N,), as `Steering` has them. Rows are chosen by number, slice, numbers or mask.
    cycles: how many each will run, if few; then plain Python may be done before numba is loaded.
    """

    def __init__(self, tables: FlightTables, n: int, cycles: int = WORTH):
        self._new = new_words(tables)
        self._machine = machine(n * cycles)
        self._state = np.empty((n, at.LASTING_WORDS), np.int32)
        self._pieces = PART if self._machine.threads else max(n, 1)
        columns = self._state.T
        self.deflection_mdeg = columns[at.DEFLECTION : at.DEFLECTION + 4]
        self.pulse_ns = columns[at.PULSE : at.PULSE + 4]
        self.force = columns[at.FORCE : at.FORCE + 4]
        self.moment_mnm = columns[at.MOMENT : at.MOMENT + 3]
        self.flags, self.jammed = columns[at.FLAGS], columns[at.JAMMED]
        self.declared, self.jams_found = columns[at.WATCH_DECLARED], columns[at.WATCH_FOUND]
        self.sensors_out = columns[at.SENSORS_OUT]
        self.time_us, self.load_us = columns[at.TIME], columns[at.LOAD]
        self.burn = columns[at.BURN]
        self.ratio_q14 = columns[at.RATIO]
        self.reset(slice(None))

    def reset(self, rows: Rows) -> None:
        """Back to the moment before ignition: vanes neutral and free, new, no demand yet."""
        self._state[rows] = self._new[: at.LASTING_WORDS]

    def start(self, rows: Rows, time_us: ArrayLike, load_us: ArrayLike) -> None:
        """Set burn time and burn load, for runs that do not begin at ignition."""
        self._tell(rows, commands.start, time_us, load_us)

    def begin(self, rows: Rows) -> None:
        """The burn has begun; a clock that runs is never set back by it."""
        self._tell(rows, commands.begin)

    def release(self, rows: Rows) -> None:
        """Drop the demand: the vanes go to neutral at the slew rate until there is another."""
        self._tell(rows, commands.release)

    def jam(self, rows: Rows, vane: int, deflection_mdeg: ArrayLike) -> None:
        """Vane 1 … 4 stands still at this deflection (held inside its travel) until it is freed."""
        self._tell(rows, commands.jam, vane - 1, deflection_mdeg)

    def free(self, rows: Rows, vane: int) -> None:
        """Vane 1 … 4 moves again, from where it stood."""
        self._tell(rows, commands.free, vane - 1)

    def _tell(self, rows: Rows, command: Callable[..., Any], *values: ArrayLike) -> None:
        """Tell something to some steerings: values for all of them, or for each."""
        chosen = np.arange(len(self._state))[rows].ravel()
        words = self._new[:]
        columns = (np.broadcast_to(value, len(chosen)).tolist() for value in values)
        told: Iterable[Any] = zip(*columns, strict=True) if values else [()] * len(chosen)
        for row, given in zip(chosen, told, strict=True):
            words[: at.LASTING_WORDS] = type(words)("i", self._state[row].tolist())
            command(words, *given)
            self._state[row] = words[: at.LASTING_WORDS]

    def demand(self, demands_mnm: ArrayLike, heard: Mask | None = None) -> Mask:
        """Take demands (3, N), integers in mN·m, where `heard`; return which were taken, (N,).

        One out of range changes nothing but that row's next flags.
        """
        taken = np.empty(len(self._state), np.bool_)
        heard = np.ones_like(taken) if heard is None else heard
        self._run("demand_rows", np.asarray(demands_mnm, np.int64), heard, taken)
        return taken

    def sensed(self, readings_mdeg: ArrayLike, sees: Mask | None = None) -> None:
        """Tell where `sees` what the angle sensors say, (4, N), for the next step; `NO_READING`
        where one says nothing. From then on the jam watch is on: see `mixer.flight.jam_watch`.
        """
        sees = np.ones(len(self._state), np.bool_) if sees is None else sees
        self._run("sensed_rows", np.asarray(readings_mdeg, np.int64), sees)

    def trust(self, rows: Rows, vanes: ArrayLike) -> None:
        """A check on the ground has seen these vanes' sensors follow, bit 0 for vane 1."""
        self._tell(rows, commands.trust, vanes)

    def look(self, dt_us: ArrayLike, runs: Mask) -> None:
        """Run the jam watch alone on the vanes' readings, `dt_us` (N,) after it ran last, against
        whatever stands in `deflection_mdeg`: for comparisons with another steering.
        """
        self._run("look_rows", whole_numbers(dt_us, len(self._state)), runs)

    def watch(self, rows: Rows, on: bool) -> None:
        """Switch the jam watch off, and what it declared is free; or on again."""
        self._tell(rows, commands.watch, on)

    def step(self, pressure_pa: ArrayLike, dt_us: ArrayLike, runs: Mask | None = None) -> Words:
        """Run one control cycle, `dt_us` (N,) ≥ 0 after the last one; return the flags (N,).

        Where `runs` is given, the steerings that do not run now stay as they are.
        """
        n = len(self._state)
        runs = np.ones(n, np.bool_) if runs is None else runs
        self._run("cycle_rows", whole_numbers(pressure_pa, n), whole_numbers(dt_us, n), runs)
        return self.flags

    def _run(self, name: str, *columns: NDArray[Any]) -> None:
        """Run one of the loops over rows on the state and columns (…, N), in threads."""
        function = self._machine.function(name)

        def run(rows: slice) -> None:
            words = self._machine.words(self._new)
            function(words, self._state[rows], *(column[..., rows] for column in columns))

        in_parts(len(self._state), self._pieces, run)


def whole_numbers(values: ArrayLike, n: int) -> NDArray[np.int64]:
    """(n,) integers; one for all is spread, which takes as long as a dozen cycles."""
    numbers = np.asarray(values, np.int64)
    return numbers if numbers.shape == (n,) else np.broadcast_to(numbers, n)
