"""The requests that load flight tables, piece by piece, only in the safe state."""

from firmware_port import protocol as p
from firmware_port.frames import unpack
from mixer.flight import Steering


class TableLoading:
    """Handles TABLES_BEGIN, TABLES_PIECE and TABLES_COMMIT for a node."""

    def __init__(self, node):
        self._node = node
        node.handlers[p.TABLES_BEGIN] = self._on_begin
        node.handlers[p.TABLES_PIECE] = self._on_piece
        node.handlers[p.TABLES_COMMIT] = self._on_commit

    def _on_begin(self, length):
        node = self._node
        if not node.numbers(length, 3, 3):
            return p.WRONG_LENGTH
        if node.state != p.SAFE or not self._storable():
            return p.NOT_NOW
        verdict = node.store.begin(node.words[0], node.words[1], node.words[2])
        node.put_number(node.store.received)
        return verdict

    def _on_piece(self, length):
        node = self._node
        if not 3 < length <= 3 + p.PIECE:
            return p.WRONG_LENGTH
        if node.state != p.SAFE:
            return p.NOT_NOW
        end = unpack(node.request, p.HEADER, 1, 3, node.words, 0)
        verdict = node.store.piece(node.words[0], node.request, end, length - 3)
        node.put_number(node.store.received)
        return verdict

    def _storable(self):
        """Whether no watchdog would bite while storage is erased: on RP2 45 ms a sector, two of
        them, and its watchdog cannot be stopped. From the first arming to the next reset, none."""
        node = self._node
        return not node.store.lasting or node.watchdog is None or not node.watchdog.runs

    def _at_rest(self):
        """Whether all vanes stand at neutral, from where new tables begin."""
        node = self._node
        if node.steering is not None and node.steering.jammed:
            return False
        return node.resting and node.when_safe is None

    def _on_commit(self, length):
        node = self._node
        if length:
            return p.WRONG_LENGTH
        if node.state != p.SAFE or not self._at_rest() or not self._storable():
            return p.NOT_NOW
        tables = node.store.check()
        node.put_number(node.store.bad_word)
        if isinstance(tables, int):
            return tables
        try:
            steering = Steering(tables)
        except MemoryError:
            return p.NO_ROOM
        verdict = node.store.keep(tables)
        if verdict == p.TAKEN:
            node.fly(steering, tables)
            node.count(p.TABLES_TAKEN)
        return verdict
