"""What stands in a record, entry by entry: from words to what they tell, and back.

The words are laid out in `record_layout.py`.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from mixer.ground.flight_record import record_layout as r


@dataclass(frozen=True)
class Cycle:
    """What a cycle was told. demand_mnm: pitch, yaw, roll; None where none came for it.

    answer_byte: `byte_of` what the cycle before answered. dropped: what was demanded before counts
    no longer. refused: a demand out of range came.
    """

    dt_us: int
    pressure_pa: int
    demand_mnm: tuple[int, int, int] | None
    answer_byte: int = 0
    dropped: bool = False
    refused: bool = False


@dataclass(frozen=True)
class Reading:
    """What the angle sensor of a vane, 0 to 3, said for the next cycle, 0.001°."""

    vane: int
    angle_mdeg: int


@dataclass(frozen=True)
class State:
    """The node is in this state from here on."""

    state: int


@dataclass(frozen=True)
class Told:
    """Something else told, or heard on the line: `what` of `record_layout`, two numbers."""

    what: int
    first: int = 0
    second: int = 0


@dataclass(frozen=True)
class Words:
    """Some words of the steering's state, as they stood before the next cycle."""

    first: int
    values: tuple[int, ...]


@dataclass(frozen=True)
class Counts:
    """Some of the node's counters."""

    first: int
    values: tuple[int, ...]


@dataclass(frozen=True)
class Answered:
    """What the cycle before gave, where its answer was heard: 0.001°, ns, mN·m."""

    flags: int
    deflection_mdeg: tuple[int, ...]
    pulse_ns: tuple[int, ...]
    moment_mnm: tuple[int, ...]


Entry = Cycle | Reading | State | Told | Words | Counts | Answered


@dataclass(frozen=True)
class Block:
    """One block: its number, the cycles before it, `check_of` the last of them, its entries."""

    number: int
    cycles_before: int
    check: int
    entries: list[Entry] = field(default_factory=list)


class EntryError(ValueError):
    """Words that are no entries."""


def read_block(words: Sequence[int]) -> Block:
    """A block from its BLOCK_WORDS words. EntryError where they are none."""
    block = Block(words[r.NUMBER], words[r.CYCLES_BEFORE], words[r.CHECK])
    block.entries.extend(read_entries(words[r.FIRST :]))
    return block


def read_entries(words: Sequence[int]) -> Iterator[Entry]:
    """Entries up to the end of the block."""
    at = 0
    while at < len(words) and words[at]:
        entry, count = read_entry(words[at:])
        yield entry
        at += count


def read_entry(words: Sequence[int]) -> tuple[Entry, int]:
    """The first entry and how many words it has."""
    first = words[0]
    kind = first & 15
    count = length(first)
    if count > len(words):
        raise EntryError(f"an entry of kind {kind} runs past the end of its block")
    rest = words[1:count]
    if first & 1:
        return read_cycle(words), count
    if kind == r.WIDE:
        return read_wide(words), count
    if kind == r.READING:
        return Reading(first >> 4 & 3, first >> 6), count
    if kind == r.STATE:
        return State(first >> 4), count
    if kind == r.TOLD:
        return Told(first >> 4, *rest), count
    if kind == r.WORDS:
        return Words(first >> 12, tuple(rest)), count
    if kind == r.COUNTS:
        return Counts(first >> 12, tuple(rest)), count
    return Answered(first >> 4, tuple(rest[:4]), tuple(rest[4:8]), tuple(rest[8:])), count


def length(first: int) -> int:
    """Words of an entry, by its first. EntryError where no entry begins so."""
    if first & 1:
        return r.CYCLE_WORDS
    kind = first & 15
    lengths = {
        r.WIDE: r.WIDE_WORDS,
        r.READING: 1,
        r.STATE: 1,
        r.TOLD: r.TOLD_WORDS,
        r.WORDS: 1 + (first >> 4 & 0xFF),
        r.COUNTS: 1 + (first >> 4 & 0xFF),
        r.ANSWERED: r.ANSWERED_WORDS,
    }
    if kind not in lengths:
        raise EntryError(f"no entry begins with {first}")
    return lengths[kind]


def read_cycle(words: Sequence[int]) -> Cycle:
    """A CYCLE entry."""
    first, pitch, yaw, roll = words[: r.CYCLE_WORDS]
    return Cycle(
        dt_us=(first >> 1 & 0x7F) << 8 | roll & 0xFF,
        pressure_pa=first >> 8,
        demand_mnm=(pitch >> 4, yaw >> 4, roll >> 8),
        answer_byte=(yaw & 15) << 4 | pitch & 15,
    )


def read_wide(words: Sequence[int]) -> Cycle:
    """A WIDE entry."""
    first, dt_us, pressure_pa, pitch, yaw, roll = words[: r.WIDE_WORDS]
    flags = first >> 4 & 15
    return Cycle(
        dt_us=dt_us,
        pressure_pa=pressure_pa,
        demand_mnm=(pitch, yaw, roll) if flags & r.FRESH else None,
        answer_byte=first >> 8 & 0xFF,
        dropped=bool(flags & r.DROPPED),
        refused=bool(flags & r.REFUSED),
    )


def words_of(entry: Entry) -> list[int]:
    """The words of an entry."""
    match entry:
        case Cycle():
            return words_of_cycle(entry)
        case Reading(vane, angle_mdeg):
            return [r.READING | vane << 4 | angle_mdeg << 6]
        case State(state):
            return [r.STATE | state << 4]
        case Told(what, first, second):
            return [r.TOLD | what << 4, first, second]
        case Words(first, values):
            return [r.WORDS | len(values) << 4 | first << 12, *values]
        case Counts(first, values):
            return [r.COUNTS | len(values) << 4 | first << 12, *values]
        case Answered(flags, deflections, pulses, moments):
            return [r.ANSWERED | flags << 4, *deflections, *pulses, *moments]


def words_of_cycle(cycle: Cycle) -> list[int]:
    """The short entry where it fits, else the wide one."""
    moment = cycle.demand_mnm
    if moment is not None and fits(cycle, moment):
        byte, dt_us = cycle.answer_byte, cycle.dt_us
        return [
            cycle.pressure_pa << 8 | dt_us >> 8 << 1 | 1,
            moment[0] << 4 | byte & 15,
            moment[1] << 4 | byte >> 4,
            moment[2] << 8 | dt_us & 0xFF,
        ]
    fresh, dropped, refused = moment is not None, cycle.dropped, cycle.refused
    flags = r.FRESH * fresh | r.DROPPED * dropped | r.REFUSED * refused
    first = r.WIDE | flags << 4 | cycle.answer_byte << 8
    return [first, cycle.dt_us, cycle.pressure_pa, *(moment or (0, 0, 0))]


def fits(cycle: Cycle, moment: tuple[int, int, int]) -> bool:
    """Whether a cycle fits its short entry."""
    plain = not cycle.dropped and not cycle.refused
    return (
        plain
        and 0 <= cycle.dt_us < 1 << r.DT_BITS
        and 0 <= cycle.pressure_pa < 1 << r.PRESSURE_BITS
        and all(signed_fits(each, r.MOMENT_BITS) for each in moment[:2])
        and signed_fits(moment[2], r.ROLL_BITS)
    )


def signed_fits(value: int, bits: int) -> bool:
    return -(1 << bits - 1) <= value < 1 << bits - 1
