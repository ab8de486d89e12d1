"""Steerings that take turns in one array of words: the rows of a block.

Written as the kernels are, and joined with them by `compiled`. A row of `state` holds what one
cycle hands to the next.
"""

from mixer.flight.commands import demand, sensed
from mixer.flight.cycle import cycle
from mixer.flight.jam_watch import look
from mixer.flight.layout import *


def bring(w, state, row, first, end):
    """Put some words of a steering's state in their places."""
    for i in range(first, end):
        w[i] = state[row, i]


def keep(w, state, row, first, end):
    """Take them back."""
    for i in range(first, end):
        state[row, i] = w[i]


def cycle_rows(w, state, pressure_pa, dt_us, runs):
    """One control cycle of every steering that runs; all (n,)."""
    for row in range(state.shape[0]):
        if runs[row]:
            bring(w, state, row, 0, LASTING_WORDS)
            cycle(w, int(pressure_pa[row]), int(dt_us[row]))
            keep(w, state, row, 0, LASTING_WORDS)


def look_rows(w, state, dt_us, runs):
    """The jam watch alone, for steerings whose cycle something else runs; both (n,)."""
    for row in range(state.shape[0]):
        if runs[row]:
            bring(w, state, row, 0, LASTING_WORDS)
            look(w, int(dt_us[row]))
            keep(w, state, row, 0, LASTING_WORDS)


def demand_rows(w, state, demand_mnm, heard, taken):
    """Give demands (3, n) to the steerings that hear them; `taken` (n,) tells which took theirs.

    Of its state a demand changes the words from DEMAND to BAD, and reads none.
    """
    for row in range(state.shape[0]):
        taken[row] = False
        if heard[row]:
            bring(w, state, row, DEMAND, JAMMED)
            pitch_mnm = int(demand_mnm[0, row])
            yaw_mnm = int(demand_mnm[1, row])
            taken[row] = demand(w, pitch_mnm, yaw_mnm, int(demand_mnm[2, row])) != 0
            keep(w, state, row, DEMAND, JAMMED)


def sensed_rows(w, state, reading_mdeg, see):
    """Give what the angle sensors say (4, n), for the next cycle, to the steerings that `see`."""
    for row in range(state.shape[0]):
        if see[row]:
            bring(w, state, row, 0, LASTING_WORDS)
            vane1_mdeg = int(reading_mdeg[0, row])
            vane2_mdeg = int(reading_mdeg[1, row])
            vane3_mdeg = int(reading_mdeg[2, row])
            sensed(w, vane1_mdeg, vane2_mdeg, vane3_mdeg, int(reading_mdeg[3, row]))
            keep(w, state, row, 0, LASTING_WORDS)
