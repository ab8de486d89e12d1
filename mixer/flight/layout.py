"""Where every number stands: the words of the steering state and of the flight tables.

They are one array, so that a kernel is given one thing. A steering works on its own copy of the
tables, whose first words are 0 and become its state. What comes in fours stands vane after vane.
"""

VANES = 4

# ---- steering state, 0 in the tables: what a cycle gives -----------------------------------------
DEFLECTION = 0  # 0.001°
PULSE = 4  # ns
FORCE = 8  # eighths of a count
MOMENT = 12  # pitch, yaw, roll that the forces give, mN·m
FLAGS = 15

# ---- what one cycle hands to the next ------------------------------------------------------------
DEMAND = 16  # pitch, yaw, roll, mN·m
AGE = 19  # time since the last good demand, µs
BAD = 20  # BAD_DEMAND where a demand was refused since the last cycle
JAMMED = 21  # bit 0 for vane 1
LIMIT_LO = 22  # travel, or where a jammed vane stands
LIMIT_HI = 26
REACH_LO = 30  # what the curve gives there: eighths of a count of a new vane at reference pressure
REACH_HI = 34
TIME = 38  # burn time, µs
LOAD = 39  # burn load, µs
LOAD_FRACTION = 40  # of a µs, Q14
RATE = 41  # burn-load rate of the last cycle, Q14
WEAR_HINT = 42  # where the record of the last cycle's piece stands in the tables
LEVER_HINT = 43
# The jam watch. In the order of the cycle's look at a vane.
WATCH_READING = 44  # 0.001°, or NO_READING; taken by the next cycle
WATCH_SEEN = 48  # the last reading, 0.001°
WATCH_SILENT_US = 52  # since then
WATCH_FROM = 56  # the reading from which a sensor has to follow its command to be believed
WATCH_ANCHOR = 60  # where a vane stood when its command was first seen elsewhere,
WATCH_STILL_US = 64  # how long it has stood there; below 0: the command is on the lower side
WATCH_GAP_US = 68  # and the longest time without a reading meanwhile
WATCH_BELIEVED = 72  # sensors that followed their command, bit 0 for vane 1
SENSORS_OUT = 73  # sensors that are told to be out
WATCH_SENSORS = 74  # sensors that have given a reading
WATCH_DECLARED = 75  # vanes that the watch holds to be jammed
WATCH_STATE = 76  # WATCH_WAITING, WATCH_ON or WATCH_OFF
WATCH_FOUND = 77  # how many jams it has declared
LASTING_WORDS = 78

# ---- what a cycle works out for itself -----------------------------------------------------------
KAPPA = 78  # force gain of pressure and wear, Q14
STEP = 82  # slew in one cycle, 0.001°
WINDOW_LO = 86  # deflections reachable this cycle
WINDOW_HI = 90
TARGET_BOX = 94  # force boxes, eighths of a count, four lower ends, four upper: T_τ of the policy,
SLEW_BOX = 102  # W,
FIRST_BOX = 110  # and W′, which leaves the last 1/32 of the slew to roll and effort
WANT = 118  # pitch/L, yaw/L, roll/R in eighths of a count
POINT = 121  # the primary: first demanded, then aimed at, at last delivered; units, x and y
UNIT = 123  # the allocator's unit is an eighth of a count << UNIT
CENTRE = 124  # of Z, units, x and y; and half the widths of its box
HALF = 126
BASE = 130  # strips of the null coordinate: their middles without roll,
ETA = 134  # their middles,
OMEGA = 138  # and half their widths
STRIPS_BEGIN = 142  # where the last strip begins, where the first one ends
STRIPS_END = 143
MOMENT_GAIN = 144
FROM_REST = BASE  # eight, before there are strips: the ends of T_τ from a0
STATE_WORDS = 146
NO_READING = (1 << 30) - 1  # of an angle sensor
WATCH_WAITING = 0  # until the first reading
WATCH_ON = 1
WATCH_OFF = 2  # by the caller
LONGEST_GAP_US = 16_000_000  # a longer one wears the vanes no more than this one does
LONGEST_DT_US = 500_000  # and moves them no further than this one does
LAST_US = 1_000_000_000  # burn time and burn load stand still there
TICK = 10  # times in the tables are in ticks of 2^10 µs

