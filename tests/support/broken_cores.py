"""Flight cores that break one promise each: a kernel or a method wrapped in a fault."""

from collections.abc import Callable
from importlib import import_module

import numpy as np
import pytest

from mixer.flight import Steering
from mixer.flight import layout as at
from mixer.flight.boxes import set_target

Kernel = Callable[..., int]


def after(kernel: str, fault: Callable[..., None]) -> Callable[[pytest.MonkeyPatch], None]:
    """Break the core by doing `fault(w)` after the kernel: "cycle.deflect" is deflect as called
    by cycle.
    """

    def broken(sound: Kernel) -> Kernel:
        def faulty(w, *more) -> int:
            result = sound(w, *more)
            fault(w)
            return result

        return faulty

    return lambda monkeypatch: replace(monkeypatch, kernel, broken)


def before(kernel: str, fault: Callable[..., None]) -> Callable[[pytest.MonkeyPatch], None]:
    """Break the core by doing `fault(w)` before the kernel."""

    def broken(sound: Kernel) -> Kernel:
        def faulty(w, *more) -> int:
            fault(w)
            return sound(w, *more)

        return faulty

    return lambda monkeypatch: replace(monkeypatch, kernel, broken)


def replace(
    monkeypatch: pytest.MonkeyPatch, kernel: str, broken: Callable[[Kernel], Kernel]
) -> None:
    caller, name = kernel.split(".")
    module = import_module(f"mixer.flight.{caller}")
    monkeypatch.setattr(module, name, broken(getattr(module, name)))


def outside_travel(w) -> None:
    """Vane 3 goes on past the end of its travel."""
    if w[at.DEFLECTION + 2] == w[at.TRAVEL_HI + 2]:
        w[at.DEFLECTION + 2] += 500


def too_fast(w) -> None:
    """Vane 2 is believed to turn half as fast again as it does."""
    w[at.STEP + 1] = w[at.STEP + 1] * 3 // 2


def wrong_pulse(w) -> None:
    """Vane 4's pulse is 5 µs off where it turns the negative way."""
    if w[at.DEFLECTION + 3] < 0:
        w[at.PULSE + 3] += 5000


def clipped_pseudo_inverse(w) -> None:
    """The well-known short cut: least squares without limits, then each vane clipped."""
    matrix = np.array([w[at.COS : at.COS + 4], w[at.SIN : at.SIN + 4], [1 << 14] * 4]) / (1 << 14)
    force = np.linalg.pinv(matrix) @ np.array(w[at.WANT : at.WANT + 3])
    for i in range(4):
        w[at.FORCE + i] = int(np.clip(force[i], w[at.SLEW_BOX + i], w[at.SLEW_BOX + 4 + i]))


def jumping_primary(w) -> None:
    """The primary jumps by 100 counts at a place well inside what is within reach."""
    if w[at.POINT] > 1000:
        w[at.POINT] += 400


def wear_forgotten(w) -> None:
    """Late in the burn, at the reference pressure, vane 1 is believed to be as good as new."""
    if w[at.LOAD] > 10_000_000 and w[at.RATE] == 1 << 14:
        w[at.KAPPA] = 1 << 14


def roll_short(w) -> None:
    """Roll falls 20 counts short, and the moments told are in keeping with it."""
    w[at.WANT + 2] -= 160


def lazy_neutral(w) -> None:
    """Without a jet or a demand vane 2 moves half as far towards neutral as it could."""
    half = (w[at.DEFLECTION + 1] + w[at.WINDOW_LO + 1]) // 2
    w[at.WINDOW_LO + 1] = w[at.WINDOW_HI + 1] = half


def target_of_the_window(w) -> None:
    """The target is sought in what the slew allows in this cycle, and drifts with it."""
    for vane in range(4):
        set_target(w, vane, w[at.SLEW_BOX + vane], w[at.SLEW_BOX + 4 + vane])


def lies_about_moments(w) -> None:
    """The pitch moment told is 2 % too large."""
    w[at.MOMENT] = w[at.MOMENT] * 51 // 50


def stumbles(w) -> None:
    """An index runs off the tables where vane 1 turns more than 5° the positive way."""
    if w[at.DEFLECTION] > 5000:
        w[len(w)]


def stays_jammed(monkeypatch: pytest.MonkeyPatch) -> None:
    """A vane that was jammed stays where it stands when it is freed."""
    sound = Steering.free

    def free(self: Steering, vane: int) -> None:
        if not self.jammed >> (vane - 1) & 1:
            sound(self, vane)

    monkeypatch.setattr(Steering, "free", free)


def misses_staleness(w) -> None:
    """A demand never grows old."""
    w[at.AGE] = min(w[at.AGE], 0)


# promise, core, a word of the breach
BROKEN = {
    "outside travel": ("limits", after("cycle.deflect", outside_travel), "outside the travel"),
    "too fast": ("limits", after("cycle.set_steps", too_fast), "its slew allows"),
    "wrong pulse": ("limits", after("cycle.deflect", wrong_pulse), "pulse"),
    "stumbles": ("limits", after("cycle.deflect", stumbles), "stopped with IndexError"),
    "clipped pseudo-inverse": (
        "priority", after("allocate.set_forces", clipped_pseudo_inverse), "with a roll demand of",
    ),
    "jumping primary": (
        "continuity", before("allocate.set_forces", jumping_primary), "the bound is",
    ),
    "lazy neutral": ("recovery", after("cycle.to_neutral", lazy_neutral), "towards neutral"),
    "misses staleness": ("recovery", before("cycle.status", misses_staleness), "stale-demand"),
    "stays jammed": ("recovery", stays_jammed, "jammed"),
    "wear forgotten": ("accuracy", after("cycle.burn_on", wear_forgotten), "counts"),
    "roll short": ("accuracy", before("allocate.set_forces", roll_short), "roll of"),
    "lies about moments": ("accuracy", after("cycle.deflect", lies_about_moments), "told moments"),
    "target of the window": (
        "rest", after("cycle.set_boxes", target_of_the_window), "by travel alone",
    ),
}  # fmt: skip
