"""The flight tables: words that the ground built once, and their carriage in bytes.

A blob is a header (`4VFT`, format version, number of words, CRC-32 of the words) and the words,
little-endian. `layout.py` says where each number stands.
"""

import struct
from array import array
from binascii import crc32

MAGIC = b"4VFT"
VERSION = 5
_HEADER = "<4sHHI"
HEADER_BYTES = 12


class TablesError(ValueError):
    """The bytes are not flight tables of this version, or were damaged."""


class FlightTables:
    """Read-only flight tables: `words` is an array of 32-bit integers, see `layout.py`.

    They are made of integers, or of the bytes of little-endian words.
    """

    def __init__(self, words):
        self.words = array("i", words)

    def to_bytes(self):
        body = bytes(memoryview(self.words))
        return struct.pack(_HEADER, MAGIC, VERSION, len(self.words), crc32(body)) + body

    @classmethod
    def from_bytes(cls, blob):
        """Raise TablesError unless `blob` is whole, undamaged and of this version."""
        if len(blob) < HEADER_BYTES:
            raise TablesError("flight tables are cut short: no whole header")
        magic, version, count, crc = struct.unpack(_HEADER, blob[:HEADER_BYTES])
        if magic != MAGIC:
            raise TablesError("these bytes are not flight tables")
        if version != VERSION:
            raise TablesError(f"flight tables have version {version}, this core reads {VERSION}")
        body = memoryview(blob)[HEADER_BYTES:]  # a board has no room for another copy
        if len(body) != 4 * count:
            raise TablesError(f"flight tables are cut short: {len(body)} bytes of {4 * count}")
        if crc32(body) != crc:
            raise TablesError("flight tables are damaged: the CRC-32 does not agree")
        tables = cls(())
        # MicroPython's `extend` takes bytes as they lie, which is `frombytes` elsewhere.
        getattr(tables.words, "frombytes", tables.words.extend)(body)
        return tables
