"""Further kinds of frames: behind kind 0, told by the first byte of its contents."""

from binascii import crc_hqx

import pytest
from cobs import cobs

from firmware_port import protocol as p
from firmware_port.frames import unpack
from firmware_port.further_kinds import AT
from hil.node.errors import BoardError
from hil.node.loopback import Loopback
from hil.node.node_link import NodeLink, numbers, read_numbers

SUM, ECHO, REFUSING = 1, 2, p.FURTHERS - 1


class Told:
    """A node with further kinds that add two numbers, send back what came, and refuse."""

    def __init__(self) -> None:
        self.loop = Loopback()
        self.node = self.loop.node
        self.link = NodeLink(self.loop)
        self.node.further.handle(SUM, self._on_sum, 2)
        self.node.further.handle(ECHO, self._on_echo, None)
        self.node.further.handle(REFUSING, lambda words: p.NOT_NOW)

    def _on_sum(self, words) -> int:
        self.node.put_number(words[0] + words[1])
        return p.TAKEN

    def _on_echo(self, words) -> int:
        for i in range(self.node.further.length):
            self.node.put_byte(self.node.request[AT + i])
        return p.TAKEN

    def verdict(self, contents: bytes) -> str:
        return p.VERDICT_NAMES[self.link.request(p.FURTHER, contents).verdict]

    def refused(self, name: str) -> int:
        return self.link.counters()[name]


@pytest.fixture
def told() -> Told:
    return Told()


def test_a_handler_gets_its_numbers_and_its_answer_comes_back(told: Told) -> None:
    assert read_numbers(told.link.ask_further(SUM, numbers((-70_000, 3)))) == (-69_997,)


@pytest.mark.parametrize("length", [0, 1, 3, 51])
def test_a_handler_that_reads_by_itself_gets_contents_of_any_length(
    told: Told, length: int
) -> None:
    sent = bytes(range(100, 100 + length))
    assert told.link.ask_further(ECHO, sent) == sent


def test_numbers_behind_the_first_byte_are_read_where_they_begin(told: Told) -> None:
    words = [0, 0]
    told.link.ask_further(ECHO, numbers((-5, 4_000_000)))
    unpack(told.node.request, AT, 2, 3, words, 0)
    assert words == [-5, 4_000_000]


def test_an_answer_carries_the_further_kind_before_all_else(told: Told) -> None:
    """On the wire, read by other means."""
    body = bytes((p.VERSION << 6, 7, 0, SUM)) + numbers((1, 2))
    told.loop.write(cobs.encode(body + crc_hqx(body, 0xFFFF).to_bytes(2, "big")) + b"\0")
    answer = cobs.decode(told.loop.read(64)[:-1])
    assert crc_hqx(answer, 0xFFFF) == 0
    assert answer[:-2] == bytes((p.VERSION << 6 | p.ANSWER, 7, 0, p.SAFE << 4, SUM, 3, 0, 0))


@pytest.mark.parametrize("kind", [0, 3, 16, 30, 32, 127, 255])
def test_a_further_kind_that_nobody_takes_is_unknown_and_named_in_the_answer(
    told: Told, kind: int
) -> None:
    before = told.refused("unknown-kind")
    answer = told.link.request(p.FURTHER, bytes((kind, 1, 2, 3)))
    assert (answer.verdict, answer.contents) == (p.UNKNOWN_KIND, bytes((kind,)))
    assert told.refused("unknown-kind") == before + 1


@pytest.mark.parametrize("length", [0, 3, 5, 7, 9, 48])
def test_numbers_of_another_count_never_come_to_the_handler(told: Told, length: int) -> None:
    assert told.verdict(bytes((SUM,)) + bytes(length)) == "wrong-length"


def test_without_the_byte_that_tells_the_kind_it_is_of_wrong_length(told: Told) -> None:
    assert told.verdict(b"") == "wrong-length"


def test_a_refusal_is_counted_and_raised_in_words(told: Told) -> None:
    before = told.refused("not-now")
    with pytest.raises(BoardError, match="not-now"):
        told.link.ask_further(REFUSING)
    assert told.refused("not-now") == before + 1


def test_an_answer_about_another_further_kind_is_no_answer(told: Told) -> None:
    told.node.further.handle(SUM, lambda words: p.TAKEN)
    told.node.put_byte(ECHO)  # before the node's own byte
    with pytest.raises(BoardError, match="another further kind"):
        told.link.ask_further(SUM)
