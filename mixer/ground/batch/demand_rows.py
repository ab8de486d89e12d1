"""Demands one after another, each on its own and with all the time it takes: the rows of a batch.

Written as the kernels are, on one array of words, but with real numbers in and out. It runs as
Python and, joined with the kernels by `compiled`, as machine code, with the same bits.
"""

from mixer.flight.allocate import allocate
from mixer.flight.boxes import set_target, to_neutral
from mixer.flight.burn import gain_of_lever_arm, set_force_gains
from mixer.flight.clamp import clamp
from mixer.flight.commands import demand, free, jam
from mixer.flight.cycle import status
from mixer.flight.deflect import deflection_of
from mixer.flight.interpolate import pulse_at
from mixer.flight.layout import *
from mixer.flight.pressure import pressure_ratio
from mixer.flight.wanted import set_want

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


def set_open_boxes(w):
    """WINDOW and the boxes T_τ and W where slew holds nothing back: all of T."""
    for vane in range(VANES):
        kappa = w[KAPPA + vane]
        lo = (w[REACH_LO + vane] * kappa) >> 14
        hi = (w[REACH_HI + vane] * kappa) >> 14
        set_target(w, vane, lo, hi)
        w[SLEW_BOX + vane] = lo
        w[SLEW_BOX + VANES + vane] = hi
        w[WINDOW_LO + vane] = w[LIMIT_LO + vane]
        w[WINDOW_HI + vane] = w[LIMIT_HI + vane]


def allocate_rows(
    w,
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

    own: 0 where all rows stand under the conditions of the first one. `directions` (2, 4): cosine
    and sine of each vane; `per_eighth_nm` (n,): the lever arm's moment of an eighth of a count.
    Moments are in double precision.
    """
    gain = 0
    pressure_pa = 0
    n = demands_nm.shape[0]
    for row in range(n):
        if own != 0 or row == 0:
            if not within_reach(time_s[row], load_s[row], pressure_bar[row], most_s, most_bar):
                return row
            for vane in range(VANES):
                if abs(jammed_deg[row, vane]) == INFINITE:
                    return row
                place_vane(w, vane, jammed_deg[row, vane])
            w[TIME] = round(min(time_s[row] * 1e6, LAST_US))
            w[LOAD] = round(min(load_s[row] * 1e6, LAST_US))
            pressure_pa = round(pressure_bar[row] * 1e5)
            set_force_gains(w, pressure_ratio(w, pressure_pa))
            gain = gain_of_lever_arm(w)
            set_open_boxes(w)
        pitch_mnm = in_mnm(demands_nm[row, 0])
        yaw_mnm = in_mnm(demands_nm[row, 1])
        roll_mnm = in_mnm(demands_nm[row, 2])
        if demand(w, pitch_mnm, yaw_mnm, roll_mnm) == 0:
            return row
        w[FLAGS] = status(w, 0)
        if pressure_pa < w[PA_MIN]:
            w[FLAGS] |= NO_THRUST
            to_neutral(w)
        else:
            set_want(w, gain)
            allocate(w, 0)
        flags[row] = w[FLAGS]
        pitch = 0.0
        yaw = 0.0
        roll = 0.0
        for vane in range(VANES):
            force = w[FORCE + vane]
            forces[row, vane] = force
            pitch += force * directions[0, vane]
            yaw += force * directions[1, vane]
            roll += force
            deflection = deflection_of(w, vane)
            deflections_deg[row, vane] = deflection / 1000
            pulses_us[row, vane] = pulse_at(w, vane, deflection) / 1000
        moments_nm[row, 0] = pitch * per_eighth_nm[row]
        moments_nm[row, 1] = yaw * per_eighth_nm[row]
        moments_nm[row, 2] = roll * roll_per_eighth_nm
    return n
