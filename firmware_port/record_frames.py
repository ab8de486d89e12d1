"""The requests that fetch the record of a flight, further kinds; only in the safe state."""

from binascii import crc32

from firmware_port import protocol as p
from firmware_port.record_log import BLOCK_WORDS


class RecordFrames:
    """Handles RECORD, RECORD_BLOCK, RECORD_PIECE and RECORD_CLEAR for a node that records."""

    def __init__(self, node, recorder):
        self._node = node
        self._recorder = recorder
        node.further.handle(p.RECORD, self._on_record)
        node.further.handle(p.RECORD_BLOCK, self._on_block, 1)
        node.further.handle(p.RECORD_PIECE, self._on_piece, 2)
        node.further.handle(p.RECORD_CLEAR, self._on_clear, 1)

    def _on_record(self, words):
        recorder = self._recorder
        node = self._node
        node.put_number(recorder.blocks)
        node.put_number(recorder.oldest)
        node.put_number(recorder.newest)
        node.put_number(recorder.cycles)
        node.put_number(recorder.lost)
        return p.TAKEN

    def _words_of(self, number):
        """The block's words, or the verdict against it."""
        if self._node.control.state != p.SAFE:
            return p.NOT_NOW
        recorder = self._recorder
        start = recorder.start_of(number)
        if not start:
            return p.OUT_OF_RANGE
        return memoryview(recorder.log)[start : start + BLOCK_WORDS]

    def _on_block(self, words):
        found = self._words_of(words[0])
        if isinstance(found, int):
            return found
        crc = crc32(bytes(found))
        self._node.put_number(crc >> 16)
        self._node.put_number(crc & 0xFFFF)
        return p.TAKEN

    def _on_piece(self, words):
        found = self._words_of(words[0])
        if isinstance(found, int):
            return found
        if not 0 <= words[1] < BLOCK_WORDS // p.RECORD_WORDS:
            return p.OUT_OF_RANGE
        first = words[1] * p.RECORD_WORDS
        for byte in bytes(found[first : first + p.RECORD_WORDS]):
            self._node.put_byte(byte)
        return p.TAKEN

    def _on_clear(self, words):
        """The number of the newest block shows that nothing is thrown away unseen."""
        if self._node.control.state != p.SAFE:
            return p.NOT_NOW
        if words[0] != self._recorder.newest:
            return p.OUT_OF_RANGE
        self._recorder.clear()
        return p.TAKEN
