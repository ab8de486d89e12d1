"""From bytes as they arrive to whole, undamaged frames."""

from array import array

from firmware_port.frames import cobs_decode, crc16, gather
from firmware_port.protocol import BODY_MOST, COUNTER_MOST, HEADER

CRC_BYTES = 2
LIMIT = BODY_MOST + CRC_BYTES + 1  # COBS adds one byte
CHUNK = 64


class Receiver:
    """Takes frames off a line, one call at most one, in bounded time and without allocating.

    After `take` has returned a length, `body` begins with that many bytes of a good frame.
    `damaged` counts the frames that were none.
    """

    def __init__(self, line):
        self._line = line
        self._chunk = bytearray(CHUNK)
        self._state = array("i", [0, 0, 0])
        self.body = bytearray(LIMIT + 1)
        self.damaged = 0

    def holds_bytes(self):
        """Whether received bytes still wait to be looked at."""
        return self._state[0] != self._state[1]

    def take(self):
        """The length of the next good frame's body, 0 where none has arrived."""
        state = self._state
        if state[0] == state[1]:
            received = self._line.receive(self._chunk)
            if not received:
                return 0
            state[0] = 0
            state[1] = received
        if not gather(self._chunk, self.body, LIMIT, state):
            return 0
        fill = state[2]
        state[2] = 0
        if fill == 0:  # two zeros in a row: how a sender clears the line, no frame
            return 0
        if fill <= LIMIT:
            fill = cobs_decode(self.body, fill)
            if fill >= HEADER + CRC_BYTES and crc16(self.body, fill) == 0:
                return fill - CRC_BYTES
        if self.damaged < COUNTER_MOST:
            self.damaged += 1
        return 0
