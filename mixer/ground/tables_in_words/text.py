"""Flight tables as lines of text, and their checksum."""

from binascii import crc32

from mixer.flight import FlightTables
from mixer.flight.tables import VERSION
from mixer.ground.tables_in_words.fields import Field, Group
from mixer.ground.tables_in_words.groups import dump

PER_LINE = 8


def checksum(tables: FlightTables) -> int:
    """The CRC-32 of the words, as the header of the tables in bytes carries it."""
    return crc32(bytes(memoryview(tables.words)))


def told(tables: FlightTables) -> str:
    """The whole dump as text, a line for each field, word numbers first."""
    size = len(tables.to_bytes())
    lines = [
        f"flight tables, format version {VERSION}: {len(tables.words)} words, {size} bytes with "
        f"the header, CRC-32 {checksum(tables):08x}"
    ]
    for group in dump(tables):
        lines += ["", group.title]
        lines += told_table(group) if group.table else [told_field(f) for f in group.fields]
    return "\n".join(line.rstrip() for line in lines)


def told_field(field: Field) -> str:
    if not field.words:
        return f"       {field.name}: none"
    values = "  ".join(shown(value) for value in field.values[:PER_LINE])
    more = "  …" if len(field.values) > PER_LINE else ""
    return f"{field.first:6} {field.name}: {values}{more} {field.unit}"


def told_table(group: Group) -> list[str]:
    """A table with a head, each row after the number of its first column's word."""
    columns = [
        [f"{field.name}{f', {field.unit}' if field.unit else ''}", *map(shown, field.values)]
        for field in group.fields
    ]
    widths = [max(map(len, column)) for column in columns]
    lead = group.fields[0]
    numbers = ["", *(str(lead.first + row * lead.stride) for row in range(len(lead.words)))]
    lines = []
    for number, row in zip(numbers, zip(*columns, strict=True), strict=True):
        cells = (f"{cell:>{width}}" for cell, width in zip(row, widths, strict=True))
        lines.append(f"{number:>6} {'  '.join(cells)}")
    return lines


def shown(value: float | str) -> str:
    return f"{value:.7g}" if isinstance(value, float) else str(value)
