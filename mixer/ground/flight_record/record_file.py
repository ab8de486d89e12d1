"""A record on disk: a header that says of what it is, then blocks, each with its CRC-32.

Bytes, little-endian: `4VFR`, two bytes version, two bytes length of the header, the header (JSON,
UTF-8), CRC-32 of all before; then for each block its words and their CRC-32. A file that was
cut off is read up to there, entry by entry, those behind the last whole block as unchecked; one
flipped bit is found where it is.
"""

import contextlib
import json
import os
import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from zlib import crc32

from mixer.ground.flight_record import record_layout as r
from mixer.ground.flight_record.entries import (
    Block,
    Cycle,
    Entry,
    EntryError,
    read_block,
    read_entries,
    words_of,
)
from mixer.ground.inputs.errors import InputError
from mixer.ground.inputs.run_files import reads

MAGIC = b"4VFR"
VERSION = 1
HEAD = struct.Struct("<4sHH")
CRC = struct.Struct("<I")
BLOCK_BYTES = 4 * r.BLOCK_WORDS
STRIDE = BLOCK_BYTES + CRC.size
SOURCE_NODE, SOURCE_LINE = "node", "line"  # of a record: the node's own, or listened to


class RecordError(InputError):
    """A record that cannot be used; the message names file and place."""


@dataclass(frozen=True)
class Record:
    """A record as it was read. torn_bytes: of a last block that is not whole; unchecked: its whole
    entries, which no CRC-32 vouches for.
    """

    path: Path
    header: dict[str, Any]
    blocks: list[Block]
    torn_bytes: int = 0
    unchecked: list[Entry] = field(default_factory=list)

    @property
    def entries(self) -> list[Entry]:
        """All of them, in order."""
        return [entry for block in self.blocks for entry in block.entries]


def header_bytes(header: Mapping[str, Any]) -> bytes:
    """The beginning of a file."""
    text = json.dumps(header, sort_keys=True, ensure_ascii=False, allow_nan=False).encode()
    head = HEAD.pack(MAGIC, VERSION, len(text)) + text
    return head + CRC.pack(crc32(head))


def block_bytes(words: Sequence[int]) -> bytes:
    """A block as it stands in a file."""
    body = struct.pack(f"<{r.BLOCK_WORDS}i", *words)
    return body + CRC.pack(crc32(body))


class RecordWriter:
    """Writes a record block by block, each on disk before the next is begun.

    header: at least `source` (SOURCE_NODE, SOURCE_LINE), `tables_crc` (0 where unknown) and
    `board`. Entries are put one after another; `close` writes the last, unfilled block. A file of
    that name must not be there yet.
    """

    def __init__(self, path: Path, header: Mapping[str, Any]) -> None:
        self.path = path
        self._file = path.open("xb")
        self._words: list[int] = []
        self._number = self._cycles = 0
        self._head = [0, 0, 0]
        self._write(header_bytes(header))

    def __enter__(self) -> "RecordWriter":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def put(self, entry: Entry, check: int = 0) -> None:
        """Append one entry. check: `record_layout.check_of` the last answer, where it is known."""
        words = words_of(entry)
        if len(self._words) + len(words) > r.BLOCK_WORDS - r.FIRST:
            self._flush()
        if not self._words:
            self._head = [self._number + 1, self._cycles, check]
        self._words += words
        self._cycles += isinstance(entry, Cycle)

    def close(self) -> None:
        """Write what is left and close the file."""
        if not self._file.closed:
            self._flush()
            self._file.close()

    def _flush(self) -> None:
        if self._words:
            self._number += 1
            filled = [*self._head, *self._words]
            self._write(block_bytes(filled + [0] * (r.BLOCK_WORDS - len(filled))))
            self._words = []

    def _write(self, data: bytes) -> None:
        self._file.write(data)
        self._file.flush()
        os.fsync(self._file.fileno())


def read_record(path: Path) -> Record:
    """A record, up to its last whole block. RecordError where it is none, or a bit has flipped."""
    reads(path)
    return record_in(path)


def record_in(path: Path) -> Record:
    """The same of a file that this run goes on writing, and so is no source of it."""
    content = path.read_bytes()
    header, start = read_header(path, content)
    whole = (len(content) - start) // STRIDE
    blocks = []
    for n in range(whole):
        at = start + n * STRIDE
        body = content[at : at + BLOCK_BYTES]
        check(path, content, at, at + BLOCK_BYTES, f"block {n + 1} of {whole}")
        try:
            blocks.append(read_block(struct.unpack(f"<{r.BLOCK_WORDS}i", body)))
        except EntryError as error:
            raise RecordError(f"{path}, block {n + 1}, byte {at}: {error}") from error
    torn = content[start + whole * STRIDE :]
    return Record(path, header, blocks, len(torn), whole_entries(torn))


def whole_entries(torn: bytes) -> list[Entry]:
    """Those of a block that was cut off."""
    count = min(len(torn) // 4, r.BLOCK_WORDS)
    words = struct.unpack(f"<{count}i", torn[: 4 * count])[r.FIRST :]
    entries: list[Entry] = []
    with contextlib.suppress(EntryError):
        for entry in read_entries(words):  # up to where one is not whole
            entries.append(entry)
    return entries


def read_header(path: Path, content: bytes) -> tuple[dict[str, Any], int]:
    """The header of a file, and where its blocks begin."""
    if content[: len(MAGIC)] != MAGIC[: len(content)] or not content:
        raise RecordError(f"{path}: no flight record; `fourvane record fetch` writes one")
    if len(content) < HEAD.size:
        raise RecordError(f"{path}: {len(content)} bytes, cut off before its header ends")
    _, version, length = HEAD.unpack_from(content)
    end = HEAD.size + length
    if len(content) < end + CRC.size:
        raise RecordError(f"{path}: {len(content)} bytes, cut off before its header ends")
    check(path, content, 0, end, "the header")
    if version != VERSION:
        raise RecordError(f"{path}: a record of version {version}; this reads {VERSION}")
    return json.loads(content[HEAD.size : end]), end + CRC.size


def check(path: Path, content: bytes, start: int, end: int, what: str) -> None:
    """RecordError where bytes from start to end do not agree with the CRC-32 behind them."""
    (told,) = CRC.unpack_from(content, end)
    if crc32(content[start:end]) != told:
        raise RecordError(f"{path}, {what}, {flipped(content, start, end)}")


def flipped(content: bytes, start: int, end: int) -> str:
    """In words, which single bit, put back, would make the CRC-32 right; else the bytes."""
    data = bytearray(content[start : end + CRC.size])
    for bit in range(8 * len(data)):
        data[bit >> 3] ^= 1 << (bit & 7)
        if crc32(data[: end - start]) == CRC.unpack_from(data, end - start)[0]:
            return f"byte {start + (bit >> 3)}: bit {bit & 7} has flipped; fetch or copy it anew"
        data[bit >> 3] ^= 1 << (bit & 7)
    return f"bytes {start} to {end + CRC.size - 1}: damaged; fetch or copy it anew"
