"""The requests that load flight tables, piece by piece, only in the safe state."""

from firmware_port import protocol as p
from firmware_port.frames import unpack
from mixer.flight import Steering


class TableLoading:
    """Handles TABLES_BEGIN, TABLES_PIECE and TABLES_COMMIT for a node."""

    def __init__(self, node):
        self._node = node
        self._store = node.store
        self._control = node.control
        node.handle(p.TABLES_BEGIN, self._on_begin, 3)
        node.handle(p.TABLES_PIECE, self._on_piece, None)
        node.handle(p.TABLES_COMMIT, self._on_commit)

    def _on_begin(self, words):
        if self._control.state != p.SAFE or not self._storable():
            return p.NOT_NOW
        if self._control.recorder is not None:
            self._control.recorder.close()  # its cycles were of other tables, and these need room
        verdict = self._store.begin(words[0], words[1], words[2])
        self._node.put_number(self._store.received)
        return verdict

    def _on_piece(self, words):
        node = self._node
        if not 3 < node.length <= 3 + p.PIECE:
            return p.WRONG_LENGTH
        if self._control.state != p.SAFE:
            return p.NOT_NOW
        end = unpack(node.request, p.HEADER, 1, 3, words, 0)
        verdict = self._store.piece(words[0], node.request, end, node.length - 3)
        node.put_number(self._store.received)
        return verdict

    def _storable(self):
        """Whether no watchdog would bite while storage is erased: on RP2 45 ms a sector, two of
        them, and its watchdog cannot be stopped. From the first arming to the next reset, none."""
        watchdog = self._node.watchdog
        return not self._store.lasting or watchdog is None or not watchdog.runs

    def _on_commit(self, words):
        control = self._control
        if not control.at_rest() or not self._storable():
            return p.NOT_NOW
        tables = self._store.check()
        self._node.put_number(self._store.bad_word)
        if isinstance(tables, int):
            return tables
        try:
            steering = Steering(tables, copy=False)
        except MemoryError:
            return p.NO_ROOM
        verdict = self._store.keep()
        if verdict == p.TAKEN:
            control.fly(steering)
            control.count(p.TABLES_TAKEN)
        return verdict
