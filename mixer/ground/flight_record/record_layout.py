"""What a record of a flight is made of: blocks of words, and the entries in them.

A cycle is exact, so that what a steering was told is enough to have all of it again. A block is
BLOCK_WORDS words, the first three its head; then entries, each one or more words; a 0 where one
would begin ends the block. An entry is told by the low bits of its first word.
"""

from mixer.flight.layout import FLAGS, PULSE

BLOCK_WORDS = 60  # a node leaves the last one for the state that ends its record
NUMBER = 0  # of the block, from 1
CYCLES_BEFORE = 1  # cycles since the record began, those that found no room among them
CHECK = 2  # of what the last cycle before it answered, see `check_of`
FIRST = 3  # where its entries begin

# A cycle's entry, the only one whose first word is odd, of CYCLE_WORDS words:
#   pressure Pa << 8 | dt µs >> 8 << 1 | 1
#   pitch mN·m << 4 | lower half of `byte_of` the last answer
#   yaw mN·m << 4 | upper half of it
#   roll mN·m << 8 | dt & 255
# A demand came for that cycle. What does not fit, and a cycle without one, is a WIDE entry.
CYCLE_WORDS = 4
PRESSURE_BITS = 23
DT_BITS = 15
MOMENT_BITS = 28
ROLL_BITS = 24

# The others: their kind in the low four bits of the first word.
WIDE = 2  # | flags << 4 | `byte_of` << 8; dt, pressure, pitch, yaw, roll: any cycle
READING = 4  # | (vane 0 to 3) << 4 | angle 0.001° << 6: an angle sensor's, for the next cycle
STATE = 6  # | state << 4: the node is in it from here on
TOLD = 8  # | what << 4; two numbers
WORDS = 10  # | count << 4 | first << 12; so many words of the steering's state, before the cycle
COUNTS = 12  # | count << 4 | first << 12; so many of the node's counters
ANSWERED = 14  # | flags << 4; four deflections, four pulses, three moments: what it gave before
WIDE_WORDS = 6
TOLD_WORDS = 3
ANSWERED_WORDS = 12

# Flags of WIDE.
FRESH = 1  # a demand came
DROPPED = 2  # what came before counts no longer
REFUSED = 4  # a demand out of range came

# What TOLD tells, with its two numbers: those that come in a frame by its kind.
JAM = 5  # vane 1 to 4, deflection
FREE = 6  # vane
START = 12  # burn time, burn load µs: the burn began so long ago; with 0 it has yet to begin
BEGIN = 28  # the burn has begun
TRUST = 30  # vanes whose angle sensors are believed, bit 0 for vane 1
WATCH = 7  # the jam watch is WATCH_WAITING, WATCH_ON or WATCH_OFF
# These by who listens to the line.
FRAME_REFUSED = 9  # kind of frame, verdict
FRAME_DAMAGED = 10  # bytes
SILENT = 11  # µs since the last frame


def check_of(w):
    """What a record keeps of a cycle's answer: its pulses and flags, folded to below 2^30."""
    pulses = w[PULSE] ^ (w[PULSE + 1] << 2) ^ (w[PULSE + 2] << 4) ^ (w[PULSE + 3] << 6)
    return pulses ^ (w[FLAGS] << 8)


def byte_of(check):
    """What each cycle's entry has room for: of the cycle before it."""
    return (check ^ (check >> 9) ^ (check >> 17)) & 0xFF
