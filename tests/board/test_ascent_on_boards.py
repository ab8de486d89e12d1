"""A whole ascent through a board's serial line: the commands of the flight core here."""

import pytest

from hil.faults.faults import Fault
from hil.flights.fly import Flight
from hil.rocket.dispersion import nominal
from hil.steering.board_block import rehearsing
from tests.support.dictation import dictated, repeat
from tests.support.flying import flying_vehicle


@pytest.fixture(scope="module")
def whole_ascent():
    """26 s at 200 Hz and the tail-off; a jam, damaged frames, a dropout and a dying sensor."""
    vehicle = flying_vehicle({"engine.believed_pressure": [0.5, 1.5]})
    faults = (
        Fault("link-damage", time_s=4.0, lasts_s=4.0, value=0.05),
        Fault("link-dropout", time_s=10.0, lasts_s=0.3),
        Fault("jam", 2, time_s=18.0, value=9.0),
        Fault("pressure-intermittent", time_s=13.0, lasts_s=2.0, value=5.0),
        Fault("pressure", time_s=20.0, value=0.0),
    )
    return vehicle, dictated(vehicle, Flight(nominal(vehicle), 1, faults))


@pytest.mark.usefixtures("campaign")
def test_a_board_gives_identical_commands_over_a_whole_ascent(whole_ascent, quick_board_name):
    vehicle, record = whole_ascent
    with rehearsing(quick_board_name) as (node, _):
        assert repeat(vehicle, record, node) >= 5200
