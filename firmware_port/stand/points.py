"""What is kept of each cycle of a play until it is fetched: a ring, taken once at start."""

from array import array

from firmware_port.stand import protocol as s

WIDTH = 15  # time, deflections, pulses, angles, supply, sync
TIME, DEFLECTION, PULSE, ANGLE, SUPPLY, SYNC = 0, 1, 5, 9, 13, 14


class Points:
    """Points by their number, from 0 on. One that finds no room is counted in `lost`; what has not
    been fetched is never written over.
    """

    def __init__(self):
        self.words = array("i", bytes(4 * WIDTH * s.POINTS))
        self.clear()

    def clear(self):
        """Before a play."""
        self.first = 0  # the number of the oldest that is kept
        self.next = 0  # the number of the one to come
        self.lost = 0

    def put(self, time_us, deflection_mdeg, pulse_ns, angle_mdeg, supply_mv, sync):
        """Keep one more; allocates nothing."""
        if self.next - self.first >= s.POINTS:
            self.lost += 1
            return
        words = self.words
        place = self.next % s.POINTS * WIDTH
        words[place] = time_us
        for i in range(4):
            words[place + DEFLECTION + i] = deflection_mdeg[i]
            words[place + PULSE + i] = pulse_ns[i]
            words[place + ANGLE + i] = angle_mdeg[i]
        words[place + SUPPLY] = supply_mv
        words[place + SYNC] = sync
        self.next += 1

    def give_back(self, number):
        """Those before this number are safe elsewhere. False for one that is gone, or to come."""
        if not self.first <= number <= self.next:
            return False
        self.first = number
        return True
