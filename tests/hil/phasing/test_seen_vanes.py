"""Which servo is blamed, by what was seen: nobody too early, nobody for a slip of the finger."""

from dataclasses import replace

import numpy as np

from hil.phasing.motions import motions
from hil.phasing.readings import reading_of
from hil.phasing.seen_vanes import judge_seen
from hil.phasing.session import Held


def turned(
    seen: list[tuple[int | None, ...]], commanded_deg: list[tuple[float, ...]]
) -> list[Held]:
    """Motions of which only the vanes matter."""
    nothing = replace(reading_of([]), cycles=9, deflection_deg=np.zeros(4))
    return [
        Held(motion, nothing, replace(nothing, deflection_deg=np.array(led)), saw, 0.0, 1.0)
        for motion, saw, led in zip(motions() * 4, seen, commanded_deg, strict=False)
    ]


LED = [(8.0, -8.0, -8.0, 8.0), (8.0, 8.0, -8.0, -8.0), (8.0, 8.0, 8.0, 8.0)] * 4
SAW = [tuple(int(np.sign(led)) for led in row) for row in LED]


def test_one_slip_in_many_answers_blames_nobody_and_one_in_few_is_asked_again() -> None:
    slipped = [(-SAW[0][0], *SAW[0][1:]), *SAW[1:]]
    found = judge_seen(turned(slipped, LED))
    assert (found.words, found.fits, found.answers) == ([], 47, 48)
    few = judge_seen(turned(slipped[:3], LED[:3]))
    assert few.doubtful and "too few to blame a servo" in few.words[0]


def test_a_servo_is_blamed_only_once_nothing_else_is_near() -> None:
    as_if_reversed = [(None, -SAW[k][1], None, None) for k in range(3)]
    found = judge_seen(turned(as_if_reversed, LED[:3]))
    assert found.doubtful and any("or else" in text for text in found.words)
