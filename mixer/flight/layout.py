"""Where every number stands: the words of the steering state and of the flight tables.

They are one array, so that a kernel is given one thing: on a Cortex-M3 each array that is passed
costs 150 instructions. A steering works on its own copy of the tables, whose first words are 0 and
become its state.

The kernel files repeat the numbers they use (a board's compiler folds constants file by file only);
a test holds them equal to these. The words that a cycle reads most come first: as machine code on a
Cortex-M3 a word below number 32 is read by one instruction, one above by three.
"""

# ---- steering state, 0 in the tables ----------------------------------------------------------
LO = 0  # the force box, eighths of a count, four
HI = 4
KAPPA = 8  # force gain of pressure and wear, Q14, four
DEFLECTION = 12  # 0.001°, four
FORCE = 16  # eighths of a count, four
WINDOW_LO = 20  # angles reachable this cycle, four
WINDOW_HI = 24
POINT = 28  # the primary to deliver, units, x and y
UNIT = 30  # the allocator's unit is an eighth of a count << UNIT
FLAGS = 31
PULSE = 32  # ns, four
LIMIT_LO = 36  # travel, or where a jammed vane stands, four
LIMIT_HI = 40
STEP = 44  # slew in one cycle, 0.001°, four
WANT = 48  # pitch/L, yaw/L, roll/R in eighths of a count
NEUTRAL = 51  # 1: every vane to neutral this cycle
MOMENT = 52  # pitch, yaw, roll, mN·m
MOMENT_GAIN = 55
DEMAND = 56  # pitch, yaw, roll, mN·m
DT = 59
LOAD = 60  # burn load, µs
LOAD_FRACTION = 61
TIME = 62  # burn time, µs
RATE = 63  # burn-load rate of the last cycle, Q14
WEAR_HINT = 64  # where the record of the last cycle's piece stands in the tables
LEVER_HINT = 65
AGE = 66  # time since the last good demand, µs
BAD = 67  # BAD_DEMAND where a demand was refused since the last cycle
JAMMED = 68  # bit 0 for vane 1
ETA = 72  # where each vane's strip stands, and four words on how wide it is
OMEGA = 76
STATE_WORDS = 80
LONGEST_GAP_US = 16_000_000  # a longer one wears the vanes no more than this one does
LONGEST_DT_US = 500_000  # and moves them no further than this one does

# The highest pressure, Pa, that a frame can carry in its three bytes. Vehicle files are held to a
# reference of which the double, where readings stop to count (PA_MAX), is not above this.
PRESSURE_MOST_PA = 0xFFFFFF

# ---- flight tables ----------------------------------------------------------------------------
COS = 80  # four each from here, Q14
SIN = 84
ROW_X = 88
ROW_Y = 92
ROW_ROLL = 96
ROW_Q = 100  # fraction bits of each vane's ROW_X, ROW_Y, ROW_ROLL and WIDTH
WIDTH = 104
NULL = 108  # null vector, Q14, largest 1
NULL_EFFORT = 112  # null vector / its square, Q14
SLEW_MDEG_S = 116
TRAVEL_LO = 120
TRAVEL_HI = 124
COS_LOW = 128  # low halves, Q28, four each
SIN_LOW = 132
POLICY = 136  # 0 nearest, 1 direction
PERIOD_US = 137
TIMEOUT_US = 138
PA_SHIFT = 139  # ratio_q14 = ((pressure_pa >> PA_SHIFT) * PA_MANT) >> 15
PA_MANT = 140
PA_MAX = 141
PA_MIN = 142  # below this there is no jet to steer with
MNM_MAX = 143  # largest |pitch| and |yaw| demand taken, mN·m
ROLL_MNM_MAX = 144
GAIN_EXP = 145  # demand in eighths of a count = (mN·m · gain) >> GAIN_EXP
MOMENT_EXP = 146  # mN·m = (half counts · moment) >> MOMENT_EXP
ROLL_GAIN = 147
ROLL_GAIN_EXP = 148
ROLL_MOMENT = 149
ROLL_MOMENT_EXP = 150
PULSE_Q = 151
N_PAIRS = 152
N_EDGES = 153
RATE_OFF = 154  # burn-load rate at 64 pressure ratios 1/32 apart, Q14, and its 64 steps
PAIRS = 155
PAIR_STRIDE = 5  # ETA word of two vanes, 1/K, its fraction bits, largest excess it may multiply
EDGES = 188
EDGE_STRIDE = 16  # normal x, y; their low halves; n·b of four vanes; t·b; low halves of n·b

# Tables of straight pieces: a record for each piece, in rising order. A piece ends where the next
# one begins, and the ends of a table are pieces without end, so that a search needs no other test.
END = (1 << 30) - 1  # beyond every angle, force and time, and yet a small number on a board
CURVE_OFF = 252  # a record: deflection, force, force per deflection, deflection per force
CURVE_N = 256
CURVE_STRIDE = 4
SERVO_OFF = 260  # deflection, pulse, pulse per deflection
SERVO_N = 264
SERVO_STRIDE = 3
WEAR_OFF = 268  # load in ms; effectiveness and its slope of four vanes
WEAR_N = 269
WEAR_STRIDE = 9
LEVER_OFF = 270  # time in ms; gain and its slope; moment and its slope
LEVER_N = 271
LEVER_STRIDE = 5
LEVER_LEAP = 20  # four records at once, and as many without end where the table stops
# Where to begin a search on a curve: cells of 2.048° or 512 counts, each with the place of the
# record that its lower end lies on, as in w[(deflection >> ANGLE_CELL) + w[CURVE_CELLS + vane]].
ANGLE_CELL = 11
FORCE_CELL = 12
FORCE_CELLS_MASK = 31
CURVE_CELLS = 272
FORCE_CELLS = 276  # (force >> FORCE_CELL) & FORCE_CELLS_MASK, for ±8192 counts
SERVO_CELLS = 280
BODY = 284

# ---- status flags -----------------------------------------------------------------------------
PRIMARY_LIMITED = 1
ROLL_LIMITED = 2
SLEW_LIMITED = 4
NO_THRUST = 8
STALE_DEMAND = 16
BAD_DEMAND = 32
JAMMED_VANE = 64
FLAG_NAMES = (
    "primary-limited",
    "roll-limited",
    "slew-limited",
    "no-thrust",
    "stale-demand",
    "bad-demand",
    "jammed-vane",
)
