"""The person at the terminal: told what to do, waited for, asked which way each vane has turned."""

import sys
import time

import click

from hil.bench_sessions.questions import ask
from hil.phasing.motions import Motion, Stance, drawing
from hil.phasing.session import Seen
from mixer.ground.inputs.arrays import VANES
from mixer.ground.reports.console import messages

TURNS = {"c": 1, "a": -1, "n": 0, "?": None}
QUESTION = (
    "Which way has each vane turned, seen from outside along its shaft? Four letters for vanes "
    "1 to 4 (c: clockwise, a: anti-clockwise, n: not, ?: cannot tell), such as cnac"
)


class Terminal:
    """A Person who sits here, or calls out to those who do."""

    def __init__(self, stance: Stance, eyes: bool) -> None:
        self._stance: Stance = stance
        self._eyes = eyes

    def rest(self, motion: Motion) -> None:
        messages.print("\nBack to rest: the vehicle as it stood at the start, quiet.")
        wait_for_key("Press any key once it is at rest")

    def hold(self, motion: Motion) -> None:
        messages.print(f"\n{motion.words(self._stance)}.", soft_wrap=True)
        messages.print(drawing(motion))
        wait_for_key("Press any key once it is held")

    def seen(self, motion: Motion) -> Seen | None:
        return ask(QUESTION, turns_of) if self._eyes else None


class WallClock:
    """This computer's time, the same that the wires are heard by."""

    def now(self) -> float:
        return time.monotonic()

    def wait(self, seconds: float) -> None:
        with messages.status("listening; keep it there"):
            time.sleep(seconds)


def somebody_here() -> bool:
    """Whether keys can be pressed here: without a terminal no wait for one would wait."""
    return sys.stdin.isatty()


def wait_for_key(text: str) -> None:
    click.pause(text, err=True)


def turns_of(typed: str) -> Seen:
    """'cnac' as what was seen of each vane."""
    letters = typed.replace(" ", "").lower()
    if len(letters) != VANES or any(letter not in TURNS for letter in letters):
        raise click.UsageError(
            f"{typed!r}: must be four letters, one a vane, of {', '.join(TURNS)}, such as cnac"
        )
    return tuple(TURNS[letter] for letter in letters)
