"""What two vehicle files differ in, key by key, and in words."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from mixer.ground.inputs.arrays import VANES
from mixer.ground.vehicle_edits.keys import shown

LONGEST = 60
OF_EACH = ("servos.", "vanes.travel_deg", "layout.clocking_deg", "erosion.effectiveness")


def changed(
    before: Mapping[str, Any], after: Mapping[str, Any], rests_on: Sequence[str] = ("",)
) -> list[str]:
    """The keys that differ, of those that begin as told."""
    return [
        key
        for key in sorted({*before, *after})
        if key.startswith(tuple(rests_on)) and differ(before.get(key), after.get(key))
    ]


def differ(one: Any, other: Any) -> bool:
    """Whether two values are not the same; one value for all four is the same as four alike."""
    return one != other and four(one) != four(other)


def four(value: Any) -> Any:
    return value if isinstance(value, list) else [value] * VANES


def of_which(key: str, before: Any, after: Any) -> list[int]:
    """The vanes or servos whose own part of a value differs; empty where it is not told by four."""
    one, other = four(before), four(after)
    alike = len(one) == len(other) == VANES and key.startswith(OF_EACH)
    return [n for n in range(1, VANES + 1) if one[n - 1] != other[n - 1]] if alike else []


def in_words(key: str, before: Mapping[str, Any], after: Mapping[str, Any]) -> str:
    """'servos.table of servo 3', 'engine.thrust_n (5000.0, now 4900.0)'."""
    was, now = before.get(key), after.get(key)
    which = of_which(key, was, now)
    if which and len(which) < VANES:
        part = "servo" if key.startswith("servos.") else "vane"
        return f"{key} of {part} {', '.join(map(str, which))}"
    if was is None:
        return f"{key} (new)"
    if now is None:
        return f"{key} (left out)"
    told = f"{shown(was)}, now {shown(now)}"
    return f"{key} ({told})" if len(told) <= LONGEST else key


def listed(words: Iterable[str], most: int = 6) -> str:
    """A list that does not fill a page."""
    each = list(words)
    more = f" and {len(each) - most} more" if len(each) > most else ""
    return "; ".join(each[:most]) + more
