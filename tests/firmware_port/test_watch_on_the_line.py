"""The jam watch, switched and asked for over the line."""

import pytest

from firmware_port import protocol as p
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink, numbers, wire_frame
from mixer.flight import layout as at
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

BLOB = flight_tables(vehicle()).to_bytes()
STANDS_MDEG = 9000
NEUTRAL_NS = 1_500_000
NS_PER_CYCLE = 12_500


@pytest.fixture
def loop() -> Loopback:
    loop = Loopback()
    NodeLink(loop).load_tables(BLOB)
    return loop


@pytest.fixture
def link(loop: Loopback) -> NodeLink:
    link = NodeLink(loop)
    link.arm()
    return link


def fly(link: NodeLink, cycles: int) -> None:
    """Nothing is demanded, while vane 3 stands still elsewhere by a trusted sensor."""
    for _ in range(cycles):
        link.see([p.NO_ANGLE, p.NO_ANGLE, STANDS_MDEG, p.NO_ANGLE], followed=0b100)
        link.demand(0, 0, 0, 2_000_000)


def test_it_tells_what_it_found_and_switched_off_it_finds_nothing(link: NodeLink) -> None:
    assert link.watched().state == at.WATCH_WAITING
    fly(link, 60)
    found = link.watched()
    assert (found.state, found.declared, found.found) == (at.WATCH_ON, (3,), 1)
    assert found.believed == (3,)
    link.watch(False)
    fly(link, 60)
    off = link.watched()
    assert (off.state, off.believed, off.out, off.declared) == (at.WATCH_OFF, (), (), ())
    assert link.belief().jammed == ()
    link.watch(True)
    fly(link, 60)
    assert (link.watched().declared, link.watched().found) == ((3,), 2)


def test_a_vane_that_was_declared_is_led_back_at_the_slew_once_the_watch_is_off(
    loop: Loopback, link: NodeLink
) -> None:
    fly(link, 100)
    assert loop.outputs.pulse_ns[2] == NEUTRAL_NS + 90_000
    link.watch(False)
    seen = [loop.outputs.pulse_ns[2]]
    while seen[-1] != NEUTRAL_NS:
        fly(link, 1)
        seen.append(loop.outputs.pulse_ns[2])
        assert abs(seen[-1] - seen[-2]) <= NS_PER_CYCLE


def test_a_jam_that_was_told_is_not_the_watch_s_to_free(link: NodeLink) -> None:
    link.jam(2, 4000)
    link.watch(False)
    assert link.belief().jammed == (2,)


def test_a_frame_of_before_switches_nothing(loop: Loopback, link: NodeLink) -> None:
    link.watch(False)
    contents = bytes((p.WATCH,)) + numbers((1,))
    for behind in (0, 1, 300):
        loop.write(wire_frame(p.FURTHER, (link.sequence - behind) % p.SEQUENCES, contents))
    assert link.watched().state == at.WATCH_OFF
    counters = link.counters()
    assert (counters["repeated"], counters["stale"]) == (1, 2)
