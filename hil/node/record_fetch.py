"""Fetching the record of a flight from a node, block by block, each checked by its CRC-32.

A fetch that was cut off goes on: what is in the file stays, and the next block follows.
"""

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from struct import unpack
from zlib import crc32

from firmware_port import protocol as p
from hil.node.answers import refused
from hil.node.errors import BoardError
from hil.node.node_link import NodeLink, numbers, read_numbers
from mixer.ground.flight_record.record_file import (
    SOURCE_NODE,
    STRIDE,
    Record,
    RecordError,
    block_bytes,
    header_bytes,
    record_in,
)
from mixer.ground.flight_record.record_layout import BLOCK_WORDS, CYCLE_WORDS, FIRST, NUMBER
from mixer.ground.inputs.whole_files import write_whole

TRIES = 3  # of a block whose CRC does not agree


@dataclass(frozen=True)
class Held:
    """What a node holds: room in blocks, numbers of its oldest and newest, cycles, those lost."""

    room: int
    oldest: int
    newest: int
    cycles: int
    lost: int

    @property
    def blocks(self) -> int:
        return self.newest - self.oldest + 1

    def seconds(self, period_us: int) -> float:
        """How long a flight has room, a demand in every period and no angle sensors."""
        return self.room * ((BLOCK_WORDS - FIRST) // CYCLE_WORDS) * period_us / 1e6


def held_by(link: NodeLink) -> Held:
    """What the node holds. BoardError where it keeps no record."""
    answer = link.request(p.FURTHER, bytes((p.RECORD,)))
    if answer.verdict == p.UNKNOWN_KIND:
        raise BoardError("this node keeps no record: it has too little memory for one, or is older")
    if not answer.taken:
        raise refused(answer)
    return Held(*read_numbers(answer.contents[1:]))


def clear(link: NodeLink, held: Held) -> None:
    """Let the node forget the record that it holds, and begin the next one with all its room."""
    link.ask_further(p.RECORD_CLEAR, numbers((held.newest,)))


def fetch(
    link: NodeLink, path: Path, done: Callable[[float], None] = lambda share: None
) -> tuple[Held, int]:
    """Fetch the node's record into a file; what it holds, and how many blocks were there before.

    done: called with the share that is in the file. BoardError where the node is not
    safe, RecordError where the file holds another record.
    """
    held = held_by(link)
    if held.blocks < 1:
        raise BoardError("the node has recorded nothing yet: a record begins when it is armed")
    name, _, tables_crc = link.identify()
    header = {"source": SOURCE_NODE, "tables_crc": tables_crc, "board": name, "first": held.oldest}
    header["lost"] = held.lost
    before = begin_file(link, path, header, held) if path.exists() else 0
    if not before:
        with write_whole(path, "wb") as stream:
            stream.write(header_bytes(header))
    with path.open("ab") as file:
        for number in range(held.oldest + before, held.newest + 1):
            file.write(block_bytes(fetch_block(link, number)))
            file.flush()
            os.fsync(file.fileno())
            done((number - held.oldest + 1) / held.blocks)
    return held, before


def begin_file(link: NodeLink, path: Path, header: dict[str, object], held: Held) -> int:
    """How many blocks of this very record a file has; what is broken at its end is cut off."""
    record = record_in(path)
    if record.header != header or not same_record(link, record, held):
        raise RecordError(
            f"{path}: holds another record than the node now does; name another file with --out"
        )
    # The last block may have been written to since, where the node was armed again.
    count = max(len(record.blocks) - 1, 0)
    size = len(header_bytes(header)) + count * STRIDE
    os.truncate(path, size)
    return count


def same_record(link: NodeLink, record: Record, held: Held) -> bool:
    """Whether all but the last block of a file are the node's."""
    if len(record.blocks) > held.blocks:
        return False
    if len(record.blocks) < 2:
        return True
    last = record.blocks[-2].number
    content = record.path.read_bytes()
    start = len(header_bytes(record.header)) + (len(record.blocks) - 2) * STRIDE
    crc = crc32(content[start : start + 4 * BLOCK_WORDS])
    return last == held.oldest + len(record.blocks) - 2 and crc == crc_of(link, last)


def crc_of(link: NodeLink, number: int) -> int:
    """The CRC-32 of a block, by the node."""
    high, low = read_numbers(link.ask_further(p.RECORD_BLOCK, numbers((number,))))
    return high << 16 | low


def fetch_block(link: NodeLink, number: int) -> tuple[int, ...]:
    """One block's words. BoardError where they do not come through whole."""
    for _ in range(TRIES):
        pieces = BLOCK_WORDS // p.RECORD_WORDS
        body = b"".join(
            link.ask_further(p.RECORD_PIECE, numbers((number, piece))) for piece in range(pieces)
        )
        words = unpack(f"<{BLOCK_WORDS}i", body)
        if crc32(body) == crc_of(link, number) and words[NUMBER] == number:
            return words
    raise BoardError(f"block {number} of the record does not come through whole; fetch again")
