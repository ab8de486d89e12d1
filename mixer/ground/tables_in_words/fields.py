"""One number of flight tables, or a list of them, with its name, meaning and unit."""

from collections.abc import Sequence
from dataclasses import dataclass

from mixer.flight import FlightTables
from mixer.flight import layout as at


@dataclass(frozen=True)
class Field:
    """Some words that mean the same kind of thing.

    `words` as they stand in the tables, number `first` and each `stride` after; `values` what they
    mean, in `unit`.
    """

    name: str
    first: int
    words: tuple[int, ...]
    values: tuple[float | str, ...]
    unit: str = ""
    stride: int = 1


@dataclass(frozen=True)
class Group:
    """Fields that belong together; those of a `table` are its columns, all of one length."""

    title: str
    fields: tuple[Field, ...]
    table: bool = False


class Reader:
    """Takes fields out of the words of flight tables."""

    def __init__(self, tables: FlightTables) -> None:
        self.words = tables.words

    def field(
        self,
        name: str,
        first: int,
        count: int = 1,
        unit: str = "",
        scale: float | Sequence[float] = 1,
        stride: int = 1,
    ) -> Field:
        """`count` words from `first` on, each times `scale` (one for all, or one for each)."""
        words = tuple(self.words[first + n * stride] for n in range(count))
        scales = scale if isinstance(scale, Sequence) else [scale] * count
        values = tuple(
            word * one if abs(word) < at.END else "-∞" if word < 0 else "∞"
            for word, one in zip(words, scales, strict=True)
        )
        return Field(name, first, words, values, unit, stride)

    def table(self, title: str, first: int, count: int, *columns: tuple[str, str, float]) -> Group:
        """Columns of `count` words that stand one after another: name, unit and scale of each."""
        fields = (
            self.field(name, first + place * count, count, unit, scale)
            for place, (name, unit, scale) in enumerate(columns)
        )
        return Group(title, tuple(fields), table=True)

    def records(self, title: str, first: int, rows: int, *columns: tuple[str, str, float]) -> Group:
        """Records of one word for each column: name, unit and scale of each."""
        fields = (
            self.field(name, first + place, rows, unit, scale, len(columns))
            for place, (name, unit, scale) in enumerate(columns)
        )
        return Group(title, tuple(fields), table=True)
