"""The codec of the serial link, against published vectors and an independent implementation."""

import random
from array import array
from binascii import crc_hqx

import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

from firmware_port.frames import cobs_decode, cobs_encode, crc16, gather, pack, seal, unpack

LENGTHS = range(521)
SEED = 5

# Cheshire & Baker, IEEE/ACM Transactions on Networking 7(2), 1999, and the cases of cobs on PyPI.
PAIRS = [
    (b"", b"\x01"),
    (b"\x00", b"\x01\x01"),
    (b"\x11\x22\x00\x33", b"\x03\x11\x22\x02\x33"),
    (b"\x11\x00\x00\x00", b"\x02\x11\x01\x01\x01"),
    (bytes(range(1, 0xFF)), b"\xff" + bytes(range(1, 0xFF))),
    (bytes(range(1, 0x100)), b"\xff" + bytes(range(1, 0xFF)) + b"\x02\xff"),
]
NOT_COBS = [b"\x00", b"\x05123", b"\x051234\x00", b"\x0512\x004"]


def encoded(data: bytes) -> bytes:
    out = bytearray(len(data) + 2 + len(data) // 254)
    return bytes(out[: cobs_encode(data, len(data), out)])


def decoded(data: bytes) -> bytes | None:
    buffer = bytearray(data)
    count = cobs_decode(buffer, len(buffer))
    return None if count == -1 else bytes(buffer[:count])


def with_crc(body: bytes) -> bytes:
    return body + crc16(body, len(body)).to_bytes(2, "big")


@pytest.mark.parametrize(("data", "wire"), PAIRS)
def test_published_pairs_hold_in_both_directions(data: bytes, wire: bytes) -> None:
    assert encoded(data) == wire
    assert decoded(wire) == data


@pytest.mark.parametrize("wire", NOT_COBS)
def test_published_malformed_inputs_are_refused(wire: bytes) -> None:
    assert decoded(wire) is None


@pytest.mark.parametrize("fill", ["zeros", "ones", "counting", "random", "sparse"])
def test_every_length_agrees_with_the_independent_codec(fill: str) -> None:
    """Lengths 0 to 520 cover both sides of one and of two full blocks of 254."""
    source = random.Random(SEED)
    for length in LENGTHS:
        data = {
            "zeros": bytes(length),
            "ones": b"\x01" * length,
            "counting": bytes(i & 0xFF for i in range(length)),
            "random": source.randbytes(length),
            "sparse": bytes(source.choice((0, 7, 7, 7, 7, 7, 7, 7)) for _ in range(length)),
        }[fill]
        wire = encoded(data)
        assert wire == cobs.encode(data)
        assert 0 not in wire
        assert len(wire) <= length + 1 + length // 254
        assert decoded(wire) == data


@given(st.binary(max_size=600))
def test_what_decodes_decodes_as_in_the_independent_codec(wire: bytes) -> None:
    try:
        expected = cobs.decode(wire)
    except cobs.DecodeError:
        expected = None
    assert decoded(wire) == expected


def test_crc_has_the_published_check_value() -> None:
    """0x29B1 for "123456789": CRC-16/IBM-3740 in the catalogue of CRC algorithms."""
    assert crc16(b"123456789", 9) == 0x29B1


@given(st.binary(max_size=200))
def test_crc_agrees_with_the_standard_library(data: bytes) -> None:
    """`binascii.crc_hqx` has the same polynomial, not reflected; started at 0xFFFF it is ours."""
    assert crc16(data, len(data)) == crc_hqx(data, 0xFFFF)


@given(st.binary(max_size=200))
def test_a_body_with_its_crc_behind_it_checks_to_zero(body: bytes) -> None:
    assert crc16(with_crc(body), len(body) + 2) == 0


def test_every_flip_of_up_to_two_bits_in_a_frame_is_seen() -> None:
    """The polynomial keeps a Hamming distance of 4 far beyond 58 bytes; all pairs are tried."""
    frame = bytearray(with_crc(bytes(range(20))))
    bits = [(i, 1 << b) for i in range(len(frame)) for b in range(8)]
    for n, (i, mask) in enumerate(bits):
        frame[i] ^= mask
        assert crc16(frame, len(frame)) != 0
        for j, other in bits[n + 1 :]:
            frame[j] ^= other
            assert crc16(frame, len(frame)) != 0
            frame[j] ^= other
        frame[i] ^= mask


@given(st.binary(min_size=3, max_size=56), st.data())
def test_every_burst_of_up_to_16_bits_is_seen(body: bytes, data: st.DataObject) -> None:
    frame = int.from_bytes(with_crc(body), "big")
    bits = 8 * (len(body) + 2)
    burst = data.draw(st.integers(1, 0xFFFF))
    place = data.draw(st.integers(0, bits - burst.bit_length()))
    damaged = (frame ^ burst << place).to_bytes(bits // 8, "big")
    assert crc16(damaged, len(damaged)) != 0


@pytest.mark.parametrize(("width", "most"), [(3, 0x7FFFFF), (4, 0x3FFFFFFF)])
def test_numbers_come_back_as_they_were_and_are_held_inside_what_fits(
    width: int, most: int
) -> None:
    values = [0, 1, -1, 255, -256, 65536, most, -most, most + 1, -most - 1, 2**31 - 1, -(2**31)]
    words = array("i", values)
    back = array("i", [0] * len(values))
    data = bytearray(width * len(values))
    assert pack(words, 0, len(values), width, data, 0) == len(data)
    assert unpack(data, 0, len(values), width, back, 0) == len(data)
    assert list(back) == [min(max(value, -most), most) for value in values]


@given(st.lists(st.integers(-(2**23) + 1, 2**23 - 1), min_size=1, max_size=8))
def test_numbers_are_little_endian_twos_complement(values: list[int]) -> None:
    data = bytearray(3 * len(values))
    pack(array("i", values), 0, len(values), 3, data, 0)
    assert bytes(data) == b"".join(v.to_bytes(3, "little", signed=True) for v in values)


def test_numbers_on_the_wire_never_become_words_that_cost_heap() -> None:
    """A board boxes integers of 2³⁰ and more; those are held at ±(2³⁰ − 1)."""
    for value in (2**31 - 1, 2**30, -(2**30), -(2**31)):
        back = array("i", [0])
        unpack(value.to_bytes(4, "little", signed=True), 0, 1, 4, back, 0)
        assert abs(back[0]) == 2**30 - 1


@given(st.lists(st.binary(max_size=40).map(lambda b: b.replace(b"\0", b"\1"))), st.data())
def test_gathering_gives_the_frames_however_the_bytes_arrive(
    frames: list[bytes], data: st.DataObject
) -> None:
    stream = b"".join(frame + b"\0" for frame in frames)
    limit = 30
    buffer = bytearray(limit + 1)
    state = array("i", [0, 0, 0])
    found = []
    while stream:
        size = data.draw(st.integers(1, len(stream)))
        chunk, stream = stream[:size], stream[size:]
        state[0], state[1] = 0, len(chunk)
        while state[0] < state[1]:
            if gather(chunk, buffer, limit, state):
                found.append((state[2], bytes(buffer[: min(state[2], limit)])))
                state[2] = 0
    assert found == [(min(len(f), limit + 1), f[:limit]) for f in frames]


@pytest.mark.parametrize("length", [0, 29, 30, 31, 32, 500])
def test_a_frame_beyond_the_limit_is_counted_as_one_byte_beyond_it(length: int) -> None:
    limit = 30
    chunk = bytes(range(1, 251)) * 2
    state = array("i", [0, 0, 0])
    for start, end in ((0, length // 3), (length // 3, length)):  # in two pieces
        state[0], state[1] = start, end
        gather(chunk, bytearray(limit), limit, state)
    assert state[2] == min(length, limit + 1)


@given(st.binary(min_size=3, max_size=56))
def test_a_sealed_frame_is_the_independent_codecs_with_its_closing_zero(body: bytes) -> None:
    buffer = bytearray(body) + bytes(2)
    wire = bytearray(64)
    count = seal(buffer, len(body), wire)
    assert bytes(wire[:count]) == cobs.encode(with_crc(body)) + b"\0"
