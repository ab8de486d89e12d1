"""The motions one after another: asked, held, what passed on the line, what was seen."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from hil.phasing.motions import Motion
from hil.phasing.readings import Reading, reading_of
from hil.tap.listener import Listener

REST_S, HOLD_S = 1.0, 1.5

Seen = tuple[int | None, ...]  # each vane: +1 clockwise from outside, −1 the other way, 0 not, None


class Person(Protocol):
    """Whoever moves the vehicle and looks at the vanes."""

    def rest(self, motion: Motion) -> None:
        """Come back once the vehicle is at rest, before a motion."""
        ...

    def hold(self, motion: Motion) -> None:
        """Come back once the motion is made and held."""
        ...

    def seen(self, motion: Motion) -> Seen | None:
        """Which way each vane has turned from its place at rest; None where nobody looks."""
        ...


class Clock(Protocol):
    """The listener's time, in s."""

    def now(self) -> float: ...
    def wait(self, seconds: float) -> None: ...


@dataclass(frozen=True)
class Held:
    """One motion: the line at rest before it and while it was held, and the vanes as seen."""

    motion: Motion
    rest: Reading
    hold: Reading
    seen: Seen | None
    from_s: float
    to_s: float


def hold_all(
    listener: Listener, clock: Clock, person: Person, motions: Sequence[Motion]
) -> list[Held]:
    """Every motion once; what was made so far at Ctrl-C is the caller's loss, no vehicle's."""
    return [hold_one(listener, clock, person, motion) for motion in motions]


def hold_one(listener: Listener, clock: Clock, person: Person, motion: Motion) -> Held:
    """One motion."""
    person.rest(motion)
    rest, _, _ = listened(listener, clock, REST_S)
    person.hold(motion)
    hold, from_s, to_s = listened(listener, clock, HOLD_S)
    return Held(motion, rest, hold, person.seen(motion), from_s, to_s)


def listened(listener: Listener, clock: Clock, seconds: float) -> tuple[Reading, float, float]:
    """What passes from now on, for so long."""
    from_s = clock.now()
    clock.wait(seconds)
    to_s = clock.now()
    return reading_of(listener.between(from_s, to_s)), from_s, to_s
