"""What lies between the steering and a servo's motor: pulses in frames, and the servo's latency.

A board sends a pulse every frame (50 a second for most servos), each as wide as the steering wanted
it when the frame began; what was wanted in between is never sent. The servo answers after its
latency. Times are whole microseconds, so that nothing hangs on how they add up.
"""

import numpy as np
from numpy.typing import NDArray

from mixer.ground.inputs.arrays import Array


class PulseLine:
    """Four lines in each of N flights.

    frame_us: from pulse to pulse; phase_us (1, N): when the first frame begins; delay_us (4, 1):
    from the beginning of a frame to the servo's answer; resting_deg (4, N): what was sent before.
    """

    def __init__(self, frame_us: int, phase_us: Array, delay_us: Array, resting_deg: Array):
        self._frame_us = frame_us
        self._phase_us = np.rint(phase_us).astype(np.int64)
        self._delay_us = np.rint(delay_us).astype(np.int64)
        frames = int(self._delay_us.max()) // frame_us + 3  # under way, begun, and before the first
        self._sent_deg = np.repeat(resting_deg[None], frames, axis=0)
        vanes, flights = resting_deg.shape
        self._vane, self._flight = np.arange(vanes)[:, None], np.arange(flights)

    def send(self, wanted_deg: Array, from_us: int, lasting_us: int) -> None:
        """The angles (4, N) that the pulse stands for whose frame begins in this time, which is no
        longer than a frame.
        """
        frame = -((self._phase_us - from_us) // self._frame_us)  # the first not before
        begins_us = self._phase_us + frame * self._frame_us
        now = np.flatnonzero((frame >= 0) & (begins_us < from_us + lasting_us))
        place = frame[0, now] % len(self._sent_deg)
        self._sent_deg[place, :, now] = wanted_deg[:, now].T

    def mean_deg(self, from_us: float, lasting_us: float) -> Array:
        """What the servos drive to (4, N), on the mean of a time no longer than a frame."""
        begin = from_us - self._delay_us - self._phase_us
        frame = np.floor(begin / self._frame_us).astype(np.int64)
        after_us = begin + lasting_us - (frame + 1) * self._frame_us
        share = np.minimum(np.maximum(after_us / lasting_us, 0.0), 1.0)
        return (1.0 - share) * self._of(frame) + share * self._of(frame + 1)

    def _of(self, frame: NDArray[np.int64]) -> Array:
        return self._sent_deg[frame % len(self._sent_deg), self._vane, self._flight]
