"""What is kept of each cycle of a play until it is fetched: a ring, taken with its programme."""

from array import array

from firmware_port.stand import protocol as s

LEFT = 2  # blocks, for the interpreter's own needs
BLOCK = 20  # points in one piece of memory, since a small board has no large ones left
WIDTH = 15  # time, deflections, pulses, angles, supply, sync
TIME, DEFLECTION, PULSE, ANGLE, SUPPLY, SYNC = 0, 1, 5, 9, 13, 14


class Points:
    """Points by their number, from 0 on. One that finds no room is counted in `lost`; what has not
    been fetched is never written over.
    """

    def __init__(self):
        self._blocks = []
        self.most = 0  # that are kept until they are fetched
        self.clear()

    def forget(self):
        """Give the memory back."""
        self._blocks = []
        self.most = 0
        self.clear()

    def take(self):
        """As much memory as there is, up to s.POINTS; a little is left. False for too little."""
        blocks = self._blocks
        try:
            while len(blocks) < s.POINTS // BLOCK:
                blocks.append(array("i", bytes(4 * WIDTH * BLOCK)))
        except MemoryError:
            del blocks[-LEFT:]
        self.most = BLOCK * len(blocks)
        return len(blocks) > 0

    def clear(self):
        """Before a play."""
        self.first = 0  # the number of the oldest that is kept
        self.next = 0  # the number of the one to come
        self.lost = 0

    def put(self, time_us, deflection_mdeg, pulse_ns, angle_mdeg, supply_mv, sync):
        """Keep one more; allocates nothing."""
        if self.next - self.first >= self.most:
            self.lost += 1
            return
        words = self.block(self.next)
        place = self.place(self.next)
        words[place] = time_us
        for i in range(4):
            words[place + DEFLECTION + i] = deflection_mdeg[i]
            words[place + PULSE + i] = pulse_ns[i]
            words[place + ANGLE + i] = angle_mdeg[i]
        words[place + SUPPLY] = supply_mv
        words[place + SYNC] = sync
        self.next += 1

    def block(self, number):
        """The words in which a point stands, from `place` on."""
        return self._blocks[number % self.most // BLOCK]

    def place(self, number):
        """Where in its block a point begins."""
        return number % BLOCK * WIDTH

    def give_back(self, number):
        """Those before this number are safe elsewhere. False for one that is gone, or to come."""
        if not self.first <= number <= self.next:
            return False
        self.first = number
        return True
