"""Time and angles over the link: for rehearsals, where every cycle must be the same each time.

A node built with this clock takes PACE, PASS and SEE. Every demand is one pace later than the frame
before it and starts its cycle at once; a PASS lets time go by without a demand;
a SEE tells what angle sensors would say in the next cycle.
"""

from firmware_port import protocol as p
from mixer.flight import layout as at

AT_REST_MS = 5  # how long a look at the line may take: meanwhile the clock stands still
WRAP = 0x3FFFFFFF  # stays a small integer on every board


class PacedClock:
    """A clock that stands still until a frame moves it."""

    def __init__(self):
        self._now_us = 0
        self.pace_us = 5000

    def now(self):
        return self._now_us

    def between(self, then, now):
        return (now - then) & WRAP

    def since(self, then):
        return (self._now_us - then) & WRAP

    def advance(self, us):
        self._now_us = (self._now_us + us) & WRAP


class Paced:
    """Handles PACE, PASS and SEE, and puts a pace before every DEMAND."""

    def __init__(self, node):
        self._node = node
        self._clock = node.control.clock
        self._demand = node.handlers[p.DEMAND]
        node.handle(p.DEMAND, self._on_demand, None)
        node.handle(p.PACE, self._on_pace, 2)
        node.handle(p.PASS, self._on_pass, 1)
        node.handle(p.SEE, self._on_see, 5)
        node.control.at_once = True

    def _on_demand(self, words):
        self._clock.advance(self._clock.pace_us)
        return self._demand(words)

    def _on_pace(self, words):
        if words[0] <= 0:
            return p.OUT_OF_RANGE
        self._clock.pace_us = words[0]
        self._node.tell_forces = words[1] != 0
        return p.TAKEN

    def _on_pass(self, words):
        if words[0] <= 0:
            return p.OUT_OF_RANGE
        self._clock.advance(words[0])
        control = self._node.control
        control.hasten()
        self._node.cycle(control.begin())
        return p.TAKEN

    def _on_see(self, words):
        steering = self._node.control.steering
        if steering is None:
            return p.NO_TABLES
        for i in range(4):
            if words[i] == p.NO_ANGLE:
                words[i] = at.NO_READING
        steering.sensed(words[0], words[1], words[2], words[3])
        if words[4]:
            steering.trust(words[4])
            self._node.control.record(p.SEE, words[4])
        return p.TAKEN
