"""What the two ends of the serial link agree on: kinds of frames, their bodies, states, verdicts.

A body is: one byte version and kind, two bytes sequence number, then the contents. An answer has
the kind and the sequence number of its request, with ANSWER set, and one byte of state and verdict
before its contents. i32, i24, u24: numbers of 4 and 3 bytes. Nothing is ever 64 bytes long, since
some USB ports stall there.
"""

from mixer.flight.layout import PRESSURE_MOST_PA  # noqa: F401, part of what both ends agree on

VERSION = 1  # upper two bits of a body's first byte
ANSWER = 0x20  # then one bit; the kind is the lower five bits
KINDS = 32
FURTHERS = 32  # further kinds, 1 to 31; 0 is none
HEADER = 3  # bytes of a request before its contents
ANSWER_HEADER = 4
BODY_MOST = 56  # bytes; with CRC, COBS and the closing zero still below 64

# ---- requests: contents → contents of the answer -----------------------------------------------
DEMAND = 1  # i32 pitch, yaw, roll mN·m, u24 pressure Pa → flags byte, i24 four deflections 0.001°,
#             i24 four pulses ns, i24 cost of the step, i32 pitch, yaw, roll delivered mN·m
ASK = 2  # nothing → i24 token, good once and for ASK_US of cycles: the first step of ARM
ARM = 3  # i24 token → nothing. Sequence numbers count from this frame on
DISARM = 4  # i24 token, and sequence numbers count from this frame on; or 0, in order → nothing
JAM = 5  # i24 vane, i24 deflection 0.001° → nothing. Where the vane stands, not where it is to go
FREE = 6  # i24 vane → nothing
COUNTERS = 7  # i24 first → i24 counters from there on, at most COUNTERS_PAGE
IDENTIFY = 8  # nothing → i24 unit of cost, i24 tables' bytes, i24 upper and lower half of their
#               CRC-32, name of the board
TABLES_BEGIN = 9  # i24 bytes, i24 upper and lower half of their CRC-32 → i24 next offset. Where
#                   tables are stored, only before the first arming since the last reset
TABLES_PIECE = 10  # i24 offset, then at most PIECE bytes → i24 next offset
TABLES_COMMIT = 11  # nothing → i24 number of the first word that cannot stand in flight tables,
#                     0 where no word is to blame; NOT_NOW tells none
BURN = 12  # i32 burn time, i32 burn load µs → nothing. With a burn time of 0 the vanes are not new
#            and the burn has yet to begin; else it began so long ago: for a board that starts anew
STOP = 13  # nothing → nothing; the node ends and gives the line back
FORCES = 14  # nothing → i24 four forces in eighths of a count, i24 burn load ms, burn time ms
PACE = 15  # i24 µs, i24 1 for forces → nothing. This, PASS and SEE only where time comes over the
#            link (`paced.py`): from here on every demand is that much later than the frame before
#            it; with forces, answers to demands end in four forces, i24, eighths of a count
PASS = 16  # i24 µs → as DEMAND: time passes, a cycle runs, no demand comes
CHECK = 26  # i24 token, i24 deflection 0.001° → nothing: the control check on the pad. Sequence
#             numbers count from this frame on
CHECKED = 27  # nothing → i24 vanes that are through, i24 vanes whose sensor disagrees (bit 0 for
#               vane 1), i24 how far each sensor turned, 0.001°, NO_ANGLE for none. A check goes on
#               only while this is asked
START = 28  # nothing → nothing: the burn has begun. Said once more it changes nothing
BELIEF = 29  # nothing → i32 burn time, burn load µs, i32 for how long the pressure has been doubted
#              µs (0: it is not), i24 pc/pc_ref that counts, Q14, i24 vanes declared jammed, i24 the
#              burn clock: 0 stands, started by 1 the jet, 2 START or BURN; 3 and a reading believed
SEE = 30  # i24 four angles 0.001° as sensors would tell them, NO_ANGLE for none, i24 vanes whose
#           sensors a control check has seen to follow, bit 0 for vane 1 → nothing. For the next
#           cycle
STATE = 31  # never a request: the node says by itself that its state has changed
FURTHER = 0  # one byte that tells the further kind, then its contents → that byte, then its answer.
#              Of a further kind that nobody takes: unknown-kind. None is sent every cycle