# The highest pressure, Pa, that a frame can carry in its three bytes. Vehicle files are held to a
# reference of which the double, where readings stop to count (PA_MAX), is not above this.
PRESSURE_MOST_PA = 0xFFFFFF

# ---- flight tables ----------------------------------------------------------------------------
COS = 146  # Q14
SIN = 150
COS_LOW = 154  # low halves, Q28
SIN_LOW = 158
ROW_X = 162  # rows of the minimum-norm forces, by the null vector
ROW_Y = 166
ROW_ROLL = 170
ROW_Q = 174  # fraction bits of each vane's ROW_X, ROW_Y, ROW_ROLL and WIDTH
WIDTH = 178
NULL = 182  # null vector, Q14, largest 1
NULL_EFFORT = 186  # null vector / its square, Q14
SLEW_HIGH = 190  # slew in whole 0.001° a ms,
SLEW_LOW = 194  # and what is left of it, in 0.001° a second
TRAVEL_LO = 198  # 0.001°
TRAVEL_HI = 202
POLICY = 206  # 0 nearest, 1 direction
PERIOD_US = 207
TIMEOUT_US = 208
PA_SHIFT = 209  # ratio_q14 = ((pressure_pa >> PA_SHIFT) * PA_MANT) >> 15
PA_MANT = 210
PA_MAX = 211
PA_MIN = 212  # below this there is no jet to steer with
MNM_MAX = 213  # largest |pitch| and |yaw| demand taken, mN·m
ROLL_MNM_MAX = 214
GAIN_EXP = 215  # demand in eighths of a count = (mN·m · gain) >> GAIN_EXP
MOMENT_EXP = 216  # mN·m = (half counts · moment) >> MOMENT_EXP
ROLL_GAIN = 217
ROLL_GAIN_EXP = 218
ROLL_MOMENT = 219
ROLL_MOMENT_EXP = 220
PULSE_Q = 221
RATE_OFF = 222  # burn-load rate at 64 pressure ratios 1/32 apart, Q14, and its 64 rises
N_PAIRS = 223
# Two vanes; K, how roll moves their strips apart, and its fraction bits; 1/K, its fraction bits,
# and the largest excess that it may be multiplied by.
PAIRS = 224
PAIR_STRIDE = 7
N_EDGES = 266
# An edge of Z on the side of its normal n, in the order of the normals' angles; t is n turned by
# +90°. Normal x, y; their low halves; |n·b|; t·b on the side of n; |t·b| of the vanes that the edge
# is parallel to; n·b; its low halves. All Q14, low halves Q28.
EDGES = 267
EDGE_LOW = 2
EDGE_SUPPORT = 4
EDGE_MIDDLE = 8
EDGE_HALF = 12
EDGE_ACROSS = 16
EDGE_ACROSS_LOW = 20
EDGE_STRIDE = 24

# Tables of straight pieces: a record for each piece, in rising order. A piece ends where the next
# one begins, and the ends of a table are pieces without end, so that a search needs no other test.
END = (1 << 30) - 1  # beyond every angle, force and time, and yet a small number on a board
CURVE_OFF = 363  # a record: deflection, force, force per deflection, deflection per force
CURVE_N = 367
CURVE_STRIDE = 4
SERVO_OFF = 371  # deflection, pulse, pulse per deflection
SERVO_N = 375
SERVO_STRIDE = 3
WEAR_OFF = 379  # load in ticks; effectiveness and its slope of four vanes
WEAR_N = 380
WEAR_STRIDE = 9
LEVER_OFF = 381  # time in ticks; gain and its slope; moment and its slope
LEVER_N = 382
LEVER_STRIDE = 5
LEAP = 4  # records of wear and lever arm that a search may leap: so many ends close such a table
# Where to begin a search on a curve: cells of 2.048° or 512 counts, each with the place of the
# record that its lower end lies on, as in w[(deflection >> ANGLE_CELL) + w[CURVE_CELLS + vane]].
ANGLE_CELL = 11
FORCE_CELL = 12
FORCE_CELLS_MASK = 31
CURVE_CELLS = 383
FORCE_CELLS = 387  # (force >> FORCE_CELL) & FORCE_CELLS_MASK, for ±8192 counts
SERVO_CELLS = 391
WATCH_BAND = 395  # 0.001°: a healthy vane comes so near to its command
WATCH_WAIT_US = 399  # and stands still no longer while its command is farther away than that
BODY = 403

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
