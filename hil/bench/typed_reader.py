"""Angles read by a person off a protractor and typed in, in the place of an encoder."""

import math
import time
from collections.abc import Callable

from hil.bench.board_port import BoardPort
from hil.bench.port import PortAround, Reading, Recording
from mixer.ground.inputs.arrays import Array
from mixer.ground.servo_bench.data import TYPED

WIDEST_DEG = 180.0
STOP_WORDS = ("stop", "quit", "q")


class TypedReader(PortAround):
    """A board's port whose angles are typed in. Nothing can be recorded: steps and sines are out.

    ask: shows a prompt and gives the answer as typed. tell: shows a remark.
    """

    reader = "person"
    can_record = False

    def __init__(
        self, port: BoardPort, ask: Callable[[str], str], tell: Callable[[str], None]
    ) -> None:
        super().__init__(port)
        self._hold_s = port.hold_ms / 1000
        self._ask, self._tell = ask, tell
        self._stands: dict[int, float] = {}

    def move(self, servo: int, pulse_us: float) -> None:
        self._stands[servo] = pulse_us
        self._port.move(servo, pulse_us)

    def read(self, servo: int, prompt: str = "") -> Reading:
        """Ask until an angle comes. "stop" ends the bench as Ctrl-C does.

        Whoever takes longer than the board holds still has let the servo go to neutral: it is led
        back, and the question is asked again.
        """
        while True:
            asked_s = time.monotonic()
            answer = self._ask(
                f"Servo {servo}, {prompt}. Read the vane's angle in deg, 0 = edge-on, positive = "
                "clockwise from outside (or: stop)"
            ).strip()
            if answer.lower() in STOP_WORDS:
                raise KeyboardInterrupt
            if time.monotonic() - asked_s > 0.9 * self._hold_s:
                self._tell("That took long: the servo may have gone to neutral. It is led back.")
                self._port.move(servo, self._stands[servo])
                continue
            angle_deg = angle_of(answer)
            if angle_deg is not None:
                return Reading(angle_deg, trouble=TYPED)
            self._tell(
                f"{answer!r} is no angle from {-WIDEST_DEG:g} to {WIDEST_DEG:g}, such as -7.5"
            )

    def play(self, servo: int, pulse_us: Array, interval_s: float) -> Recording:
        raise NotImplementedError("a person cannot read an angle a thousand times a second")


def angle_of(answer: str) -> float | None:
    """The angle in what was typed, None where there is none. A decimal comma is welcome."""
    try:
        angle_deg = float(answer.replace(",", "."))
    except ValueError:
        return None
    return angle_deg if math.isfinite(angle_deg) and abs(angle_deg) <= WIDEST_DEG else None