# ---- further kinds: contents behind that byte → contents of the answer behind it ----------------
RECORD = 1  # nothing → i24 blocks that the record of a flight has room for, i24 numbers of its
#             oldest and newest block, i24 cycles since it began, i24 those that found no room
RECORD_BLOCK = 2  # i24 number → i24 upper and lower half of the block's CRC-32. This and the next
#                   two only in the safe state
RECORD_PIECE = 3  # i24 number, i24 piece → RECORD_WORDS words, i32 whole
RECORD_CLEAR = 4  # i24 number of the newest block → nothing: the record begins anew
WATCH = 5  # i24 0 to switch the jam watch off, 1 on → nothing. Off, what it declared is free
WATCHED = 6  # nothing → i24 the jam watch: 0 on, and waits for a first reading, 1 on, 2 off; i24
#              vanes whose angle sensors are believed, i24 those whose sensors are out, i24 vanes
#              that it holds to be jammed (bit 0 for vane 1), i24 how many jams it has declared
RECORD_WORDS = 12

COUNTERS_PAGE = 15
COUNTER_MOST = 0x7FFFFF  # where every counter stops
PIECE = 40
ASK_US = 2_000_000
NO_ANGLE = 0x7FFFFF  # where an angle sensor tells nothing
SEQUENCES = 0x10000
AHEAD = 4096  # a sequence number further ahead than this (20 s at 200 a second) counts as old

# ---- units of cost ------------------------------------------------------------------------------
MICROSECONDS, INSTRUCTIONS = range(2)

# ---- states, upper four bits of an answer's fourth byte ---------------------------------------
SAFE, ARMED, LINK_LOST, CHECKING = range(4)
STATE_NAMES = ("safe", "armed", "link-lost", "checking")

# ---- verdicts, its lower four bits --------------------------------------------------------------
TAKEN = 0
REPEATED = 1  # this sequence number was taken before
STALE = 2  # an older one than the last taken
OUT_OF_RANGE = 3
NOT_ARMED = 4  # answered, not acted on
WRONG_LENGTH = 5
UNKNOWN_KIND = 6
NO_TABLES = 7
WRONG_TOKEN = 8
NOT_NOW = 9  # not in this state
OUT_OF_ORDER = 10  # not the piece that comes next
BAD_TABLES = 11
NO_ROOM = 12
NOT_STORED = 13
VERDICT_NAMES = (
    "taken",
    "repeated",
    "stale",
    "out-of-range",
    "not-armed",
    "wrong-length",
    "unknown-kind",
    "no-tables",
    "wrong-token",
    "not-now",
    "out-of-order",
    "bad-tables",
    "no-room",
    "not-stored",
)

# ---- counters: those of refusals stand where their verdict does ---------------------------------
CYCLES = 14
SLIPS = 15  # cycles that began more than a quarter of a period late
DAMAGED = 16  # what the codec refused: cut, joined, flipped
WRONG_VERSION = 17
OVERTAKEN = 18  # demands that a newer one replaced before a cycle took them
TO_SAFE = 19
TO_ARMED = 20
TO_LINK_LOST = 21
TABLES_TAKEN = 22
TO_CHECKING = 23
COUNTER_COUNT = 24
COUNTER_NAMES = VERDICT_NAMES + (  # noqa: RUF005, which MicroPython cannot read
    "cycles",
    "slips",
    "damaged",
    "wrong-version",
    "overtaken",
    "to-safe",
    "to-armed",
    "to-link-lost",
    "tables-taken",
    "to-checking",
)
