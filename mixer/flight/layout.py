"""Where every number stands: the words of the flight tables and of the steering state.

The kernel files repeat the numbers they use (a board's compiler folds constants file by file only);
a test holds them equal to these.
"""

# ---- flight tables, one array of 32-bit words ------------------------------------------------
POLICY = 0  # 0 nearest, 1 direction
PERIOD_US = 1
TIMEOUT_US = 2
PA_SHIFT = 3  # ratio_q14 = ((pressure_pa >> PA_SHIFT) * PA_MANT) >> 15
PA_MANT = 4
PA_MAX = 5
PA_MIN = 6  # below this there is no jet to steer with
MNM_MAX = 7  # largest |pitch| and |yaw| demand taken, mN·m
ROLL_MNM_MAX = 8
GAIN_EXP = 9  # demand in eighths of a count = (mN·m · gain) >> GAIN_EXP
MOMENT_EXP = 10  # mN·m = (half counts · moment) >> MOMENT_EXP
ROLL_GAIN = 11
ROLL_GAIN_EXP = 12
ROLL_MOMENT = 13
ROLL_MOMENT_EXP = 14
COS = 16  # four each from here, Q14
SIN = 20
SLEW_MDEG_S = 24
TRAVEL_LO = 28
TRAVEL_HI = 32
PULSE_Q = 36
N_PAIRS = 37
N_EDGES = 38
RATE_OFF = 39  # burn-load rate at 64 pressure ratios 1/32 apart, Q14, and its 64 steps
ROW_X = 40
ROW_Y = 44
ROW_ROLL = 48
WIDTH = 52
NULL = 56  # null vector, Q14, largest 1
NULL_EFFORT = 60  # null vector / its square, Q14
ROW_Q = 64  # fraction bits of each vane's ROW_X, ROW_Y, ROW_ROLL and WIDTH
COS_LOW = 68  # low halves, Q28, four each
SIN_LOW = 72
PAIRS = 76
PAIR_STRIDE = 5  # vane, vane, 1/K, its fraction bits, largest excess that 1/K may multiply
EDGES = 108
EDGE_STRIDE = 16  # normal x, y; their low halves; n·b of four vanes; t·b; low halves of n·b
CURVE_OFF = 172
CURVE_N = 176
SERVO_OFF = 180
SERVO_N = 184
WEAR_OFF = 188
WEAR_N = 189
LEVER_OFF = 190
LEVER_N = 191
BODY = 192

# ---- steering state, one array of 32-bit words ------------------------------------------------
DEFLECTION = 0  # 0.001°, four
PULSE = 4  # ns, four
FORCE = 8  # eighths of a count, four
MOMENT = 12  # pitch, yaw, roll, mN·m
FLAGS = 15
DEMAND = 16  # pitch, yaw, roll, mN·m
PRESSURE = 19
DT = 20
LOAD = 21  # burn load, µs
LOAD_FRACTION = 22
TIME = 23  # burn time, µs
STEP = 24  # slew in one cycle, 0.001°, four
LIMIT_LO = 28  # travel, or where a jammed vane stands, four
LIMIT_HI = 32
NEUTRAL = 36  # 1: every vane to neutral this cycle
UNIT = 37  # the allocator's unit is an eighth of a count << UNIT
KAPPA = 38  # force gain of pressure and wear, Q14, four
WANT = 42  # pitch/L, yaw/L, roll/R in eighths of a count
CURVE_HINT = 45
SERVO_HINT = 49
WEAR_HINT = 53
LEVER_HINT = 54
RATE = 55  # burn-load rate of the last cycle, Q14
WINDOW_LO = 56  # angles reachable this cycle, four
WINDOW_HI = 60
LO = 64  # the force box, eighths of a count, four
HI = 68
POINT = 72  # the primary to deliver, units, x and y
GAIN = 81
MOMENT_GAIN = 82
ETA = 96
OMEGA = 100
AGE = 104  # time since the last good demand, µs
BAD = 105  # BAD_DEMAND where a demand was refused since the last cycle
JAMMED = 106  # bit 0 for vane 1
STATE_WORDS = 108

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
