"""What is known of a link, and what is open about it."""

from dataclasses import dataclass, field

from mixer.ground.handover.collect import Found
from mixer.ground.handover.links import Link

# What may be wrong, the worst first.
SORTS = ("failed", "contradicts", "damaged", "stale", "missing", "rehearsal", "not judged")


@dataclass(frozen=True)
class Open:
    """One thing that is open: of which sort, about what, in plain words, and what to do."""

    sort: str
    about: str
    says: str
    do: str = ""


@dataclass
class LinkState:
    """One link as the folders show it.

    found: the result that counts, None where there is none. about: in words, which file and tables
    it is about. since: the keys that changed since, each in words and by what. notes: what is worth
    knowing and not open.
    """

    link: Link
    found: Found | None = None
    about: str = ""
    since: list[str] = field(default_factory=list)
    open: list[Open] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    asked: bool = True
    stale: bool = False

    @property
    def word(self) -> str:
        """How the link stands, in a word."""
        if self.open:
            return min(self.open, key=lambda each: SORTS.index(each.sort)).sort
        if self.found is None:
            return "not asked for"
        return "holds" if not self.stale else "of an ancestor"
