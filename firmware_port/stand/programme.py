"""A programme on the node: knots of time and four deflections, straight in between."""

from array import array
from binascii import crc32

from firmware_port import protocol as p
from firmware_port.frames import unpack
from firmware_port.stand import protocol as s
from mixer.flight import layout as at


class StandProgramme:
    """Knots loaded piece by piece; `wanted_mdeg` (4) is where the vanes should be.

    Every deflection lies within the travel of the node's tables, times rise, no gap is too long.
    """

    def __init__(self):
        self.wanted_mdeg = array("i", [0, 0, 0, 0])
        self._ticks = array("i")
        self._mdeg = array("i")
        self._filled = 0
        self._crc = self._wanted_crc = 0
        self._at = 0

    def begin(self, count, crc):
        """The verdict on a new programme of so many knots."""
        if not 2 <= count <= s.MOST_KNOTS:
            return p.OUT_OF_RANGE
        self.forget()
        try:
            self._ticks = array("i", bytes(4 * count))
            self._mdeg = array("i", bytes(16 * count))
        except MemoryError:
            self.forget()
            return p.NO_ROOM
        self._wanted_crc = crc
        return p.TAKEN

    def forget(self):
        """Give its memory back."""
        self._ticks = array("i")
        self._mdeg = array("i")
        self._filled = self._crc = 0

    @property
    def whole(self):
        """Whether all knots are here, as they were sent."""
        return (
            len(self._ticks) > 0
            and self._filled == len(self._ticks)
            and (self._crc == self._wanted_crc)
        )

    def take(self, request, first, count, words, table):
        """The verdict on knots of a request, from number `first` on; table: of a steering."""
        if first != self._filled or count > len(self._ticks) - first:
            return p.OUT_OF_ORDER
        place = p.HEADER + 3
        for k in range(count):
            place = unpack(request, place, 5, 3, words, 0)
            last = self._ticks[first + k - 1] if first + k else 0
            gap = words[0] - last
            if first + k == 0:
                if words[0] != 0:
                    return p.OUT_OF_RANGE
            elif not 0 < gap <= s.LONGEST_GAP or words[0] > s.LONGEST_TICKS:
                return p.OUT_OF_RANGE
            for i in range(4):
                if not table[at.TRAVEL_LO + i] <= words[1 + i] <= table[at.TRAVEL_HI + i]:
                    return p.OUT_OF_RANGE
                self._mdeg[4 * (first + k) + i] = words[1 + i]
            self._ticks[first + k] = words[0]
        start = p.HEADER + 3
        self._crc = crc32(bytes(request[start : start + count * s.KNOT_BYTES]), self._crc)
        self._filled += count
        return p.TAKEN

    def start(self):
        """From its beginning."""
        self._at = 0

    def seek(self, time_us):
        """Put where the vanes should be at this time into `wanted_mdeg`, later than the last one;
        False where the programme is over. Allocates nothing.
        """
        ticks = self._ticks
        now = time_us // s.TICK_US
        last = len(ticks) - 1
        k = self._at
        while k < last and ticks[k + 1] <= now:
            k += 1
        self._at = k
        mdeg = self._mdeg
        wanted = self.wanted_mdeg
        if k == last:
            return False
        gone = now - ticks[k]
        gap = ticks[k + 1] - ticks[k]
        for i in range(4):
            from_mdeg = mdeg[4 * k + i]
            wanted[i] = from_mdeg + (mdeg[4 * k + 4 + i] - from_mdeg) * gone // gap
        return True
