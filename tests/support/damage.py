"""Good frames of a sender, and what a bad line makes of them."""

import random
from collections.abc import Callable

from firmware_port import protocol as p
from hil.node.node_link import demand_contents, numbers

REFERENCE_PA = 2_000_000


def damaged(source: random.Random, frame: bytes, others: list[bytes]) -> bytes:
    """A frame flipped, cut, shortened, lengthened, joined to another, garbled or repeated.

    others: frames sent before. Joined ones apart, what is returned is one frame with its zero.
    """
    body = bytearray(frame[:-1])
    way = source.randrange(8)
    if way == 0:
        for _ in range(source.choice((1, 1, 2, 3, 8))):
            body[source.randrange(len(body))] ^= 1 << source.randrange(8)
    elif way == 1:
        del body[source.randrange(len(body)) :]
    elif way == 2:
        start = source.randrange(len(body))
        del body[start : start + source.randint(1, 4)]
    elif way == 3:
        body.insert(source.randrange(len(body) + 1), source.randrange(256))
    elif way == 4:
        return bytes(body) + source.choice(others)
    elif way == 5:
        start = source.randrange(len(body))
        body[start:] = source.randbytes(len(body) - start)
    elif way == 6:
        body[:] = source.randbytes(source.randint(1, 90))
    else:
        return source.choice(others)
    return bytes(body) + b"\0"


def good_frame(source: random.Random, make: Callable[[int, bytes], bytes]) -> bytes:
    """A frame in order, mostly a demand. make: gives the frame of a kind and contents."""
    kind = source.random()
    if kind < 0.86:
        roll = source.randint(-20_000, 20_000)
        size = source.choice((100_000, 900_000, 5_000_000))
        wanted = (source.randint(-size, size), source.randint(-size, size), roll)
        pressure_pa = source.choice((REFERENCE_PA, 1_500_000))
        return make(p.DEMAND, demand_contents(*wanted, pressure_pa))
    if kind < 0.9:
        return make(p.COUNTERS, numbers((0,)))
    if kind < 0.93:
        return make(p.PASS, numbers((source.randint(1, 30_000),)))
    if kind < 0.95:
        return make(p.JAM, numbers((source.randint(1, 4), source.randint(-9000, 9000))))
    if kind < 0.98:
        return make(p.FREE, numbers((source.randint(1, 4),)))
    return make(p.TABLES_PIECE, numbers((0,)) + bytes(20))
