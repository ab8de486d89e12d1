"""From bytes as they come to whole frames: what counts, what is damaged, what is neither."""

import pytest

from firmware_port import protocol as p
from firmware_port.frames import seal
from firmware_port.receiver import CHUNK, LIMIT, Receiver
from hil.node.loopback import Memory
from hil.node.node_link import wire_frame
from tests.firmware_port.test_frames import encoded, with_crc


class Line(Memory):
    """Bytes come in portions of so many at most."""

    def __init__(self, portion: int = CHUNK):
        super().__init__()
        self.portion = portion

    def receive(self, chunk: bytearray) -> int:
        part = bytearray(min(len(chunk), self.portion))
        count = super().receive(part)
        chunk[:count] = part[:count]
        return count


def received(data: bytes, portion: int = CHUNK) -> tuple[list[bytes], int]:
    """The bodies taken off a line, and how many frames were damaged."""
    line = Line(portion)
    receiver = Receiver(line)
    line.to_node += data
    bodies = []
    for _ in range(2 * len(data) + 4):
        length = receiver.take()
        if length:
            bodies.append(bytes(receiver.body[:length]))
    assert not line.to_node and not receiver.holds_bytes()
    return bodies, receiver.damaged


def body(length: int) -> bytes:
    return bytes(1 + i % 250 for i in range(length))


def frame(length: int) -> bytes:
    return encoded(with_crc(body(length))) + b"\0"


@pytest.mark.parametrize("portion", [1, 2, 7, 63, CHUNK])
def test_frames_come_whole_however_their_bytes_do(portion: int) -> None:
    data = b"".join(wire_frame(p.COUNTERS, i, b"\0\0\0") for i in range(20))
    bodies, damaged = received(data, portion)
    assert [each[1] for each in bodies] == list(range(20))
    assert damaged == 0


@pytest.mark.parametrize("length", range(p.BODY_MOST + 6))
def test_a_body_is_from_a_header_to_the_most_that_fits(length: int) -> None:
    fits = p.HEADER <= length <= p.BODY_MOST
    bodies, damaged = received(frame(length) + frame(5))
    assert bodies == [body(length), body(5)] if fits else [body(5)]
    assert damaged == (0 if fits else 1)


def test_zeros_between_frames_are_no_frames_and_no_damage() -> None:
    bodies, damaged = received(b"\0\0\0" + frame(4) + b"\0\0" + frame(6) + b"\0")
    assert bodies == [body(4), body(6)]
    assert damaged == 0


@pytest.mark.parametrize("endless", [LIMIT + 1, LIMIT + 2, 500])
def test_a_frame_longer_than_any_is_damaged_once_and_the_next_one_counts(endless: int) -> None:
    bodies, damaged = received(b"\x7e" * endless + b"\0" + frame(8))
    assert bodies == [body(8)]
    assert damaged == 1


@pytest.mark.parametrize("place", range(9))
def test_any_changed_byte_is_damage(place: int) -> None:
    changed = bytearray(frame(6))
    changed[place] ^= 0x40
    bodies, damaged = received(bytes(changed) + frame(6))
    assert bodies == [body(6)]
    assert damaged >= 1


def test_the_longest_frame_counted_as_one_leaves_the_buffer_s_last_byte_alone() -> None:
    line = Line()
    receiver = Receiver(line)
    line.to_node += b"\x01" * 300 + b"\0"
    while line.to_node or receiver.holds_bytes():
        receiver.take()
    assert receiver.body[LIMIT] == 0
    assert len(receiver.body) == LIMIT + 1


def test_a_receiver_at_rest_holds_no_bytes_and_one_between_two_frames_does() -> None:
    line = Line()
    receiver = Receiver(line)
    assert not receiver.holds_bytes()
    line.to_node += frame(4) + frame(4)
    assert receiver.take() == 4
    assert receiver.holds_bytes()
    assert receiver.take() == 4
    assert not receiver.holds_bytes()
    assert receiver.take() == 0


def test_damage_is_counted_up_to_what_an_answer_can_tell() -> None:
    line = Line()
    receiver = Receiver(line)
    for before, after in ((p.COUNTER_MOST - 1, p.COUNTER_MOST), (p.COUNTER_MOST, p.COUNTER_MOST)):
        receiver.damaged = before
        line.to_node += b"\x7e\x7e\0"
        assert receiver.take() == 0
        assert receiver.damaged == after


def test_a_frame_is_closed_by_its_zero_in_a_buffer_that_was_used_before() -> None:
    used = bytearray(b"\xff" * 64)
    length = seal(bytearray(body(6) + bytes(2)), 6, used)
    assert bytes(used[:length]) == frame(6)
