"""A vehicle file's text with some keys changed: comments and order stay, nothing else moves.

TOML lets a table be written in many ways: under its own header, inline, as dotted keys, in parts.
Whichever it is, the text is read back before it is put in place and must hold what the old one
held and what was changed, key for key; where it does not, the change is refused.
"""

import copy
import tomllib
from pathlib import Path
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import Array, Table

from mixer.ground.inputs.errors import InputError
from mixer.ground.inputs.quantities import is_nested
from mixer.ground.inputs.whole_files import write_whole
from mixer.ground.unfinished.to_be_measured import unmarked
from mixer.ground.vehicle.servo_table import table_values
from mixer.ground.vehicle.vehicle import Vehicle, parse_vehicle

# What a way of writing that the library does not know may end in.
TROUBLE = (TOMLKitError, ValueError, LookupError, AttributeError, TypeError)


class VehicleText:
    """The text of a vehicle's file, key by key. InputError where it cannot be changed."""

    def __init__(self, vehicle: Vehicle) -> None:
        self.vehicle = vehicle
        self.wanted: dict[str, Any] = tomllib.loads(vehicle.text)
        self.measured: set[str] = set()  # whose marks go: they are no longer to be measured
        try:
            self.document = tomlkit.parse(vehicle.text)
        except TROUBLE as error:
            raise self._not_changed("its text") from error

    def get(self, table: str, key: str) -> Any:
        """A key's value as plain data, None where it is not there."""
        return self.wanted.get(table, {}).get(key)

    def put(self, table: str, key: str, value: Any) -> None:
        """Set a key; a table that is not there yet is added at the end."""
        if table not in self.document:
            self.document.add(tomlkit.nl())
            self.document.add(table, tomlkit.table())
        where: Any = self.document[table]
        try:
            where[key] = item(value)
        except TROUBLE as error:
            raise self._not_changed(f"[{table}]") from error
        self.wanted.setdefault(table, {})[key] = copy.deepcopy(value)
        self.measured.add(f"{table}.{key}")

    def drop(self, table: str, key: str) -> None:
        """Leave a key out."""
        where: Any = self.document[table]
        try:
            del where[key]
        except TROUBLE as error:
            raise self._not_changed(f"[{table}]") from error
        del self.wanted[table][key]

    def remark(self, table: str, words: str, unless: str = "") -> None:
        """A comment behind the table's header. One that the user wrote stays, unlike one that has
        `unless` in it; a table without a header gets none.
        """
        where = self.document.get(table)
        if isinstance(where, Table) and not where.is_super_table():
            comment = where.trivia.comment
            if not comment or (unless and unless in comment):
                where.comment(words)

    def text(self, out: Path) -> str:
        """The new text, once it has been read back as the vehicle file `out`. VehicleError where
        it is none, InputError where something else than was meant would stand in it.
        """
        self._keep_servo_tables(out)
        text = unmarked(tomlkit.dumps(self.document), self.measured)
        try:
            same = tomllib.loads(text) == self.wanted
        except tomllib.TOMLDecodeError:
            same = False
        if not same:
            raise self._not_changed("its text")
        parse_vehicle(text, str(out))
        return text

    def write(self, out: Path) -> None:
        """Write the new text, whole, after it has been read back."""
        text = self.text(out)
        with write_whole(out) as stream:
            stream.write(text)

    def _keep_servo_tables(self, out: Path) -> None:
        """In another folder the names of servo tables stand for other files, or for none: there
        the tables go into the vehicle file itself.
        """
        tables = self.vehicle.servo_table.table
        named = self.get("servos", "table")
        here = out.absolute().parent.resolve() == self.vehicle.path.absolute().parent.resolve()
        if tables is not None and not here and holds_names(named):
            self.put("servos", "table", [table_values(table) for table in tables])

    def _not_changed(self, what: str) -> InputError:
        return InputError(
            f"{self.vehicle.path}: {what} is written in a way that cannot be changed without "
            "touching the rest; write each table under a header of its own, such as [servos]"
        )


def holds_names(value: Any) -> bool:
    """Whether the key `table` names files, and does not hold the tables."""
    return isinstance(value, str) or (
        isinstance(value, list) and any(isinstance(each, str) for each in value)
    )


def item(value: Any) -> Any:
    """A value as TOML; of rows or tables, one a line."""
    if not isinstance(value, list):
        return value
    array: Array = tomlkit.array()
    for each in value:
        if isinstance(each, dict):
            inline = tomlkit.inline_table()
            inline.update(each)
            array.append(inline)
        else:
            array.append(each)
    return array.multiline(is_nested(value) or any(isinstance(each, dict) for each in value))
