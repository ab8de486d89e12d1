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
BURN = 44  # how the burn clock stands
SINCE_US = 45  # waiting: how long the jet has lasted; then: for how long no reading was believed
BELIEVED_RATIO = 46  # the last believed one, Q14, and what was expected then
BELIEVED_EXPECTED = 47
EXPECTED_HINT = 48
RATIO = 49  # pc/pc_ref that counts, Q14
# The jam watch. In the order of the cycle's look at a vane.
WATCH_READING = 50  # 0.001°, or NO_READING; taken by the next cycle
WATCH_SEEN = 54  # the last reading, 0.001°
WATCH_SILENT_US = 58  # since then
WATCH_FROM = 62  # the reading from which a sensor has to follow its command to be believed; of
#                  a vane just declared, the deflection that was commanded before
WATCH_ANCHOR = 66  # where a vane stood when its command was first seen elsewhere,
WATCH_STILL_US = 70  # how long it has stood there; below 0: the command is on the lower side
WATCH_GAP_US = 74  # and the longest time without a reading meanwhile
WATCH_BELIEVED = 78  # sensors that followed their command, bit 0 for vane 1
SENSORS_OUT = 79  # sensors that are told to be out
WATCH_SENSORS = 80  # sensors that have given a reading
WATCH_DECLARED = 81  # vanes that the watch holds to be jammed
WATCH_STATE = 82  # WATCH_WAITING, WATCH_ON or WATCH_OFF
WATCH_FOUND = 83  # how many jams it has declared
LASTING_WORDS = 84

# ---- what a cycle works out for itself -----------------------------------------------------------
KAPPA = 84  # force gain of pressure and wear, Q14
STEP = 88  # slew in one cycle, 0.001°
WINDOW_LO = 92  # deflections reachable this cycle
WINDOW_HI = 96
TARGET_BOX = 100  # force boxes, eighths of a count, four lower ends, four upper: T_τ of the policy,
SLEW_BOX = 108  # W,
FIRST_BOX = 116  # and W′, which leaves the last 1/32 of the slew to roll and effort
WANT = 124  # pitch/L, yaw/L, roll/R in eighths of a count
POINT = 127  # the primary: first demanded, then aimed at, at last delivered; units, x and y
UNIT = 129  # the allocator's unit is an eighth of a count << UNIT
CENTRE = 130  # of Z, units, x and y; and half the widths of its box
HALF = 132
BASE = 136  # strips of the null coordinate: their middles without roll,
ETA = 140  # their middles,
OMEGA = 144  # and half their widths
STRIPS_BEGIN = 148  # where the last strip begins, where the first one ends
STRIPS_END = 149
MOMENT_GAIN = 150
FROM_REST = BASE  # eight, before there are strips: the ends of T_τ from a0
STATE_WORDS = 152
NO_READING = (1 << 30) - 1  # of an angle sensor
WATCH_WAITING = 0  # until the first reading
WATCH_ON = 1
WATCH_OFF = 2  # by the caller
LONGEST_GAP_US = 16_000_000  # a longer one wears the vanes no more than this one does
LONGEST_DT_US = 500_000  # and moves them no further than this one does
WAITING = 0  # BURN: the clock stands; started by the jet, said to be by the flight computer, and
STARTED = 1  # believed by a reading of the pressure
SAID = 2
BELIEVED = 3
LAST_US = 1_000_000_000  # burn time and burn load stand still there
TICK = 10  # times in the tables are in ticks of 2^10 µs

# The highest pressure, Pa, that a frame can carry in its three bytes. Vehicle files are held to a
# reference of which the double, where readings stop to count (PA_MAX), is not above this.
PRESSURE_MOST_PA = 0xFFFFFF

