"""What goes wrong in a flight, as data: a kind, the vane, when, and how much."""

from dataclasses import dataclass

from hil.faults.kinds import EVER, KINDS, FaultKind


@dataclass(frozen=True)
class Fault:
    """One thing that goes wrong.

    kind: a row of `KINDS`, which says what `value` means.
    vane: 1 to 4, 0 where no single vane is meant.
    time_s: when it begins; without meaning for a kind that is built in.
    lasts_s: for how long; infinity: to the end.
    """

    kind: str
    vane: int = 0
    time_s: float = 0.0
    lasts_s: float = EVER
    value: float = 0.0

    @property
    def row(self) -> FaultKind:
        """All there is to know of its kind."""
        return KINDS[self.kind]

    @property
    def label(self) -> str:
        """What it is, in a few words, without the time."""
        return self.row.label.format(
            vane=self.vane,
            value=self.value,
            percent=100.0 * self.value,
            ms=1000.0 * self.value,
            lasts_ms=1000.0 * self.lasts_s,
        )

    def family(self, travel_deg: tuple[float, float]) -> str:
        """The kind of failure in words, whichever vane, of this travel, it befalls."""
        family = self.row.family
        return self.label if family is None else family(self.value, travel_deg)

    def __str__(self) -> str:
        return self.label if self.row.built_in else f"{self.label}, {self.time_s:.1f} s"
