"""Further kinds of frames, behind the one kind FURTHER: the first byte of its contents tells which.

Nothing that is sent every cycle stands here, since the way to these handlers is longer.
"""

from firmware_port import protocol as p
from firmware_port.frames import unpack

AT = p.HEADER + 1  # where the contents proper begin in a request
ANY = 0xFF  # in place of a count of numbers: the handler looks at the contents by itself


class FurtherKinds:
    """Handles FURTHER for a node; whoever has such a kind registers it here.

    Of the request being handled: `length` in bytes of its contents behind the byte that tells the
    kind; they begin at AT in the node's `request`.
    """

    def __init__(self, node):
        self._node = node
        self._handlers = [None] * p.FURTHERS
        self._counts = bytearray(p.FURTHERS)
        self.length = 0
        node.handle(p.FURTHER, self._on_further, None)

    def handle(self, kind, handler, count=0):
        """Let `handler(words)` give the verdict on requests of a further kind, as `Node.handle`."""
        self._handlers[kind] = handler
        self._counts[kind] = ANY if count is None else count

    def _on_further(self, words):
        node = self._node
        length = node.length - 1
        if length < 0:
            return p.WRONG_LENGTH
        self.length = length
        kind = node.request[p.HEADER]
        node.put_byte(kind)
        handler = self._handlers[kind] if kind < p.FURTHERS else None
        if handler is None:
            return p.UNKNOWN_KIND
        count = self._counts[kind]
        if count != ANY:
            if length != 3 * count:
                return p.WRONG_LENGTH
            unpack(node.request, AT, count, 3, words, 0)
        return handler(words)
