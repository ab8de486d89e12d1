"""Which servo is reversed or swapped, by the vanes as seen against the vanes as commanded.

The line cannot tell this: the answers hold what was commanded, and no sensor's angle. So somebody
looks. Every way to plug four servos (24) with every choice of reversed ones (16) is held against
what was seen; the one that leaves least unexplained, and supposes least, is named once nothing else
is near.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import permutations, product

import numpy as np

from hil.phasing.session import Held
from mixer.ground.inputs.arrays import VANES, Array

SURE_DEG = 2.0  # of a turn like this, seeing the other way speaks against the command
CLEAR_DEG = 4.0  # and of one like this, seeing none
EVIDENCE = 2  # so many answers more speak against anything else before something is said
SLIPS = 0.03  # share of answers that may be slips of an eye or a finger


@dataclass(frozen=True)
class Plugged:
    """A supposition: vane i moves by the command for `by[i]`, in the sense `sense[i]`."""

    by: tuple[int, ...]
    sense: tuple[int, ...]

    @property
    def wrong(self) -> int:
        """How many vanes it supposes to be wrong, a reversed one of a swapped pair twice."""
        moved = sum(at != i for i, at in enumerate(self.by))
        return moved + sum(sense < 0 for sense in self.sense)

    @property
    def words(self) -> list[str]:
        """What it says of the servos."""
        said = []
        for i, (by, sense) in enumerate(zip(self.by, self.sense, strict=True)):
            if by == i and sense < 0:
                said.append(f"servo {i + 1} is reversed")
            if by > i and self.by[by] == i:
                said.append(f"servos {i + 1} and {by + 1} are swapped")
            elif by != i and self.by[by] != i:
                said.append(f"vane {i + 1} moves by the pulse for vane {by + 1}")
            if by != i and sense < 0:
                said.append(f"vane {i + 1} turns the wrong way besides")
        return said


HEALTHY = Plugged(tuple(range(VANES)), (1,) * VANES)
ALL = [
    Plugged(by, sense)
    for by in permutations(range(VANES))
    for sense in product((1, -1), repeat=VANES)
]


@dataclass(frozen=True)
class SeenFinding:
    """`words`: what is wrong; empty and `looked`: all as commanded. fits: answers that agree.

    doubtful: `words` blame nobody, but something was not shown; more motions may show it.
    """

    looked: bool
    words: list[str]
    fits: int = 0
    answers: int = 0
    doubtful: bool = False


def judge_seen(held: Sequence[Held]) -> SeenFinding:
    """Hold every supposition against what was seen."""
    looked = [each for each in held if each.seen is not None and each.hold.cycles]
    if not looked:
        return SeenFinding(False, [])
    commanded_deg = np.array([e.hold.deflection_deg - e.rest.deflection_deg for e in looked])
    seen = np.array([[np.nan if s is None else s for s in e.seen or ()] for e in looked], float)
    answers = int(np.isfinite(seen).sum())
    against = {each: disagreements(each, commanded_deg, seen) for each in ALL}
    best = min(ALL, key=lambda each: (against[each] + each.wrong, each.wrong))
    rivals = [
        each
        for each in ALL
        if against[each] < against[best] + EVIDENCE and each.wrong <= max(best.wrong, 2)
    ]
    rivals.remove(best)
    fits = answers - against[best]
    if best == HEALTHY and against[HEALTHY] <= SLIPS * answers:
        untold = [*unproved(commanded_deg, seen), *not_shown(rivals)]
        return SeenFinding(True, untold, fits, answers, bool(untold))
    if against[HEALTHY] - against[best] < EVIDENCE:
        return SeenFinding(
            True,
            [
                f"{against[HEALTHY]} of {answers} answers do not fit what was commanded, too few "
                "to blame a servo and too many to pass: look once more"
            ],
            fits,
            answers,
            True,
        )
    words = best.words
    if rivals:
        others = "; or ".join(", ".join(each.words) for each in rivals[:2])
        words = [*words, f"or else: {others}"]
    return SeenFinding(True, words, fits, answers, bool(rivals))


def disagreements(plugged: Plugged, commanded_deg: Array, seen: Array) -> int:
    """Answers that speak against a supposition; what could not be told speaks for none.

    Commands and what was seen are (motions, 4). Small turns come from hands that are not quite
    still, and may be seen or not.
    """
    supposed_deg = commanded_deg[:, list(plugged.by)] * np.array(plugged.sense)
    other_way = (np.abs(supposed_deg) >= SURE_DEG) & (seen == -np.sign(supposed_deg))
    stood_still = (np.abs(supposed_deg) >= CLEAR_DEG) & (seen == 0)
    return int((other_way | stood_still).sum())


def not_shown(same: Sequence[Plugged]) -> list[str]:
    """What is wrong in these would have looked as healthy servos do."""
    if not same:
        return []
    which = "; ".join(" and ".join(each.words) for each in same[:3])
    more = f", and {len(same) - 3} more" if len(same) > 3 else ""
    return [
        f"these would have looked the same: {which}{more}; move further, or see each vane turn "
        "alone with fourvane bench wiggle"
    ]


def unproved(commanded_deg: Array, seen: Array) -> list[str]:
    """Vanes that nobody has seen turn clearly: nothing was wrong, and nothing was shown."""
    shown = ((np.abs(commanded_deg) >= SURE_DEG) & (seen == np.sign(commanded_deg))).any(axis=0)
    return [f"vane {i + 1} was never seen to turn" for i in range(VANES) if not shown[i]]
