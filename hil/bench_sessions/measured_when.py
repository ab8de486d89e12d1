"""When the points that a verdict rests on were measured, and which of them now."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from mixer.ground.inputs.log_book import readable

UNKNOWN = "a date that was not kept"


@dataclass
class MeasuredWhen:
    """One servo's points: how many there are, how many were taken by this command, and when.

    `times`: of all points, UTC; None where the journal does not say.
    """

    now: int = 0
    times: list[str | None] = field(default_factory=list)

    @property
    def points(self) -> int:
        return len(self.times)

    @property
    def first(self) -> str | None:
        return None if None in self.times or not self.times else min(filter(None, self.times))

    @property
    def last(self) -> str | None:
        return max(filter(None, self.times), default=None)

    @property
    def facts(self) -> dict[str, Any]:
        """In plain values."""
        return {"points": self.points, "now": self.now, "first": self.first, "last": self.last}

    @property
    def span(self) -> str:
        """From when to when, in words."""
        first, last = self.first or UNKNOWN, self.last or UNKNOWN
        return readable(first) if first == last else f"{readable(first)} to {readable(last)}"


def nothing_new(servos: Mapping[int, MeasuredWhen]) -> bool:
    """Whether a verdict stands on earlier points alone."""
    return all(measured.now == 0 for measured in servos.values())


def told(servos: Mapping[int, MeasuredWhen], rehearsal: bool) -> list[str]:
    """What was measured now and what stands from when, a sentence each."""
    what = "rehearsed" if rehearsal else "measured"
    now = [f"servo {n}: {m.now} points" for n, m in servos.items() if m.now]
    old = [
        f"servo {n}: {m.points - m.now} points of {m.points}, {m.span}"
        for n, m in servos.items()
        if m.points > m.now
    ]
    lines = [f"{what.capitalize()} now: {'; '.join(now) or 'nothing'}."]
    if old:
        lines.append(
            f"Stands from before: {'; '.join(old)}. A servo, horn or linkage that was changed "
            "since is not in it: measure that servo again with --servo N --anew."
        )
    return lines
