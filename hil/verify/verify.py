"""Does a board compute what the laptop computes, at what cost, and how fast over its line?"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from statistics import median
from typing import Any

from firmware_port import protocol as p
from hil.boards.board import Board
from hil.boards.node_on_board import NodeOnBoard, kept_tables_crc32, node_on
from hil.node.errors import BoardError
from hil.node.node_link import NodeLink
from hil.node.record_fetch import held_by
from hil.verify.rehearsal import WINDOW, Exchange, Played, make_record, play
from hil.verify.stimuli import RandomCycles, flight, recorded
from mixer.flight import FLAG_NAMES, FlightTables
from mixer.flight import layout as at

SEEDS = 12
CYCLES = 20_000
COUNTED_CYCLES = 40  # few, so that even a node that takes heap gets through them
SPEED_CYCLES = 4000  # at most: no more than are played in all, and two windows
Rows = Sequence[tuple[int, ...]]
Progress = Callable[[str, float], None]


@dataclass
class Findings:
    """What `verify` found. Costs are None where the board has no counter of that kind."""

    board: str
    machine: str
    release: str
    core: str  # in which form the flight core runs
    image_bytes: int
    seeds: list[int]
    played: Played = field(default_factory=Played)
    unit: int = p.MICROSECONDS
    heap_bytes_per_cycle: float = 0.0
    heap_locked: bool = True  # every cycle outside the safe state ran under a locked heap
    round_trips_per_s: float = 0.0  # median over windows of some hundred
    best_round_trips_per_s: float = 0.0
    kept_tables_crc32: str | None = None  # of the board's own tables, as IDENTIFY tells it
    record_s: float | None = None  # of flight that its record has room for; None: it keeps none

    @property
    def passed(self) -> bool:
        return self.played.mismatches == 0 and self.heap_bytes_per_cycle == 0 and self.heap_locked

    def costs(self, unit: int) -> tuple[int | None, int | None]:
        """Worst and median cost of a step in this unit."""
        if unit != self.unit or not self.played.costs:
            return None, None
        return max(self.played.costs), round(median(self.played.costs))

    def as_dict(self) -> dict[str, Any]:
        """For --json."""
        worst_instructions, median_instructions = self.costs(p.INSTRUCTIONS)
        worst_us, median_us = self.costs(p.MICROSECONDS)
        return {
            "board": self.board,
            "machine": self.machine,
            "release": self.release,
            "core": self.core,
            "cycles": self.played.cycles,
            "seeds": self.seeds,
            "mismatches": self.played.mismatches,
            "first_mismatch": self.played.first_mismatch,
            "worst_instructions": worst_instructions,
            "median_instructions": median_instructions,
            "worst_us": worst_us,
            "median_us": median_us,
            "heap_bytes_per_cycle": self.heap_bytes_per_cycle,
            "heap_locked": self.heap_locked,
            "round_trips_per_s": round(self.round_trips_per_s, 1),
            "best_round_trips_per_s": round(self.best_round_trips_per_s, 1),
            "image_bytes": self.image_bytes,
            "kept_tables_crc32": self.kept_tables_crc32,
            "record_s": None if self.record_s is None else round(self.record_s, 1),
            "flags": dict(zip(FLAG_NAMES, self.played.flags, strict=False)),
        }


def verify(
    board: Board,
    tables: FlightTables,
    *,
    name: str,
    first_seed: int = 0,
    seeds: int = SEEDS,
    cycles: int = CYCLES,
    rows: Rows | None = None,
    progress: Progress = lambda stage, share: None,
) -> Findings:
    """Put the node on a board and play the same cycles to it and to the node in this process.

    name: of the board, for the report. seeds: random runs, seeded first_seed and up; cycles: in
    all, a quarter of them a recorded flight. rows: that flight, see `stimuli.recorded`; by default
    an invented one. progress: called with a stage and the share of it that is done.
    CAUTION: pulses are only recorded, no servo moves; still, take the servo power off first.
    """
    chosen = list(range(first_seed, first_seed + seeds))
    with node_on(board, progress=lambda share: progress("deploying", share)) as there:
        findings = Findings(
            board=name,
            machine=there.facts.machine,
            release=there.facts.release,
            core=there.core,
            image_bytes=there.image_bytes,
            seeds=chosen,
            kept_tables_crc32=kept_tables_crc32(there.link, there.facts),
        )
        session = _Session(there, findings)
        flown = rows if rows is not None else list(flight(tables, cycles // 4))
        session.play(
            make_record(tables, lambda node: recorded(node, tables, flown)),
            lambda share: progress("recorded flight", share),
        )
        per_seed = -(-(cycles - len(flown)) // seeds)
        for i, seed in enumerate(chosen):
            session.play(
                random_record(tables, seed, per_seed),
                lambda share, i=i: progress("random cycles", (i + share) / seeds),
            )
        session.count_heap(tables)
        timed = min(SPEED_CYCLES, max(cycles, 2 * WINDOW))
        session.measure_speed(tables, timed, lambda share: progress("round trips", share))
        session.measure_record(tables)
    return findings


def random_record(tables: FlightTables, seed: int, cycles: int) -> list[Exchange]:
    """The record of one seed."""
    return make_record(tables, lambda node: RandomCycles(node, tables, seed).run(cycles))


class _Session:
    """Runs of the node on a deployed board; what they find goes into `findings`."""

    def __init__(self, there: NodeOnBoard, findings: Findings):
        self._there = there
        self._findings = findings
        node = NodeLink(there.start("rehearse"))
        _, findings.unit, _ = node.identify()
        node.stop()
        there.link.finish()

    def play(self, record: list[Exchange], progress: Callable[[float], None]) -> Played:
        """Play a record with the heap locked; where it is needed after all, note it and go on."""
        heap = "locked" if self._findings.heap_locked else "free"
        try:
            played, _ = self._run(record, heap, progress)
        except _HeapTakenError:
            self._findings.heap_locked = False
            played, _ = self._run(record, "free", progress)
        self._findings.played.add(played)
        return played

    def count_heap(self, tables: FlightTables) -> None:
        """Heap that a cycle takes, by the collector's own account."""

        def drive(node: NodeLink) -> None:
            recorded(node, tables, list(flight(tables, 4 * COUNTED_CYCLES))[-COUNTED_CYCLES:])

        _, printed = self._run(make_record(tables, drive), "counted", lambda share: None)
        used, cycles = map(int, printed.split())
        self._findings.heap_bytes_per_cycle = used / cycles

    def measure_speed(
        self, tables: FlightTables, cycles: int, progress: Callable[[float], None]
    ) -> None:
        """Round trips a second, window by window, since other programs on this computer take
        their share of some."""

        def drive(node: NodeLink) -> None:
            node.arm()
            for row in flight(tables, cycles):
                node.demand(*row[1:])
            node.disarm()

        played, _ = self._run(make_record(tables, drive), "free", progress)
        self._findings.round_trips_per_s = median(played.rates_per_s)
        self._findings.best_round_trips_per_s = max(played.rates_per_s)

    def measure_record(self, tables: FlightTables) -> None:
        """How much of a flight the node's record has room for, beside these tables."""
        if not self._there.facts.file_system:
            return  # its memory holds the node's files; they leave no room
        node = NodeLink(self._there.start("rehearse", "free", "record"))
        node.load_tables(tables.to_bytes())
        self._findings.record_s = held_by(node).seconds(tables.words[at.PERIOD_US])
        node.stop()
        self._there.link.finish()

    def _run(
        self, record: list[Exchange], heap: str, progress: Callable[[float], None]
    ) -> tuple[Played, str]:
        stream = self._there.start("rehearse", heap)
        done = 0

        def advance(count: int) -> None:
            nonlocal done
            done += count
            progress(done / len(record))

        try:
            played = play(record, stream, advance)
        except BoardError as error:
            self._ended_early(error)
        return played, self._there.link.finish()

    def _ended_early(self, error: BoardError) -> None:
        """Find out from the board itself why it fell silent."""
        try:
            self._there.link.finish(timeout_s=2)
        except BoardError as said:
            if "MemoryError" in str(said):
                raise _HeapTakenError from None
            if "Traceback" in str(said):
                raise BoardError(f"the node ended with an exception: {said}") from None
        raise error


class _HeapTakenError(Exception):
    """A cycle wanted heap while it was locked."""
