"""Setting keys of a user's vehicle file, with an account of what changed in words."""

from typing import Any

import numpy as np
import tomlkit
from tomlkit.items import Array as TomlArray
from tomlkit.items import Table

from mixer.ground.quantities import Array


class Edit:
    """Sets keys of a TOML document and keeps account in words."""

    def __init__(self, document: tomlkit.TOMLDocument, changes: list[str]) -> None:
        self.document, self.changes = document, changes

    def table(self, name: str) -> Table:
        """A table of the document, added at its end where it is missing."""
        if name not in self.document:
            self.document.add(tomlkit.nl())
            self.document.add(name, tomlkit.table())
        table = self.document[name]
        assert isinstance(table, Table)
        return table

    def put(self, table: str, key: str, value: Any, told: str = "") -> None:
        """Set a key, and where it is not what it was say so: in the words `told`, or its values."""
        where = self.table(table)
        before = where.get(key)
        plain = before.unwrap() if before is not None else None
        if plain == value:
            return
        where[key] = array(value) if isinstance(value, list) else value
        was = "new" if plain is None else f"was {shown(plain)}"
        self.changes.append(f"{table}.{key}: {told or f'{shown(value)}, {was}'}")


def array(value: list[Any]) -> TomlArray:
    """A TOML array; of rows, one row a line."""
    item = tomlkit.array()
    item.extend(value)
    return item.multiline(bool(value) and isinstance(value[0], list))


def shown(value: object) -> str:
    """A value in a sentence."""
    return str(value).replace("'", '"')


def decimals(values: Array) -> str:
    """Values in a sentence, to a thousandth."""
    return ", ".join(f"{value:.3f}" for value in values)


def alike(rows: list[list[float]]) -> list[Any]:
    """Four rows, or the one row that all four are."""
    return rows[0] if all(row == rows[0] for row in rows) else rows


def significant(values: Array) -> list[float]:
    """Values to a thousandth of the largest of them, or finer."""
    digits = 4 - int(np.floor(np.log10(max(np.abs(values).max(), 1e-9))))
    return (np.round(values, digits) + 0.0).tolist()
