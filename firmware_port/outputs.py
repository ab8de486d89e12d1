"""Servo pulses: driven by a board's timers, or only remembered."""

import machine

NS_PER_S = 1_000_000_000
END_NS = 1_000_000  # more than a frame, since its beginning is not known
VANES = 4


class PulseOutputs:
    """Four pulse outputs at one frame rate; `write` allocates nothing.

    pins: four, in the order of the vanes. frame_hz: pulses a second, at most what the slowest of
    the servos stands. No pulse leaves before the first `write`, and none after `off`. On RP2 two
    channels of a slice share its frequency: it is set once, with the first pulse; and a channel
    that is ended leaves its line as it stands, high in the middle of a pulse.
    """

    def __init__(self, pins, frame_hz):
        if len(pins) != VANES:
            raise ValueError("wiring: one pin for each of the four vanes")
        self._pins = pins
        self._frame_hz = frame_hz
        self._most_ns = NS_PER_S // frame_hz
        self._channels = None

    def write(self, pulse_ns):
        """Set the four pulse widths; a width that does not fit the frame leaves its pulse as is."""
        channels = self._channels
        if channels is None:
            self._start(pulse_ns)
            return
        for i in range(VANES):
            width = pulse_ns[i]
            if 0 < width < self._most_ns:
                channels[i].duty_ns(width)

    def _start(self, pulse_ns):
        """Begin with the right width at once, so that no servo sees a stray pulse."""
        for i in range(VANES):
            if not 0 < pulse_ns[i] < self._most_ns:
                return
        self._channels = [
            machine.PWM(machine.Pin(self._pins[i]), freq=self._frame_hz, duty_ns=pulse_ns[i])
            for i in range(VANES)
        ]

    def off(self):
        """End the pulses and hold the lines low; most servos go limp without pulses.

        Takes one frame: a pulse on its way is let out whole, since half of one is another command.
        """
        channels = self._channels
        if channels is None:
            return
        import time  # not on every board, but on every one with outputs

        self._channels = None
        for channel in channels:
            channel.duty_ns(0)  # from the next frame on
        time.sleep((self._most_ns + END_NS) / NS_PER_S)
        for i in range(VANES):
            channels[i].deinit()
            machine.Pin(self._pins[i], machine.Pin.OUT, value=0)


class RecordedPulses:
    """What would have been driven, for boards without servo outputs and for rehearsals."""

    def __init__(self):
        self.pulse_ns = [0] * VANES

    def write(self, pulse_ns):
        for i in range(VANES):
            self.pulse_ns[i] = pulse_ns[i]

    def off(self):
        for i in range(VANES):
            self.pulse_ns[i] = 0


def open_pulses(wiring):
    """The outputs that the servos are wired to; where there are none, pulses are only recorded."""
    if wiring.VANE_PINS is None:
        return RecordedPulses()
    return PulseOutputs(wiring.VANE_PINS, wiring.SERVO_FRAME_HZ)
