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
CURVE_HINT = 12  # where the record of the last cycle's piece stands in the tables, four
FORCE = 16  # eighths of a count, four
WINDOW_LO = 20  # angles reachable this cycle, four
WINDOW_HI = 24
POINT = 28  # the primary to deliver, units, x and y
UNIT = 30  # the allocator's unit is an eighth of a count << UNIT
FLAGS = 31
DEFLECTION = 32  # 0.001°, four
PULSE = 36  # ns, four
SERVO_HINT = 40
LIMIT_LO = 44  # travel, or where a jammed vane stands, four
LIMIT_HI = 48
STEP = 52  # slew in one cycle, 0.001°, four
WANT = 56  # pitch/L, yaw/L, roll/R in eighths of a count
NEUTRAL = 59  # 1: every vane to neutral this cycle
MOMENT = 60  # pitch, yaw, roll, mN·m
MOMENT_GAIN = 63
DEMAND = 64  # pitch, yaw, roll, mN·m
DT = 67
LOAD = 68  # burn load, µs
LOAD_FRACTION = 69
TIME = 70  # burn time, µs
RATE = 71  # burn-load rate of the last cycle, Q14
WEAR_HINT = 72
LEVER_HINT = 73
AGE = 74  # time since the last good demand, µs
BAD = 75  # BAD_DEMAND where a demand was refused since the last cycle
JAMMED = 76  # bit 0 for vane 1
ETA = 80  # where each vane's strip stands, and four words on how wide it is
OMEGA = 84
STATE_WORDS = 88
LONGEST_GAP_US = 16_000_000  # a longer one wears the vanes no more than this one does
LONGEST_DT_US = 500_000  # and moves them no further than this one does

# ---- flight tables ----------------------------------------------------------------------------
COS = 88  # four each from here, Q14
SIN = 92
ROW_X = 96
ROW_Y = 100
ROW_ROLL = 104
ROW_Q = 108  # fraction bits of each vane's ROW_X, ROW_Y, ROW_ROLL and WIDTH
WIDTH = 112
NULL = 116  # null vector, Q14, largest 1
NULL_EFFORT = 120  # null vector / its square, Q14
SLEW_MDEG_S = 124
TRAVEL_LO = 128
TRAVEL_HI = 132
COS_LOW = 136  # low halves, Q28, four each
SIN_LOW = 140
POLICY = 144  # 0 nearest, 1 direction
PERIOD_US = 145
TIMEOUT_US = 146
PA_SHIFT = 147  # ratio_q14 = ((pressure_pa >> PA_SHIFT) * PA_MANT) >> 15
PA_MANT = 148
PA_MAX = 149
PA_MIN = 150  # below this there is no jet to steer with
MNM_MAX = 151  # largest |pitch| and |yaw| demand taken, mN·m
ROLL_MNM_MAX = 152
GAIN_EXP = 153  # demand in eighths of a count = (mN·m · gain) >> GAIN_EXP
MOMENT_EXP = 154  # mN·m = (half counts · moment) >> MOMENT_EXP
ROLL_GAIN = 155
ROLL_GAIN_EXP = 156
ROLL_MOMENT = 157
ROLL_MOMENT_EXP = 158
PULSE_Q = 159
N_PAIRS = 160
N_EDGES = 161
RATE_OFF = 162  # burn-load rate at 64 pressure ratios 1/32 apart, Q14, and its 64 steps
PAIRS = 163
PAIR_STRIDE = 5  # ETA word of two vanes, 1/K, its fraction bits, largest excess it may multiply
EDGES = 196
EDGE_STRIDE = 16  # normal x, y; their low halves; n·b of four vanes; t·b; low halves of n·b

# Tables of straight pieces: a record for each piece, in rising order. A piece ends where the next
# one begins, and the ends of a table are pieces without end, so that a search needs no other test.
END = 1 << 30  # beyond every angle, force and time
CURVE_OFF = 260  # a record: deflection, force, force per deflection, deflection per force
CURVE_N = 264
CURVE_STRIDE = 4
SERVO_OFF = 268  # deflection, pulse, pulse per deflection
SERVO_N = 272
SERVO_STRIDE = 3
WEAR_OFF = 276  # load in ms; effectiveness and its slope of four vanes
WEAR_N = 277
WEAR_STRIDE = 9
LEVER_OFF = 278  # time in ms; gain and its slope; moment and its slope
LEVER_N = 279
LEVER_STRIDE = 5
BODY = 280

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
