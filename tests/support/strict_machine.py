"""A stand-in for the boards' `machine`, stricter than any of them.

RP2's rules (its `machine_pwm.c`): two channels of a slice share one frequency; nothing leaves a pin
before frequency and width are both set; ending one channel ends its slice. Stricter than RP2: a
frequency is set once a slice, a width must fit the frame, nothing may be used after its end, and a
width has to be a plain integer that costs a board no heap. As on RP2, a channel that is ended
leaves its line as it stands, which may be high, until the pin is driven low as an output; a pulse
on its way goes on for up to a frame after the width has been set to 0. A pin is set only where it
is an output, and read only where it is an input.
"""

import sys
import time
import types
from collections.abc import Iterator
from contextlib import contextmanager


class Board:
    """What all pins and channels of one board share."""

    def __init__(self) -> None:
        self.slice_hz: dict[int, int] = {}
        self.pulse_ns: dict[int, int] = {}  # by pin
        self.levels: dict[int, int] = {}  # by pin: set by the node, or for it by the test
        self.pulls: dict[int, int | None] = {}  # of the inputs, by pin
        self.not_low: set[int] = set()  # pins whose line may be high, now or for ever
        self.cut_short: set[int] = set()  # pins that ended in the middle of a pulse
        self.now_s = 0.0
        self.calls: list[tuple] = []
        self.fed = 0


def module(board: Board) -> types.ModuleType:
    """A `machine` for this board."""

    class Pin:
        IN, OUT, PULL_DOWN = 0, 1, 2

        def __init__(
            self,
            number: int,
            mode: int | None = None,
            pull: int | None = None,
            *,
            value: int | None = None,
        ):
            if not isinstance(number, int) or not 0 <= number < 30:
                raise ValueError(f"no such pin: {number!r}")
            self.number = number
            self.mode = mode
            if mode == Pin.IN:
                board.pulls[number] = pull
            if mode == Pin.OUT and value == 0:
                if number in board.pulse_ns:
                    raise ValueError(f"pin {number} still belongs to its channel")
                board.not_low.discard(number)
                board.calls.append(("low", number))

        def value(self, *level: int) -> int | None:
            if self.mode != (Pin.OUT if level else Pin.IN):
                raise ValueError(f"pin {self.number} is no {'output' if level else 'input'}")
            if not level:
                return board.levels.get(self.number, 0)
            (board.levels[self.number],) = level
            board.calls.append(("level", self.number, *level))
            return None

    class PWM:
        def __init__(self, pin: Pin, *, freq: int, duty_ns: int):
            if not isinstance(pin, Pin):
                raise TypeError("PWM needs a Pin")
            self.pin = pin.number
            self.slice = pin.number // 2 % 8
            self.ended = False
            if self.pin in board.pulse_ns:
                raise ValueError(f"pin {self.pin} has a channel already")
            other = board.slice_hz.setdefault(self.slice, freq)
            if other != freq:
                raise ValueError(f"slice {self.slice} runs at {other} Hz, not {freq}")
            self.freq_hz = freq
            self.quiet_s: float | None = None
            board.not_low.add(self.pin)
            self._set(duty_ns)

        def _set(self, width: int) -> None:
            if self.ended:
                raise ValueError("used after its end")
            if type(width) is not int or abs(width) >= 2**30:
                raise TypeError(f"a width costs heap: {width!r}")
            if not 0 < width < 1_000_000_000 // self.freq_hz:
                raise ValueError(f"{width} ns does not fit {self.freq_hz} Hz")
            self.quiet_s = None
            board.pulse_ns[self.pin] = width
            board.calls.append(("pulse", self.pin, width))

        def freq(self, *args: int) -> None:
            raise AssertionError("the frequency is set once, with the first pulse")

        def duty_ns(self, width: int) -> None:
            if width == 0 and not self.ended:
                self.quiet_s = board.now_s + 1 / self.freq_hz
            else:
                self._set(width)

        def deinit(self) -> None:
            self.ended = True
            if self.quiet_s is None or board.now_s < self.quiet_s:
                board.cut_short.add(self.pin)
            board.pulse_ns.pop(self.pin, None)
            board.slice_hz.pop(self.slice, None)
            board.calls.append(("end", self.pin))

    class WDT:
        def __init__(self, *, timeout: int):
            if not 1 <= timeout <= 8388:
                raise ValueError(f"RP2's watchdog takes 1 to 8388 ms, not {timeout}")

        def feed(self) -> None:
            board.fed += 1
            board.calls.append(("feed",))

    made = types.ModuleType("machine")
    made.Pin, made.PWM, made.WDT = Pin, PWM, WDT  # type: ignore[attr-defined]
    return made


@contextmanager
def strict_machine() -> Iterator[Board]:
    """`import machine` gives the stand-in for a while."""
    board = Board()
    slept = time.sleep

    def sleep(seconds: float) -> None:
        board.now_s += seconds

    names = ("machine", "firmware_port.outputs")
    before = {name: sys.modules.pop(name, None) for name in names}
    sys.modules["machine"] = module(board)
    time.sleep = sleep  # type: ignore[assignment]
    try:
        yield board
    finally:
        time.sleep = slept
        for name, old in before.items():
            sys.modules.pop(name, None)
            if old is not None:
                sys.modules[name] = old
