"""From what passed on the line to a record, the same as the node's own, as far as a line can tell.

The node's time steps do not pass on the line: they are those between its answers, as heard, except
in a rehearsal, whose pace is said. A replay of such a record is near, not exact; the header says
where it is from. Cycles that the node runs by itself, without a demand, are heard of nowhere.
"""

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from firmware_port import protocol as p
from hil.node.node_link import read_numbers
from hil.tap.exchanges import RAN, Exchange
from hil.tap.listener import Listener
from mixer.flight import layout as at
from mixer.ground.flight_record import record_layout as r
from mixer.ground.flight_record.entries import Answered, Counts, Cycle, Entry, Reading, State, Told
from mixer.ground.flight_record.record_file import SOURCE_LINE, RecordWriter

SILENT_S = 0.1
FIRST_US = 5000  # for a first cycle with nothing to compare
OF_IDENTIFY = 12  # bytes before the board's name


class LineRecord:
    """Turns exchanges, in the order of their answers, into entries."""

    def __init__(self, first_us: int) -> None:
        self._state: int | None = None
        self._last_s: float | None = None
        self._pace_us: int | None = None
        self._first_us = first_us
        self._refused = False  # a demand out of range came since the last cycle

    def entries(self, each: Exchange) -> Iterator[Entry]:
        """What one exchange tells. Without an answer nobody knows what became of it: nothing."""
        answer = each.answer
        if answer is None:
            return
        if answer.state != self._state:
            self._state = answer.state
            yield State(answer.state)
        if each.kind in (p.DEMAND, p.PASS):
            yield from self._cycle(each)
        elif answer.verdict != p.TAKEN:
            yield Told(r.FRAME_REFUSED, each.kind, answer.verdict)
        elif each.request is not None:
            yield from self._told(each.kind, each.request.contents, answer.contents)

    def _cycle(self, each: Exchange) -> Iterator[Entry]:
        answer = each.answer
        assert answer is not None
        if answer.verdict not in RAN:
            yield Told(r.FRAME_REFUSED, each.kind, answer.verdict)
            self._refused |= answer.verdict == p.OUT_OF_RANGE
            return
        since_s = None if self._last_s is None else answer.at_s - self._last_s
        self._last_s = answer.at_s
        dt_us = self._first_us if since_s is None else round(1e6 * since_s)
        if self._pace_us is not None:
            dt_us = self._pace_us
        elif since_s is not None and since_s > SILENT_S:
            yield Told(r.SILENT, dt_us)
        if each.kind == p.PASS and each.request is not None:
            (dt_us,) = read_numbers(each.request.contents)
        demand, cycle = each.demand, each.cycle
        acted_on = demand is not None and answer.verdict == p.TAKEN
        pressure_pa = 0 if demand is None else demand.pressure_pa
        moment_mnm = None
        if demand is not None and acted_on:
            pitch, yaw, roll = demand.moment_mnm
            moment_mnm = pitch, yaw, roll
        yield Cycle(dt_us, pressure_pa, moment_mnm, refused=self._refused)
        self._refused = False
        if cycle is not None:
            yield Answered(cycle.flags, cycle.deflection_mdeg, cycle.pulse_ns, cycle.moment_mnm)

    def _told(self, kind: int, asked: bytes, answered: bytes) -> Iterator[Entry]:
        """What another request told the node, once it was taken."""
        if kind == p.JAM:
            yield Told(r.JAM, *read_numbers(asked))
        elif kind == p.FREE:
            yield Told(r.FREE, *read_numbers(asked))
        elif kind == p.START:
            yield Told(r.BEGIN)
        elif kind == p.BURN:
            yield Told(r.START, *read_numbers(asked, 4))  # burn time 0: it has yet to begin
        elif kind == p.FURTHER and asked[:1] == bytes((p.WATCH,)):
            (on,) = read_numbers(asked[1:])
            yield Told(r.WATCH, at.WATCH_WAITING if on else at.WATCH_OFF)
        elif kind == p.COUNTERS:
            yield Counts(read_numbers(asked)[0], read_numbers(answered))
        elif kind == p.PACE:
            self._pace_us = read_numbers(asked)[0]
        elif kind == p.SEE:
            *angles, followed = read_numbers(asked)
            for vane, angle_mdeg in enumerate(angles):
                if angle_mdeg != p.NO_ANGLE:
                    yield Reading(vane, angle_mdeg)
            if followed:
                yield Told(r.TRUST, followed)


def line_entries(exchanges: Sequence[Exchange]) -> list[Entry]:
    """All entries, in the order in which the node answered."""
    answered = sorted((e for e in exchanges if e.answer), key=answered_at)
    cycles_s = [answered_at(each) for each in answered if each.cycle]
    steps_us = 1e6 * np.diff(cycles_s)
    record = LineRecord(round(float(np.median(steps_us))) if len(steps_us) else FIRST_US)
    return [entry for each in answered for entry in record.entries(each)]


def answered_at(each: Exchange) -> float:
    assert each.answer is not None
    return each.answer.at_s


def identity(exchanges: Sequence[Exchange]) -> tuple[str, int]:
    """Board and CRC-32 of its tables, where an IDENTIFY passed; else nothing and 0."""
    for each in reversed(exchanges):
        answer = each.answer
        if each.kind == p.IDENTIFY and answer is not None and answer.verdict == p.TAKEN:
            _, _, high, low = read_numbers(answer.contents[:OF_IDENTIFY])
            return answer.contents[OF_IDENTIFY:].decode("ascii", "replace"), high << 16 | low
    return "", 0


def write_record(path: Path, listener: Listener) -> int:
    """Write what was heard as a record; how many cycles it has. The file must not be there yet."""
    exchanges = listener.end()
    board, tables_crc = identity(exchanges)
    header = {
        "source": SOURCE_LINE,
        "tables_crc": tables_crc,
        "board": board,
        "heard": listener.summary,
    }
    cycles = 0
    with RecordWriter(path, header) as writer:
        for entry in line_entries(exchanges):
            writer.put(entry)
            cycles += isinstance(entry, Cycle)
    return cycles
