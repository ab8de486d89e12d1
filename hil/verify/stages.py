"""How far a verification is, by the stages that it goes through."""

from typing import ClassVar


class Stages:
    """How far the whole is when one stage has come so far; the shares are those of the time."""

    SHARES: ClassVar = {
        "deploying": 0.08,
        "recorded flight": 0.2,
        "random cycles": 0.6,
        "round trips": 0.12,
    }

    def overall(self, stage: str, share: float) -> float:
        """The share of the whole."""
        names = list(self.SHARES)
        before = sum(self.SHARES[name] for name in names[: names.index(stage)])
        return before + share * self.SHARES[stage]
