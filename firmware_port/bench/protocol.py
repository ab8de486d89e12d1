"""The servo bench's requests and their limits; contents as in `firmware_port/protocol.py`.

u16 are two bytes, little-endian, unsigned. All are for the safe state only.
"""

MOVE = 17  # i24 servo, pulse ns, hold ms → i24 pulse now, ns
TURN = 18  # i24 servo, deflection 0.001°, hold ms → i24 pulse now, goal by the servo table, ns
LOOK = 19  # i24 servo, samples → i24 pulse now ns, supply mV (-1: not measured), 1 for a magnet,
#            then the encoder's counts, -1 for none
PLAY_BEGIN = 20  # i24 servo, count, interval µs → nothing
PLAY_PIECE = 21  # i24 offset, then at most PIECE u16 pulses, unit UNIT_NS → i24 next offset
PLAY_FILL = 22  # i24 offset, count, pulse: the same one many times → i24 next offset
PLAY_RUN = 23  # nothing → i24 how many were played; any frame that comes meanwhile ends it
PLAY_DATA = 24  # i24 column, offset → u16 of the column from there on, at most DATA
END = 25  # nothing → nothing: all servos to neutral, then the bench is over

SHORTEST_NS, LONGEST_NS = 400_000, 2_600_000
SLEW_NS_PER_US = 6  # of MOVE and TURN: 6000 µs of pulse a second
LONGEST_DT_US = 50_000
MOST_JUMP_NS = 600_000  # from one pulse of PLAY to the next
UNIT_NS = 50
MOST_SAMPLES = 10  # of one LOOK
MOST_PLAYED = 4096
SHORTEST_INTERVAL_US = 500
LONGEST_PLAY_US = 20_000_000
PIECE = 20
DATA = 21
PULSES, COUNTS, SUPPLIES = range(3)  # its columns: 50 ns, encoder counts, mV; 65535 for none
NO_COUNT = 0xFFFF
MOST_HOLD_MS = 600_000