# ---- flight tables ----------------------------------------------------------------------------
COS = 152  # Q14
SIN = 156
COS_LOW = 160  # low halves, Q28
SIN_LOW = 164
ROW_X = 168  # rows of the minimum-norm forces, by the null vector
ROW_Y = 172
ROW_ROLL = 176
ROW_Q = 180  # fraction bits of each vane's ROW_X, ROW_Y, ROW_ROLL and WIDTH
WIDTH = 184
NULL = 188  # null vector, Q14, largest 1
NULL_EFFORT = 192  # null vector / its square, Q14
SLEW_HIGH = 196  # slew in whole 0.001° a ms,
SLEW_LOW = 200  # and what is left of it, in 0.001° a second
TRAVEL_LO = 204  # 0.001°
TRAVEL_HI = 208
POLICY = 212  # 0 nearest, 1 direction
PERIOD_US = 213
TIMEOUT_US = 214
PA_SHIFT = 215  # ratio_q14 = ((pressure_pa >> PA_SHIFT) * PA_MANT) >> 15
PA_MANT = 216
PA_MAX = 217
PA_MIN = 218  # below this there is no jet to steer with
MNM_MAX = 219  # largest |pitch| and |yaw| demand taken, mN·m
ROLL_MNM_MAX = 220
GAIN_EXP = 221  # demand in eighths of a count = (mN·m · gain) >> GAIN_EXP
MOMENT_EXP = 222  # mN·m = (half counts · moment) >> MOMENT_EXP
ROLL_GAIN = 223
ROLL_GAIN_EXP = 224
ROLL_MOMENT = 225
ROLL_MOMENT_EXP = 226
PULSE_Q = 227
RATE_OFF = 228  # burn-load rate at 64 pressure ratios 1/32 apart, Q14, and its 64 rises
N_PAIRS = 229
# Two vanes; K, how roll moves their strips apart, and its fraction bits; 1/K, its fraction bits,
# and the largest excess that it may be multiplied by.
PAIRS = 230
PAIR_STRIDE = 7
N_EDGES = 272
# An edge of Z on the side of its normal n, in the order of the normals' angles; t is n turned by
# +90°. Normal x, y; their low halves; |n·b|; t·b on the side of n; |t·b| of the vanes that the edge
# is parallel to; n·b; its low halves. All Q14, low halves Q28.
EDGES = 273
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
CURVE_OFF = 369  # a record: deflection, force, force per deflection, deflection per force
CURVE_N = 373
CURVE_STRIDE = 4
SERVO_OFF = 377  # deflection, pulse, pulse per deflection
SERVO_N = 381
SERVO_STRIDE = 3
WEAR_OFF = 385  # load in ticks; effectiveness and its slope of four vanes
WEAR_N = 386
WEAR_STRIDE = 9
LEVER_OFF = 387  # time in ticks; gain and its slope; moment and its slope
LEVER_N = 388
LEVER_STRIDE = 5
EXPECTED_OFF = 389  # time in ticks; expected pc/pc_ref and its slope
EXPECTED_N = 390
EXPECTED_STRIDE = 3
LEAP = 4  # records of what changes in time that a search may leap: so many ends close such a table
BELIEVED_LOW = 391  # a reading is believed between these shares of what is expected, Q14,
BELIEVED_HIGH = 392
TRUST_US = 393  # and counts as it stands after this burn time
# Where to begin a search on a curve: cells of 2.048° or 512 counts, each with the place of the
# record that its lower end lies on, as in w[(deflection >> ANGLE_CELL) + w[CURVE_CELLS + vane]].
ANGLE_CELL = 11
FORCE_CELL = 12
FORCE_CELLS_MASK = 31
CURVE_CELLS = 394
FORCE_CELLS = 398  # (force >> FORCE_CELL) & FORCE_CELLS_MASK, for ±8192 counts
SERVO_CELLS = 402
WATCH_BAND = 406  # 0.001°: a healthy vane comes so near to its command
WATCH_WAIT_US = 410  # and stands still no longer while its command is farther away than that
BODY = 414

# ---- status flags -----------------------------------------------------------------------------
PRIMARY_LIMITED = 1
ROLL_LIMITED = 2
SLEW_LIMITED = 4
NO_THRUST = 8
STALE_DEMAND = 16
BAD_DEMAND = 32
JAMMED_VANE = 64
DOUBTED_PRESSURE = 128
FLAG_NAMES = (
    "primary-limited",
    "roll-limited",
    "slew-limited",
    "no-thrust",
    "stale-demand",
    "bad-demand",
    "jammed-vane",
    "doubted-pressure",
)
