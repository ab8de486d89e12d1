"""The test stand's requests and their limits; contents as in `firmware_port/protocol.py`.

Their kinds are also the servo bench's: a node has one of the two at work, never both. No request
here is as long as the bench's of the same kind, so that whoever talks to the wrong node is told
`wrong-length` by its first frame, and nothing moves.
"""

BEGIN = 17  # i24 knots, upper and lower half of their CRC-32, number of the run → nothing
KNOTS = 18  # i24 first, then at most PIECE knots: i24 time in ticks, i24 four deflections 0.001°
#             → i24 next. Straight from knot to knot
LOOK = 19  # nothing → i24 phase, i24 supply mV (-1: not measured), i24 four angles 0.001°,
#            NO_ANGLE for none
GO = 20  # i24 number of the run, i24 1 to wait for the wired input → nothing. Now vanes move
FETCH = 21  # i24 point → byte: phase, outcome << 3, sync << 7; i24 points kept from this one on,
#             i24 points that found no room; and where that point is kept: i32 time µs, i24 four
#             deflections 0.001°, four pulses ns, four angles 0.001°, supply mV. Points before it
#             are given back. A play goes on only while this is asked
HALT = 22  # nothing → nothing: vanes to neutral at the slew rate

TICK_US = 125
LONGEST_GAP = 8000  # ticks from one knot to the next, so that no product outgrows a small integer
LONGEST_TICKS = 2_800_000  # 350 s: before the sync output repeats itself
MOST_KNOTS = 6000
PIECE = 3
KNOT_BYTES = 15
MOST_RUN = 0x7FFF
HOLD_US = 1_000_000  # without a FETCH the vanes go to neutral
POINTS = 320  # most that are kept until they are fetched: 1.6 s at 200 cycles a second

EMPTY, READY, WAITING, PLAYING, HOMING, OVER = range(6)
PHASE_NAMES = ("empty", "ready", "waiting for the input", "playing", "going to neutral", "over")
UNDECIDED, PLAYED, HALTED, SILENT = range(4)
OUTCOME_NAMES = (
    "not over",
    "played to its end",
    "halted",
    "the host fell silent",
)
