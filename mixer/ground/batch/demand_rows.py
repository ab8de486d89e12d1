"""Demands one after another, each on its own and with all the time it takes: the rows of a batch.

Written as the kernels are, on one array of words, but with real numbers in and out. It runs as
Python and, joined with the kernels by `compiled`, as machine code, with the same bits.
"""

from mixer.flight.burn import gain_of_lever_arm
from mixer.flight.clamp import clamp
from mixer.flight.commands import demand, free, jam
from mixer.flight.layout import *
from mixer.ground.batch.open_cycle import answer, stand
from mixer.ground.lanes import LANES

LANE_WORDS = DEMAND + 3  # of each row: what a cycle gives, and its demand
FARTHEST_DEG = 90.0  # beyond every travel
FARTHEST_NM = 1e6  # beyond every demand
INFINITE = float("inf")


def in_mnm(moment_nm):
    """A demand in whole mN·m; one that no tables take where it is far out or not a number."""
    if moment_nm >= -FARTHEST_NM and moment_nm <= FARTHEST_NM:
        return round(moment_nm * 1000.0)
    return END


def place_vane(w, vane, stands_deg):
    """Jam a vane, or free it where it stands at no number."""
    if stands_deg == stands_deg:
        jam(w, vane, round(clamp(stands_deg, -FARTHEST_DEG, FARTHEST_DEG) * 1000.0))
    elif w[JAMMED] & (1 << vane) != 0:
        free(w, vane)


def within_reach(time_s, load_s, pressure_bar, most_s, most_bar):
    """Whether conditions are what a batch takes; what is not a number is not."""
    return (
        time_s >= 0.0
        and time_s <= most_s
        and load_s >= 0.0
        and load_s <= most_s
        and pressure_bar >= 0.0
        and pressure_bar <= most_bar
    )


def stand_row(w, row, time_s, load_s, pressure_bar, jammed_deg, most_s, most_bar):
    """Put the vanes under the conditions of a row; return the pressure, Pa, or -1 if refused."""
    if not within_reach(time_s[row], load_s[row], pressure_bar[row], most_s, most_bar):
        return -1
    for vane in range(VANES):
        if abs(jammed_deg[row, vane]) == INFINITE:
            return -1
        place_vane(w, vane, jammed_deg[row, vane])
    w[TIME] = round(min(time_s[row] * 1e6, LAST_US))
    w[LOAD] = round(min(load_s[row] * 1e6, LAST_US))
    pressure_pa = round(pressure_bar[row] * 1e5)
    stand(w, pressure_pa)
    return pressure_pa


def take_row(w, lanes, count, lane, demand_nm):
    """Take a row's demand and put it into its lane, of `count`; 0 if it is refused."""
    if demand(w, in_mnm(demand_nm[0]), in_mnm(demand_nm[1]), in_mnm(demand_nm[2])) == 0:
        return 0
    for word in range(DEMAND, LANE_WORDS):
        lanes[word * count + lane] = w[word]
    return 1


def answer_side_by_side(w, lanes, gain, pressure_pa):
    """Answer the demands of LANES rows under one condition.

    lanes: for each of LANE_WORDS those of all rows, the demands given, the others to be filled.
    Machine code works the rows out at once, see `machine_words`.
    """
    for lane in range(LANES):
        for word in range(DEMAND, LANE_WORDS):
            w[word] = lanes[word * LANES + lane]
        answer(w, gain, pressure_pa)
        for word in range(DEMAND):
            lanes[word * LANES + lane] = w[word]


def answer_alone(w, lanes, gain, pressure_pa):
    """Answer the demand of one row."""
    answer(w, gain, pressure_pa)
    for word in range(DEMAND):
        lanes[word] = w[word]


def allocate_rows(
    w,
    lanes,
    demands_nm,
    time_s,
    load_s,
    pressure_bar,
    jammed_deg,
    own,
    most_s,
    most_bar,
    directions,
    per_eighth_nm,
    roll_per_eighth_nm,
    moments_nm,
    deflections_deg,
    pulses_us,
    forces,
    flags,
):
    """Fill the last five from demands (n, 3); return the first row that is refused, or n.

    lanes: room for LANE_WORDS of LANES rows. own: 0 where all rows stand under the conditions of
    the first one. `directions` (2, 4): cosine and sine of each vane; `per_eighth_nm` (n,): the
    lever arm's moment of an eighth of a count. Moments are in double precision.
    """
    gain = 0
    pressure_pa = 0
    n = demands_nm.shape[0]
    first = 0
    while first < n:
        if own != 0 or first == 0:
            pressure_pa = stand_row(
                w, first, time_s, load_s, pressure_bar, jammed_deg, most_s, most_bar
            )
            if pressure_pa < 0:
                return first
            gain = gain_of_lever_arm(w)
        count = LANES if own == 0 and n - first >= LANES else 1
        for lane in range(count):
            if take_row(w, lanes, count, lane, demands_nm[first + lane]) == 0:
                return first + lane
        if count == LANES:
            answer_side_by_side(w, lanes, gain, pressure_pa)
        else:
            answer_alone(w, lanes, gain, pressure_pa)
        for lane in range(count):
            row = first + lane
            pitch = 0.0
            yaw = 0.0
            roll = 0.0
            for vane in range(VANES):
                force = lanes[(FORCE + vane) * count + lane]
                forces[row, vane] = force
                pitch += force * directions[0, vane]
                yaw += force * directions[1, vane]
                roll += force
                deflections_deg[row, vane] = lanes[(DEFLECTION + vane) * count + lane] / 1000
                pulses_us[row, vane] = lanes[(PULSE + vane) * count + lane] / 1000
            moments_nm[row, 0] = pitch * per_eighth_nm[row]
            moments_nm[row, 1] = yaw * per_eighth_nm[row]
            moments_nm[row, 2] = roll * roll_per_eighth_nm
            flags[row] = lanes[FLAGS * count + lane]
        first += count
    return n
