"""Flight tables on their way to the board and on its storage: whole and valid, or the old ones."""

import gc
import os
from binascii import crc32

from firmware_port import protocol as p
from mixer.flight import FlightTables, TablesError
from mixer.flight.unfit import unfit_word

MOST_BYTES = 16384
BESIDE = ".new"


class TableStore:
    """Tables found on storage, and a set that is being received; what flies is a steering's copy.

    path: the file that keeps them over a reset, None where the board has no storage. A file that
    is missing, damaged, of another version or no use in flight counts as no tables.
    size, crc_high, crc_low: of the set in use. bad_word: the number of the word for which the last
    set was refused, 0 where it was no word.
    """

    def __init__(self, path=None):
        self._path = path
        self._buffer = None
        self._crc = 0
        self.received = 0
        self.bad_word = 0
        self.tables = None
        self.size = 0
        self.crc_high = 0
        self.crc_low = 0
        if path is not None and not self._read(path):
            self._read(path + BESIDE)  # a reset between the two steps of a FAT

    @property
    def lasting(self):
        """Whether new tables are written to storage: too slow for a board's watchdog."""
        return self._path is not None

    def _read(self, path):
        try:
            with open(path, "rb") as file:
                blob = file.read()
            tables = FlightTables.from_bytes(blob)
        except (OSError, TablesError):
            return False
        if not self._flies(tables):
            return False
        self.tables = tables
        self._tell_of(blob)
        return True

    def _flies(self, tables):
        """Whether no word could lead a cycle astray."""
        self.bad_word = unfit_word(tables.words, len(tables.words))
        return self.bad_word == 0

    def _tell_of(self, blob):
        crc = crc32(blob)
        self.size = len(blob)
        self.crc_high = crc >> 16
        self.crc_low = crc & 0xFFFF

    def hand_over(self):
        """The tables found on storage, or None: once, for their memory is better used."""
        tables = self.tables
        self.tables = None
        return tables

    def begin(self, size, crc_high, crc_low):
        """Make room for a new set; what was received of another is dropped."""
        self.forget()
        if not 0 < size <= MOST_BYTES:
            return p.OUT_OF_RANGE
        gc.collect()  # so that it lies low, and what is free for the record in one piece
        try:
            self._buffer = bytearray(size)
        except MemoryError:
            return p.NO_ROOM
        self._crc = (crc_high & 0xFFFF) << 16 | crc_low & 0xFFFF
        return p.TAKEN

    def forget(self):
        """Drop what was received."""
        self._buffer = None
        self.received = 0

    def piece(self, offset, source, at, count):
        """Take `count` bytes of source from `at`, which must be the next ones of the set."""
        buffer = self._buffer
        if buffer is None or offset != self.received:
            return p.OUT_OF_ORDER
        if offset + count > len(buffer):
            return p.OUT_OF_RANGE
        for i in range(count):
            buffer[offset + i] = source[at + i]
        self.received = offset + count
        return p.TAKEN

    def check(self):
        """The received set as tables, or the verdict against it."""
        self.bad_word = 0
        buffer = self._buffer
        if buffer is None or self.received != len(buffer):
            return p.OUT_OF_ORDER
        if crc32(buffer) != self._crc:
            return p.BAD_TABLES
        try:
            tables = FlightTables.from_bytes(buffer)
        except TablesError:
            return p.BAD_TABLES
        except MemoryError:
            return p.NO_ROOM
        return tables if self._flies(tables) else p.BAD_TABLES

    def keep(self):
        """Put the checked set onto storage, where there is one; it is in use from here on."""
        if self._path is not None:
            try:
                _write_whole(self._path, self._buffer)
            except OSError:
                return p.NOT_STORED
        self._tell_of(self._buffer)
        self.forget()
        return p.TAKEN


def _write_whole(path, content):
    """Beside the old file, then in its place: a reset in between finds one or the other."""
    beside = path + BESIDE
    with open(beside, "wb") as file:
        file.write(content)
    try:
        os.rename(beside, path)
    except OSError:  # FAT does not rename onto a file
        os.remove(path)
        os.rename(beside, path)
