"""What the steering words can hold when a cycle begins, and where a search can stand then."""

from mixer.flight import layout as at
from mixer.ground.word_spans import Span

SMALL = 1 << 30  # beyond this a board's interpreter boxes a number at a function boundary

# Steering words that hold the place of a record, and the table: its place, its number of points,
# how many records it has besides, the length of a record.
HINTS = {
    at.WEAR_HINT: (at.WEAR_OFF, at.WEAR_N, 1, at.WEAR_STRIDE),
    at.LEVER_HINT: (at.LEVER_OFF, at.LEVER_N, 1, at.LEVER_STRIDE),
}
# The same for words that tell where the cells of a table stand.
CELLS = {}
for _i in range(4):
    CELLS[at.CURVE_CELLS + _i] = (at.CURVE_OFF + _i, at.CURVE_N + _i, 1, at.CURVE_STRIDE)
    CELLS[at.FORCE_CELLS + _i] = (at.CURVE_OFF + _i, at.CURVE_N + _i, 1, at.CURVE_STRIDE)
    CELLS[at.SERVO_CELLS + _i] = (at.SERVO_OFF + _i, at.SERVO_N + _i, -1, at.SERVO_STRIDE)


def places(words: list[int], leads_there: int) -> range:
    """Where the records stand that a hint or a cell may lead to: all that another one follows."""
    offset_at, points_at, more, stride = (HINTS | CELLS)[leads_there]
    first = words[offset_at]
    return range(first, first + (words[points_at] + more) * stride, stride)


# Words that one cycle hands to the next.
LASTING = {
    *range(at.DEFLECTION, at.DEFLECTION + 4),
    *range(at.STEP, at.STEP + 4), at.DT, at.AGE, at.LOAD, at.LOAD_FRACTION, at.TIME, at.RATE,
    *HINTS,
}  # fmt: skip


def admitted(words: list[int]) -> list[Span]:
    """Anything a steering state can hold when a cycle begins."""
    state: list[Span] = [(0, 0)] * at.STATE_WORDS
    for axis, most in enumerate((at.MNM_MAX, at.MNM_MAX, at.ROLL_MNM_MAX)):
        state[at.DEMAND + axis] = (-words[most], words[most])
    state[at.DT] = (0, at.LONGEST_GAP_US)
    longest = 1_000_000_000
    state[at.LOAD] = state[at.TIME] = (-longest, longest)
    state[at.LOAD_FRACTION] = (0, 16383)
    rates = words[words[at.RATE_OFF] :][:128]
    state[at.RATE] = (0, max(rates[:64]) + max(rates[64:]))
    state[at.NEUTRAL] = (0, 1)
    state[at.BAD] = (0, at.BAD_DEMAND)
    state[at.JAMMED] = (0, 15)
    state[at.AGE] = (0, words[at.TIMEOUT_US] + at.LONGEST_GAP_US)
    for hint in HINTS:
        records = places(words, hint)
        state[hint] = (records[0], records[-1])
    for i in range(4):
        travel = (words[at.TRAVEL_LO + i], words[at.TRAVEL_HI + i])
        state[at.DEFLECTION + i] = state[at.LIMIT_LO + i] = state[at.LIMIT_HI + i] = travel
        state[at.STEP + i] = (0, max(1_000_000, words[at.SLEW_MDEG_S + i]))
    return state
