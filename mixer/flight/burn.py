"""What the burn has made of the vanes and of the vehicle: wear, lever arm.

Burn load is ∫(pc/pc_ref)^0.8 dt (convective heat-flux scaling, Bartz 1957), by trapezium, the power
from a table. κ_i = (pc/pc_ref)·effectiveness_i(load).
"""

from mixer.flight.interpolate import piece
from mixer.flight.layout import *
from mixer.flight.pressure import advance_burn


def load_rate(w, ratio):
    """(pc/pc_ref)^0.8, Q14."""
    o = (ratio >> 9) + w[RATE_OFF]
    return ((w[o + 64] * (ratio & 511)) >> 9) + w[o]


def add_load(w, ratio, dt_us):
    """Advance the burn load: mean rate times dt, in two parts of 1024 µs and what is left."""
    rate = load_rate(w, ratio)
    mean = (w[RATE] + rate) >> 1
    w[RATE] = rate
    sixteenths = (dt_us >> 10) * mean  # 1024 µs · 2^-14 is a sixteenth of a µs
    fraction = ((sixteenths & 15) << 10) + (dt_us & 1023) * mean + w[LOAD_FRACTION]
    w[LOAD_FRACTION] = fraction & 16383
    w[LOAD] = min((sixteenths >> 4) + (fraction >> 14) + w[LOAD], LAST_US)


def set_force_gains(w, ratio):
    """κ of each vane, Q14, at this pressure and burn load; and the unit that fits it."""
    ticks = w[LOAD] >> TICK
    o = piece(w, WEAR_HINT, WEAR_STRIDE, ticks)
    ticks -= w[o]
    unit = 1
    for vane in range(VANES):
        effectiveness = ((w[o + 2 * vane + 2] * ticks) >> 16) + w[o + 2 * vane + 1]
        kappa = max((effectiveness * ratio) >> 14, 1)
        if kappa > 16384:
            kappa = min(kappa, 32767)
            unit = 2
        w[KAPPA + vane] = kappa
    w[UNIT] = unit


def gain_of_lever_arm(w):
    """Eighths of a count for a mN·m at this burn time; sets MOMENT_GAIN, which goes back."""
    ticks = w[TIME] >> TICK
    o = piece(w, LEVER_HINT, LEVER_STRIDE, ticks)
    ticks -= w[o]
    w[MOMENT_GAIN] = ((w[o + 4] * ticks) >> 15) + w[o + 3]
    return w[o + 2] * ticks + w[o + 1]


def burn_on(w, pressure_pa, dt_us):
    """Advance burn time and burn load; set RATIO, KAPPA and UNIT."""
    burnt = advance_burn(w, pressure_pa, dt_us)
    add_load(w, w[RATIO], burnt)
    set_force_gains(w, w[RATIO])
