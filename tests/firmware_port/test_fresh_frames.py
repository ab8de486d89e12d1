"""Tokens, what begins anew with them, and what stands in an answer that was not asked for."""

from zlib import crc32

import pytest

from firmware_port import motion
from firmware_port import protocol as p
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink, numbers, read_cycle, read_numbers
from mixer.ground.tables.build import flight_tables
from tests.support.vehicles import vehicle

BLOB = flight_tables(vehicle()).to_bytes()
PERIOD_US = 5000


@pytest.fixture
def loop() -> Loopback:
    loop = Loopback()
    NodeLink(loop).load_tables(BLOB)
    return loop


@pytest.fixture
def link(loop: Loopback) -> NodeLink:
    return NodeLink(loop)


def said(link: NodeLink, kind: int, contents: bytes = b"") -> str:
    return p.VERDICT_NAMES[link.request(kind, contents).verdict]


# ---- tokens --------------------------------------------------------------------------------------


def test_no_token_is_0_whatever_the_time_is(monkeypatch: pytest.MonkeyPatch) -> None:
    """0 in place of a token says that there is none. Of eight tokens all times can be tried."""
    monkeypatch.setattr(motion, "TOKENS", 7)
    for now_us in range(8):
        loop = Loopback()
        loop.clock.advance(now_us)
        assert NodeLink(loop).ask(p.ASK).contents != numbers((0,))


def test_nodes_that_are_asked_at_different_times_give_different_tokens() -> None:
    tokens = set()
    for now_us in range(100):
        loop = Loopback()
        loop.clock.advance(now_us)
        tokens.add(NodeLink(loop).ask(p.ASK).contents)
    assert len(tokens) == 100


def test_a_token_that_has_been_brought_back_is_used_up_at_once(link: NodeLink) -> None:
    """No cycle passes in between, and no other one is asked for."""
    token = link.ask(p.ASK).contents
    assert said(link, p.ARM, token) == "taken"
    assert said(link, p.DISARM, numbers((0,))) == "taken"
    assert said(link, p.ARM, token) == "wrong-token"


@pytest.mark.parametrize("kind", [p.ARM, p.DISARM])
def test_before_a_token_is_asked_for_none_fits(link: NodeLink, kind: int) -> None:
    assert said(link, kind, numbers((1,))) == "wrong-token"


def test_arming_drops_flight_tables_that_came_before_it(link: NodeLink) -> None:
    crc = crc32(BLOB)
    link.ask(p.TABLES_BEGIN, numbers((len(BLOB), crc >> 16, crc & 0xFFFF)))
    for start in range(0, len(BLOB), p.PIECE):
        link.ask(p.TABLES_PIECE, numbers((start,)) + BLOB[start : start + p.PIECE])
    link.arm()
    link.disarm()
    for _ in range(5):
        link.let_pass(PERIOD_US)
    assert said(link, p.TABLES_COMMIT) == "out-of-order"


# ---- frames of another length, and answers ------------------------------------------------------


@pytest.mark.parametrize("length", [0, 3, 5, 7, 9])
def test_a_request_of_another_length_is_refused_and_does_nothing(
    loop: Loopback, link: NodeLink, length: int
) -> None:
    assert said(link, p.JAM, numbers((1, 1000, 0))[:length]) == "wrong-length"
    assert loop.node.control.steering.jammed == 0


def test_a_change_of_state_is_told_under_number_0(link: NodeLink) -> None:
    link.arm()
    while not link.heard:
        link.let_pass(PERIOD_US)
    (told,) = link.heard
    assert (told.kind, told.sequence, told.state) == (p.STATE, 0, p.LINK_LOST)


def test_forces_stand_in_the_answer_to_a_demand_only_where_they_were_asked_for(
    loop: Loopback, link: NodeLink
) -> None:
    link.arm()
    for forces in (None, True, False):
        if forces is not None:
            link.pace(PERIOD_US, forces=forces)
        answer = read_cycle(link.demand(200_000, -100_000, 3000, 2_000_000).contents)
        expected = tuple(loop.node.control.steering.force) if forces else ()
        assert answer.force == expected
    assert any(loop.node.control.steering.force)


def test_every_token_is_above_0_and_fits_its_three_bytes(link: NodeLink) -> None:
    for _ in range(50):
        (token,) = read_numbers(link.ask(p.ASK).contents)
        assert 0 < token <= 0x7FFFFF


def test_what_a_check_has_found_is_told_and_asking_for_it_lets_it_go_on(
    loop: Loopback, link: NodeLink
) -> None:
    control = loop.node.control
    for _ in range(22):
        link.let_pass(PERIOD_US)
    link.check(3000)
    control.check.done, control.check.off = 0b0011, 0b1000
    for i, turned_mdeg in enumerate((3100, -2900, p.NO_ANGLE, 17)):
        control.check.turned[i] = turned_mdeg
    for _ in range(2):
        for _ in range(60):
            link.let_pass(PERIOD_US)
        found = link.checked()
        assert (found.state, found.done, found.off) == (p.CHECKING, (1, 2), (4,))
        assert found.turned_mdeg == (3100, -2900, None, 17)


class Console:
    """Somebody at the prompt's line who always asks the node to end."""

    def asks_to_end(self) -> bool:
        return True


def test_whoever_sits_at_the_console_may_end_a_safe_node_and_no_other(
    loop: Loopback, link: NodeLink
) -> None:
    link.arm()
    loop.node._console = Console()
    link.demand(0, 0, 0, 0)
    assert loop.node.running
    link.disarm()
    link.let_pass(PERIOD_US)
    assert not loop.node.running
