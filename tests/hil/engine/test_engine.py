"""An engine that lights late, goes out at its start or before its time, and how it is steered."""

import numpy as np
import pytest

from hil.engine.burn import make_burn
from hil.engine.engine import CHUFF_S, RunningEngine
from hil.faults.faults import Fault
from hil.flights.fly import Flight, fly
from hil.rocket.dispersion import drawn, nominal
from hil.rocket.rocket import POSITION
from mixer.flight.layout import NO_THRUST, SLEW_LIMITED
from tests.support.flying import BRIEF, flying_vehicle

VEHICLE = flying_vehicle({"rocket.start_up_s": 0.3, "rocket.tail_off_s": 0.6})
TIMES_S = np.arange(-0.5, 30.0, 0.037)


def engine(flights: int = 1) -> RunningEngine:
    return RunningEngine(VEHICLE, *np.ones((3, flights)))


def test_a_sound_engine_runs_by_the_burn_s_own_tables():
    sound, burn = engine(), make_burn(VEHICLE)
    for time_s in TIMES_S:
        at = np.array([time_s])
        assert sound.share(time_s) == burn.share_at(at)
        assert sound.load_s(time_s) == burn.load_at(at)
        assert sound.burned(time_s) == burn.burned_at(at)


def test_an_engine_that_lights_late_does_all_later():
    late, sound = engine(2), engine(2)
    late.late_s[1] = 1.5
    for time_s in TIMES_S:
        for what in ("share", "load_s", "burned", "burned_per_s", "burning"):
            now, then = getattr(late, what)(time_s), getattr(sound, what)(time_s - 1.5)
            assert now[1] == pytest.approx(then[1], abs=1e-9)
            assert now[0] == getattr(sound, what)(time_s)[0]


def test_a_chuffing_start_puts_the_jet_out_as_often_as_it_says():
    chuffing = engine()
    chuffing.chuffs[0] = 3
    seen = np.array([chuffing.share(t)[0] > 0.0 for t in np.arange(0.005, 2.0, 0.01)])
    assert np.count_nonzero(np.diff(seen.astype(int)) == -1) == 3
    assert seen[round(6 * CHUFF_S / 0.01) :].all()


def test_an_engine_that_goes_out_early_fades_as_at_its_end_and_neither_burns_nor_wears_on():
    early, burn = engine(), make_burn(VEHICLE)
    early.burn_out(0, 10.0)
    assert early.share(10.0)[0] == pytest.approx(1.0)
    assert early.share(10.3)[0] == pytest.approx(0.5)
    assert early.share(10.61)[0] == 0.0
    assert early.burning(9.99)[0] and not early.burning(10.0)[0]
    for time_s in (10.0, 12.0, 26.0):
        assert early.burned(time_s)[0] == burn.burned_at(np.array(10.0))
        assert early.load_s(time_s)[0] == burn.load_at(np.array(10.0))
    assert early.burned_per_s(12.0)[0] == 0.0


def test_what_is_out_does_not_go_out_again():
    early = engine()
    early.burn_out(0, 5.0)
    early.burn_out(0, 9.0)
    assert not early.burning(5.0)[0]


TROUBLED = [
    Fault("late-ignition", value=0.5),
    Fault("late-ignition", value=2.0),
    Fault("chuffing-start", value=1.0),
    Fault("chuffing-start", value=5.0),
    Fault("early-burn-out", time_s=3.0),
]
LATE = Fault("late-ignition", value=1.0)
EARLY = Fault("early-burn-out", time_s=3.0)
# Fault and seed of each flight; None is the nominal one.
FLIGHTS = [(LATE, None), (EARLY, None), *((fault, seed) for fault in TROUBLED for seed in range(4))]


@pytest.fixture(scope="module")
def flown():
    """`FLIGHTS` side by side: times, heights, burning, flags and whether a vane is turned, each
    (cycles, N), and the tally.
    """
    vehicle = flying_vehicle(BRIEF)
    flights = [
        Flight(nominal(vehicle) if seed is None else drawn(vehicle, seed), seed or 0, (fault,))
        for fault, seed in FLIGHTS
    ]
    rows = []
    tally = fly(
        vehicle,
        flights,
        listener=lambda c: rows.append(
            (
                np.full(len(flights), c.rocket.time_s),
                c.rocket.state[POSITION.start].copy(),
                c.rocket.burning.copy(),
                c.steering.commands.flags.copy(),
                c.steering.commands.deflection_mdeg.any(axis=0),
            )
        ),
    )
    return [np.array(column) for column in zip(*rows, strict=True)], tally


def test_a_late_rocket_waits_on_its_pad_and_then_flies_its_whole_burn(flown):
    late = FLIGHTS.index((LATE, None))
    time_s, height_m, burning, flags, turned = (column[:, late] for column in flown[0])
    assert height_m[time_s < 1.0].max() == 0.0
    assert height_m[-1] > 20.0
    assert time_s[burning].max() == pytest.approx(1.0 + BRIEF["engine.burn_time_s"], abs=0.02)
    waiting = (time_s > 0.1) & (time_s < 1.0)
    assert (flags[waiting] & NO_THRUST).all()
    assert not turned[waiting].any()


def test_once_the_engine_is_out_the_vanes_go_to_neutral(flown):
    early = FLIGHTS.index((EARLY, None))
    time_s, _, _, flags, turned = (column[:, early] for column in flown[0])
    after = time_s > 3.0 + 0.6 + 1.0  # tail-off; doubted for a tenth of the burn, then believed
    assert (flags[after] & NO_THRUST).all()
    assert not turned[after & (flags & SLEW_LIMITED == 0)][20:].any()


def test_no_flight_is_lost_to_an_engine_that_is_late_chuffs_or_goes_out(flown):
    """Dispersed flights; without the fault the same stay within 8 degrees."""
    tally = flown[1]
    for (fault, seed), error_deg in zip(FLIGHTS, tally.attitude_error_deg, strict=True):
        assert error_deg < 8.0, (str(fault), seed)
    assert tally.cycles.min() > 50
