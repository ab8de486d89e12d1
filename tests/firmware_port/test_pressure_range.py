"""One range of pressures: what a file may say, tables count and a frame carries is the same."""

import itertools

import pytest

from firmware_port import protocol as p
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink, demand_contents
from hil.verify.stimuli import RandomCycles
from mixer.flight import layout as at
from mixer.ground.tables.build import flight_tables
from mixer.ground.tables.scales import PRESSURE_RATIO_MAX
from mixer.ground.vehicle.engine import MOST_REFERENCE_BAR
from mixer.ground.vehicle.vehicle import VehicleError
from tests.support.vehicles import vehicle


def test_the_highest_reference_s_whole_range_fits_into_a_frame() -> None:
    assert p.PRESSURE_MOST_PA == at.PRESSURE_MOST_PA == 2**24 - 1  # u24 in a DEMAND
    words = flight_tables(vehicle(engine={"chamber_pressure_bar": MOST_REFERENCE_BAR})).words
    assert words[at.PA_MAX] <= p.PRESSURE_MOST_PA
    assert 1e5 * PRESSURE_RATIO_MAX * (MOST_REFERENCE_BAR + 0.1) > p.PRESSURE_MOST_PA
    carried = demand_contents(0, 0, 0, words[at.PA_MAX])[-3:]
    assert int.from_bytes(carried, "little") == words[at.PA_MAX]


@pytest.mark.parametrize("bar", [MOST_REFERENCE_BAR + 0.1, 167.8, 500.0])
def test_a_pressure_that_no_frame_can_carry_is_refused_in_words(bar: float) -> None:
    with pytest.raises(VehicleError, match=r"chamber_pressure_bar = .* at most 83\.8, in bar"):
        vehicle(engine={"chamber_pressure_bar": bar})


@pytest.mark.parametrize("bar", [0.5, 20.0, MOST_REFERENCE_BAR])
def test_a_rehearsal_plays_the_vehicle_s_own_range_to_its_ends(bar: float) -> None:
    tables = flight_tables(vehicle(engine={"chamber_pressure_bar": bar}))
    cycles = RandomCycles(NodeLink(Loopback()), tables, 7)
    played = {pressure(i) for pressure, i in itertools.product(cycles.pressures, range(400))}
    least, most = tables.words[at.PA_MIN], tables.words[at.PA_MAX]
    assert {0, least - 1, least, most, p.PRESSURE_MOST_PA} <= played
    carried = {int.from_bytes(demand_contents(0, 0, 0, pa)[-3:], "little") for pa in played}
    assert {pa for pa in played if pa <= most} <= carried
