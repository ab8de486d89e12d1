"""Every word of the steering state after every command and cycle, as the kernels gave it at first.

Holds one run of the kernels against another in the same process: nothing by itself, but a quick
judge of a kernel changed in between (`python -m tests.mutation`). What the words ought to be tell
the tests of the oracle, of the compiled core and of C.
"""

from array import array
from random import Random

import pytest

from mixer.flight import FlightTables, commands
from mixer.flight import layout as at
from mixer.flight.cycle import cycle
from mixer.flight.unfit import unfit_word
from mixer.ground.tables import Words
from tests.recorded_cycles import command, conditions, random_demand
from tests.table_mutants import mutate
from tests.unlike_vehicles import POLICIES, UNLIKE
from tests.vehicles import vehicle

CYCLES = 140
FALLS = 20  # cycles a random walk of one kind lasts
MUTANTS = 250
NAMES = ("unequal", "closely clustered", "fan", "long tables", "short arms")


def tables_of(name: str, policy: str) -> FlightTables:
    """Without the overflow proof, which reads the kernels' text."""
    changes = UNLIKE[name]
    control = {**changes.get("control", {}), "policy": policy}
    return FlightTables(Words(vehicle(**{**changes, "control": control})).assemble())


def flown(tables: FlightTables, seed: int) -> list[bytes]:
    """The state after each cycle, and what each cycle said."""
    source = Random(seed)
    w = array("i", tables.words)
    commands.reset(w)
    seen = []
    demand = (0, 0, 0)
    for n in range(CYCLES):
        if n % FALLS == 0:
            demand = random_demand(tables, source)
        if n % (2 * FALLS) == FALLS:
            edges = (at.MNM_MAX, at.MNM_MAX, at.ROLL_MNM_MAX)
            demand = tuple(source.choice((-1, 1, 0)) * tables.words[edge] for edge in edges)
        command(w, source, demand)
        seen.append(bytes(w[: at.STATE_WORDS]))
        pressure_pa, dt_us = conditions(tables, source)
        said = cycle(w, pressure_pa, dt_us)
        seen.append(bytes(w[: at.STATE_WORDS]) + bytes([said]))
    commands.demand(
        w, *(tables.words[word] + 1 for word in (at.MNM_MAX, at.MNM_MAX, at.ROLL_MNM_MAX))
    )
    seen.append(bytes(w[: at.STATE_WORDS]))
    commands.reset(w)
    return [*seen, bytes(w[: at.STATE_WORDS])]


FLOWN = {(name, policy): tables_of(name, policy) for name in NAMES for policy in POLICIES}
AT_FIRST = {key: flown(tables, 7) for key, tables in FLOWN.items()}


def judged() -> list[int]:
    """What the check of flight tables says of mutants."""
    source = Random(8)
    tables = list(FLOWN.values())
    mutants = [mutate(source.choice(tables), source) for _ in range(MUTANTS)]
    return [unfit_word(mutant.words, len(mutant.words)) for mutant in mutants]


JUDGED_AT_FIRST = judged()


@pytest.mark.parametrize(("name", "policy"), FLOWN)
def test_the_kernels_give_the_words_that_they_gave(name: str, policy: str) -> None:
    assert flown(FLOWN[name, policy], 7) == AT_FIRST[name, policy]


def test_the_check_of_flight_tables_says_what_it_said() -> None:
    assert judged() == JUDGED_AT_FIRST
