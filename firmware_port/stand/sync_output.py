"""The sync output: high and low in a maximum-length sequence, from which a logger tells the time.

A shift register of 15 bits fed by the exclusive or of its last two, polynomial x^15 + x^14 + 1: the
pattern of 2^15 - 1 of ITU-T O.150, 5.3, as remembered; why it looks like itself at one shift only:
S. W. Golomb, Shift Register Sequences, 1967. It lasts 6 minutes before it repeats, and each play
begins it elsewhere.
"""

# No multiple of usual cycles. The level changes at cycles only: where these keep exact step with a
# log's rows all edges lie at one place between two rows, and the clocks are known to half a row.
CHIP_US = 11_300
STATES = 0x7FFF


class SyncOutput:
    """A level that changes in time. pin: a `machine.Pin`, or None where none is wired."""

    def __init__(self, pin):
        self._pin = pin
        self._state = 1
        self._left_us = 0
        self.level = 0

    def begin(self, seed):
        """Low, then the sequence from a state of its register on, 1 … STATES."""
        self._state = seed
        self._left_us = CHIP_US
        self._show(0)

    def step(self, dt_us):
        """So much time has passed; allocates nothing."""
        self._left_us -= dt_us
        if self._left_us > 0:
            return
        while self._left_us <= 0:
            self._left_us += CHIP_US
            state = self._state
            self._state = (state << 1 | (state >> 14 ^ state >> 13) & 1) & STATES
        self._show(self._state & 1)

    def _show(self, level):
        self.level = level
        if self._pin is not None:
            self._pin.value(level)
