"""A record run through the flight core here: the same integers, or which cycle differed first.

A node keeps of every answer one byte, of one answer in a block 30 bits, and at the end of each
arming its steering's whole state. What was listened to on the line has whole answers instead, but
the time steps only as they were heard, so that it need not agree to the last integer.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from zlib import crc32

import numpy as np

from mixer.flight import FlightTables, Steering
from mixer.flight import layout as at
from mixer.flight.servo_pulses import ServoPulses
from mixer.ground.flight_record import record_layout as r
from mixer.ground.flight_record.entries import (
    Answered,
    Counts,
    Cycle,
    Entry,
    Reading,
    State,
    Told,
    Words,
)
from mixer.ground.flight_record.record_file import SOURCE_LINE, Record, RecordError

SAFE, CHECKING = 0, 3  # of the states that a record tells: see firmware_port/protocol.py
NO_DEMAND = 1 << 30  # beyond what any tables take
INPUTS = (  # words of the state that a snapshot has of the cycle to come
    *range(at.DEMAND, at.BAD + 1),
    *range(at.WATCH_READING, at.WATCH_READING + at.VANES),
    at.WATCH_STATE,
)
COLUMNS = {  # of a replayed cycle, and how many numbers each has
    "dt_us": 1,
    "state": 1,
    "demanded": 1,  # whether a demand came for it
    "demand_mnm": 3,
    "moment_mnm": 3,
    "deflection_mdeg": 4,
    "reading_mdeg": 4,
    "pressure_pa": 1,
    "flags": 1,
    "ratio_q14": 1,
    "kappa_q14": 4,
    "load_us": 1,
    "time_us": 1,
    "jammed": 1,
    "sensors_out": 1,
}


@dataclass
class Replayed:
    """What came of a record. compared: integers held against the record; differing: how many of
    them differ; first_cycle: the number, from 1, of the cycle whose answer did first; counts: the
    node's counters as they stood, in order; told: number of the cycle to come, and what was told.
    columns: by COLUMNS, a row for each cycle.
    """

    exact: bool
    cycles: int = 0
    skipped: int = 0  # before the first snapshot: of a record that went round on the pad
    unchecked: int = 0  # the last so many: of a torn block, which no CRC-32 vouches for
    lost: int = 0
    compared: int = 0
    differing: int = 0
    first_cycle: int | None = None
    first_words: str = ""
    counts: list[dict[int, int]] = field(default_factory=list)
    told: list[tuple[int, Told]] = field(default_factory=list)
    states: list[tuple[int, int]] = field(default_factory=list)
    columns: dict[str, np.ndarray] = field(default_factory=dict)


def replay(
    record: Record, tables: FlightTables, done: Callable[[float], None] = lambda count: None
) -> Replayed:
    """Run a record with these tables. RecordError where it was made with others.

    done: called with the number of blocks that are through.
    """
    check_tables(record, tables)
    lost = int(record.header.get("lost", 0))
    run = Run(tables, exact=record.header["source"] != SOURCE_LINE, lost=lost)
    for number, block in enumerate(record.blocks):
        run.begin_block(block.cycles_before, block.check)
        for entry in block.entries:
            run.take(entry)
        done(number + 1)
    checked = run.found.cycles
    for entry in record.unchecked:
        run.take(entry)
    run.found.unchecked = run.found.cycles - checked
    return run.end()


def check_tables(record: Record, tables: FlightTables) -> None:
    """RecordError where the record names other tables than these."""
    ours, told = crc32(tables.to_bytes()), record.header.get("tables_crc", 0)
    if told not in (0, ours):
        raise RecordError(
            f"{record.path}: recorded with flight tables of CRC-32 {told:08x}, this vehicle's have "
            f"{ours:08x}; name the vehicle file that flew, as it was then"
        )


class Run:
    """A steering that is told what a record tells."""

    def __init__(self, tables: FlightTables, *, exact: bool, lost: int = 0) -> None:
        self.steering = Steering(tables)
        self.words = self.steering.core[1]
        self.pulses = ServoPulses()  # as they go out: those that a line tells
        self.pulses.begin(self.steering)
        self.found = Replayed(exact)
        self.running = not exact  # whether our state is the record's; a line's begins with a reset
        self.state = SAFE
        self.found.lost = lost
        self._first: int | None = None  # cycles before this record's first block
        self._known = 0  # words of a snapshot so far
        self._readings = [at.NO_READING] * at.VANES
        self._rows: dict[str, list[int]] = {name: [] for name in COLUMNS}

    # ---- what differs ---------------------------------------------------------------------------

    def _compare(self, ours: int, theirs: int, what: str) -> None:
        found = self.found
        found.compared += 1
        if ours != theirs:
            found.differing += 1
            if found.first_cycle is None:
                found.first_cycle = found.cycles + found.skipped + (self._first or 0)
                found.first_words = f"{what}: {ours} here, {theirs} in the record"

    def begin_block(self, cycles_before: int, check: int) -> None:
        """A block begins with what its writer knew."""
        found = self.found
        if self._first is None:
            self._first = cycles_before
        if found.exact and self.running and found.cycles:
            self._compare(r.check_of(self.words), check, "pulses and flags, folded")

    # ---- entries --------------------------------------------------------------------------------

    def take(self, entry: Entry) -> None:
        """Do what an entry tells."""
        match entry:
            case Cycle():
                self._cycle(entry)
            case Reading(vane, angle_mdeg):
                self._readings[vane] = angle_mdeg
            case Words(first, values):
                self._take_words(first, values)
            case Told():
                self.found.told.append((self._next, entry))
                self._tell(entry)
            case State(state):
                self.state = state
                self.found.states.append((self._next, state))
                self.running = self.running and (state != SAFE or not self.found.exact)
            case Counts(_, values):
                self.found.counts.append(dict(enumerate(values)))
            case Answered():
                self._compare_answer(entry)

    @property
    def _next(self) -> int:
        return self.found.cycles + self.found.skipped + (self._first or 0) + 1

    def _take_words(self, first: int, values: tuple[int, ...]) -> None:
        """The first snapshot of an arming is where we begin; later ones have to be ours."""
        if self.running:
            for word, value in enumerate(values, first):
                if word in INPUTS:
                    self.words[word] = value
                else:
                    self._compare(self.words[word], value, f"word {word} of the state")
            return
        if first == self._known:  # not the second half of one whose first half was written over
            for word, value in enumerate(values, first):
                self.words[word] = value
            self._known = (first + len(values)) % at.LASTING_WORDS
            self.running = self._known == 0

    def _tell(self, told: Told) -> None:
        steering, what = self.steering, told.what
        if what in (r.JAM, r.FREE):
            self.pulses.part(steering, told.first)
        if what == r.JAM:
            steering.jam(told.first, told.second)
        elif what == r.FREE:
            steering.free(told.first)
        elif what == r.START:
            if told.first:
                steering.start(told.first, told.second)
            else:
                steering.wait(told.second)
        elif what == r.BEGIN:
            steering.begin()
        elif what == r.TRUST:
            steering.trust(told.first)
        elif what == r.WATCH:
            if told.first == at.WATCH_OFF:
                self.pulses.part_all(steering, steering.declared)
            steering.watch(int(told.first != at.WATCH_OFF))
            if told.first == at.WATCH_ON:
                steering.sensed(*[at.NO_READING] * at.VANES)

    def _cycle(self, cycle: Cycle) -> None:
        if not self.running:
            self.found.skipped += 1
            return
        if self.found.exact and self.found.cycles:
            ours = r.byte_of(r.check_of(self.words))
            self._compare(ours, cycle.answer_byte, "pulses and flags, folded to a byte")
        steering = self.steering
        # A node's own record is of armed cycles alone; on a line the safe state is heard too.
        idle = not self.found.exact and self.state == SAFE
        if cycle.dropped or idle:
            steering.release()
        if cycle.refused:
            steering.demand(NO_DEMAND, 0, 0)
        if cycle.demand_mnm is not None and not idle:
            steering.demand(*cycle.demand_mnm)
        if self.words[at.WATCH_STATE] == at.WATCH_ON or self._sensed():
            steering.sensed(*self._readings)
        steering.step(cycle.pressure_pa, cycle.dt_us)
        self.pulses.follow(steering, cycle.dt_us, self.state not in (SAFE, CHECKING))
        self.found.cycles += 1
        self._keep(cycle)
        self._readings = [at.NO_READING] * at.VANES

    def _sensed(self) -> bool:
        return any(reading != at.NO_READING for reading in self._readings)

    def _compare_answer(self, told: Answered) -> None:
        pairs = (
            ("flags", (self.steering.flags,), (told.flags,)),
            ("deflection, 0.001°", self.steering.deflection_mdeg, told.deflection_mdeg),
            ("pulse, ns", self.pulses.pulse_ns, told.pulse_ns),
            ("moment, mN·m", self.steering.moment_mnm, told.moment_mnm),
        )
        for what, ours, theirs in pairs:
            for one, other in zip(ours, theirs, strict=True):
                self._compare(one, other, what)

    # ---- what is kept of a cycle ----------------------------------------------------------------

    def _keep(self, cycle: Cycle) -> None:
        w, rows = self.words, self._rows
        rows["dt_us"].append(cycle.dt_us)
        rows["state"].append(self.state)
        rows["demanded"].append(int(cycle.demand_mnm is not None))
        rows["demand_mnm"].extend(w[at.DEMAND : at.DEMAND + 3])
        rows["moment_mnm"].extend(self.steering.moment_mnm)
        rows["deflection_mdeg"].extend(self.steering.deflection_mdeg)
        rows["reading_mdeg"].extend(self._readings)
        rows["pressure_pa"].append(cycle.pressure_pa)
        rows["flags"].append(w[at.FLAGS])
        rows["ratio_q14"].append(w[at.RATIO])
        rows["kappa_q14"].extend(w[at.KAPPA : at.KAPPA + at.VANES])
        rows["load_us"].append(w[at.LOAD])
        rows["time_us"].append(w[at.TIME])
        rows["jammed"].append(w[at.JAMMED])
        rows["sensors_out"].append(w[at.SENSORS_OUT])

    def end(self) -> Replayed:
        """What came of all of it."""
        for name, width in COLUMNS.items():
            column = np.array(self._rows[name], np.int64)
            self.found.columns[name] = column.reshape(-1, width) if width > 1 else column
        return self.found
