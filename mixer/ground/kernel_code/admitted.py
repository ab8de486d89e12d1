"""What the steering words can hold when a cycle begins, and where a search can stand then."""

from collections.abc import Sequence

from mixer.flight import layout as at
from mixer.flight.interpolate import force_at
from mixer.ground.kernel_code.spans import Span

SMALL = 1 << 30  # beyond this a board's interpreter boxes a number at a function boundary

MOST_RATIO = 32767  # pc/pc_ref, Q14

# Steering words that hold the place of a record, and the table: its place, its number of points,
# how many records it has besides, the length of a record.
HINTS = {
    at.WEAR_HINT: (at.WEAR_OFF, at.WEAR_N, 1, at.WEAR_STRIDE),
    at.LEVER_HINT: (at.LEVER_OFF, at.LEVER_N, 1, at.LEVER_STRIDE),
    at.EXPECTED_HINT: (at.EXPECTED_OFF, at.EXPECTED_N, 1, at.EXPECTED_STRIDE),
}
# The same for words that tell where the cells of a table stand.
CELLS = {}
for _i in range(at.VANES):
    CELLS[at.CURVE_CELLS + _i] = (at.CURVE_OFF + _i, at.CURVE_N + _i, 1, at.CURVE_STRIDE)
    CELLS[at.FORCE_CELLS + _i] = (at.CURVE_OFF + _i, at.CURVE_N + _i, 1, at.CURVE_STRIDE)
    CELLS[at.SERVO_CELLS + _i] = (at.SERVO_OFF + _i, at.SERVO_N + _i, -1, at.SERVO_STRIDE)
PLACES = HINTS | CELLS


def places(words: Sequence[int], leads_there: int) -> range:
    """Where the records stand that a hint or a cell may lead to: all that another one follows."""
    offset_at, points_at, more, stride = PLACES[leads_there]
    first = words[offset_at]
    return range(first, first + (words[points_at] + more) * stride, stride)


def table_of(words: Sequence[int], place: int) -> range:
    """Where the records of the table stand that has one at this place."""
    return next(found for leads in PLACES if place in (found := places(words, leads)))


def admitted(words: Sequence[int]) -> list[Span]:
    """Anything a steering state can hold when a cycle begins.

    What a cycle works out for itself holds nothing yet: it would be a fault to read it.
    """
    state: list[Span] = [(0, 0)] * at.STATE_WORDS
    for axis, most in enumerate((at.MNM_MAX, at.MNM_MAX, at.ROLL_MNM_MAX)):
        state[at.DEMAND + axis] = (-words[most], words[most])
    state[at.LOAD] = state[at.TIME] = (-at.LAST_US, at.LAST_US)
    state[at.LOAD_FRACTION] = (0, 16383)
    rates = words[words[at.RATE_OFF] :][:128]
    state[at.RATE] = (0, max(rates[:64]) + max(rates[64:]))
    state[at.BAD] = (0, at.BAD_DEMAND)
    state[at.BURN] = (at.WAITING, at.BELIEVED)
    state[at.SINCE_US] = (0, at.LAST_US)
    state[at.BELIEVED_RATIO] = state[at.RATIO] = (0, MOST_RATIO)
    state[at.BELIEVED_EXPECTED] = (1, MOST_RATIO)
    state[at.JAMMED] = (0, (1 << at.VANES) - 1)
    state[at.AGE] = (0, words[at.TIMEOUT_US] + at.LONGEST_GAP_US)
    watched(words, state)
    for hint in HINTS:
        records = places(words, hint)
        state[hint] = (records[0], records[-1])
    for i in range(at.VANES):
        travel = (words[at.TRAVEL_LO + i], words[at.TRAVEL_HI + i])
        state[at.DEFLECTION + i] = state[at.LIMIT_LO + i] = state[at.LIMIT_HI + i] = travel
        forces = [force_at(words, i, angle) for angle in extremes(words, i)]
        state[at.REACH_LO + i] = state[at.REACH_HI + i] = (min(forces), max(forces))
    return state


def extremes(words: Sequence[int], vane: int) -> list[int]:
    """Deflections among which a vane's curve, which rises, gives most and least: the ends of travel
    and of each piece, where a slope's rounding may have gone beyond the next one's beginning."""
    lo, hi = words[at.TRAVEL_LO + vane], words[at.TRAVEL_HI + vane]
    ends = [words[place] - 1 for place in places(words, at.CURVE_CELLS + vane)]
    return [lo, *(angle for angle in ends if lo < angle < hi), hi]


def watched(words: Sequence[int], state: list[Span]) -> None:
    """What the words of the jam watch can hold."""
    for word in (at.WATCH_BELIEVED, at.SENSORS_OUT, at.WATCH_SENSORS, at.WATCH_DECLARED):
        state[word] = (0, (1 << at.VANES) - 1)
    state[at.WATCH_STATE] = (at.WATCH_WAITING, at.WATCH_OFF)
    state[at.WATCH_FOUND] = (0, at.LAST_US)
    for i in range(at.VANES):
        band = words[at.WATCH_BAND + i]
        seen = (words[at.TRAVEL_LO + i] - band, words[at.TRAVEL_HI + i] + band)
        seen = (min(seen[0], 0), max(seen[1], 0))  # 0 before the first reading
        for word in (at.WATCH_SEEN, at.WATCH_FROM, at.WATCH_ANCHOR):
            state[word + i] = seen
        state[at.WATCH_READING + i] = (-at.NO_READING, at.NO_READING)
        state[at.WATCH_SILENT_US + i] = state[at.WATCH_GAP_US + i] = (0, at.LONGEST_DT_US)
        state[at.WATCH_STILL_US + i] = (-at.LONGEST_GAP_US, at.LONGEST_GAP_US)
