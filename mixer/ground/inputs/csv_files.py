"""CSV files read with every fault named."""

import csv
import difflib
import math
import os
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import IO, Any, SupportsIndex

import numpy as np
from numpy.typing import NDArray

from mixer.ground.inputs.errors import InputError
from mixer.ground.inputs.run_files import FilePath, reads
from mixer.ground.inputs.whole_files import write_whole as write_whole  # the other half of this job

ROWS_AT_A_TIME = 20_000
BYTES_AT_A_TIME = 4_000_000
LONGEST_LINE = 65_536
REHEARSAL = "rehearsal"  # a column of ones: nothing real was there
TOO_LONG = f"a line may be {LONGEST_LINE - 1} bytes long"
EMPTY_LINE = "an empty line between rows"
# What float() takes beyond this ("1_000", "nan", "infinity") is no number in a CSV file.
NUMBER = re.compile(r"\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*", re.ASCII)


class DataError(InputError):
    """One fault of a data file: where it is, what stands there and what would be right."""

    def __init__(
        self, file: FilePath, line: int | None, column: str | None, value: object, allowed: str
    ) -> None:
        self.file, self.line, self.column = os.fspath(file), line, column
        self.value, self.allowed = value, allowed
        place = [self.file]
        if line is not None:
            place.append(f"line {line}")
        if column is not None:
            place.append(f"column {shortened(column)}")
        given = (
            ""
            if value is None
            else f"{shortened(repr(value) if isinstance(value, str | bytes) else str(value))}; "
        )
        super().__init__(f"{', '.join(place)}: {given}{allowed}")


def origin_of(file: FilePath, rehearsal: bool) -> str:
    """A file's own name, and whether it is of a rehearsal, for comments in a vehicle file."""
    return f"{os.path.basename(file)}{', a rehearsal' if rehearsal else ''}"


def shortened(text: str, longest: int = 60) -> str:
    """Text cut to the length an error can show."""
    return text if len(text) <= longest else f"{text[: longest - 1]}…"


@dataclass(frozen=True)
class Rows:
    """Some rows of a CSV file: a column by its name, numbers as float64, text as str.

    `first_line` is the line of the first row in the file, counted from 1; `bytes_read` how far
    into the file the reading has come.
    """

    file: str
    first_line: int
    bytes_read: int
    columns: Mapping[str, NDArray[Any]]

    def __getitem__(self, column: str) -> NDArray[Any]:
        return self.columns[column]

    def __contains__(self, column: str) -> bool:
        return column in self.columns

    def __len__(self) -> int:
        return len(next(iter(self.columns.values())))

    @property
    def rehearsal(self) -> bool:
        """Whether the file says that it is of a rehearsal; what is made of it passes that on."""
        return REHEARSAL in self and bool(np.any(self[REHEARSAL]))

    def fault(self, row: SupportsIndex, column: str, allowed: str) -> DataError:
        """The error that names one cell of these rows and says what is allowed there."""
        return DataError(
            self.file, self.first_line + int(row), column, self.columns[column][int(row)], allowed
        )


def read_rows(
    path: FilePath,
    columns: Sequence[str],
    optional: Sequence[str] = (),
    text: Mapping[str, Sequence[str] | None] | None = None,
    rows_at_a_time: int = ROWS_AT_A_TIME,
) -> Iterator[Rows]:
    """The rows of a CSV file, some thousand at a time, so that memory stays flat.

    UTF-8 with or without a byte-order mark, commas, decimal points, one header line that names
    `columns` and any of `optional` in any order and nothing else. Every cell is a finite number,
    save in the columns of `text`, which maps a name to its allowed words (None: any text).
    DataError names file, line, column and value of the first fault; OSError where the file
    cannot be opened.
    """
    file = os.fspath(path)
    text = text or {}
    reads(path)
    refuse_pipe(file)
    with open(path, "rb") as stream:
        header = read_header(file, stream.readline(LONGEST_LINE), columns, optional)
        first_line, empty_line, found = 2, None, False
        while lines := some_lines(stream, rows_at_a_time):
            count = len(lines)
            if len(lines[-1]) == LONGEST_LINE:
                raise DataError(file, first_line + count - 1, None, lines[-1][:40], TOO_LONG)
            while lines and not lines[-1].strip():
                lines.pop()
            if lines and empty_line is not None:
                raise DataError(file, empty_line, None, None, EMPTY_LINE)
            if lines:
                found = True
                yield Rows(
                    file, first_line, stream.tell(), parse(file, first_line, lines, header, text)
                )
            if len(lines) < count and empty_line is None:
                empty_line = first_line + len(lines)
            first_line += count
        if not found:
            raise DataError(file, None, None, None, "there are no rows below the header line")


def some_lines(stream: IO[bytes], most: int) -> list[bytes]:
    """The next lines of a file, at most so many and not more than some megabytes in all; the last
    one may be a piece of a line that is too long.
    """
    lines: list[bytes] = []
    size = 0
    while len(lines) < most and size < BYTES_AT_A_TIME:
        line = stream.readline(LONGEST_LINE)
        if not line:
            break
        lines.append(line)
        size += len(line)
        if len(line) == LONGEST_LINE:
            break
    return lines


def refuse_pipe(file: str) -> None:
    """InputError for a pipe or a device: files are gone through more than once."""
    if os.path.exists(file) and not os.path.isfile(file) and not os.path.isdir(file):
        raise InputError(f"{file}: must be a file; a pipe or a device cannot be read again")


def read_all(
    path: FilePath,
    columns: Sequence[str],
    optional: Sequence[str] = (),
    text: Mapping[str, Sequence[str] | None] | None = None,
) -> Rows:
    """All rows of a CSV file at once, for files known to be small; else as `read_rows`."""
    pieces = list(read_rows(path, columns, optional, text))
    names = pieces[0].columns
    whole = {name: np.concatenate([piece[name] for piece in pieces]) for name in names}
    return Rows(pieces[0].file, 2, pieces[-1].bytes_read, whole)


def read_header(
    file: str, line: bytes, columns: Sequence[str], optional: Sequence[str]
) -> list[str]:
    """The column names of a file's first line, once they are the right ones."""
    expected = ",".join(columns) + (f" and optionally {','.join(optional)}" if optional else "")
    if not line.strip():
        raise DataError(file, 1, None, None, f"empty; the first line must be {expected}")
    header = [name.strip() for name in cells(file, 1, decoded(file, 1, line, "utf-8-sig"))]
    known = [*columns, *optional]
    if len(header) == 1 and header != known[:1] and re.search(r"[;\t]", header[0]):
        raise DataError(file, 1, None, header[0], f"columns are separated by commas: {expected}")
    for name in header:
        if name not in known:
            free = [one for one in known if one not in header]
            close = difflib.get_close_matches(name, free, 1)
            hint = f"did you mean {close[0]}?" if close else f"allowed are {expected}"
            raise DataError(file, 1, name, None, f"unknown column; {hint}")
        if header.count(name) > 1:
            raise DataError(file, 1, name, None, "named more than once")
    missing = [name for name in columns if name not in header]
    if missing:
        raise DataError(file, 1, ", ".join(missing), None, f"missing; must be {expected}")
    return header


def parse(
    file: str,
    first_line: int,
    lines: list[bytes],
    header: list[str],
    text: Mapping[str, Sequence[str] | None],
) -> dict[str, NDArray[Any]]:
    """The columns of some lines: all at once where they are clean, else cell by cell."""
    if not any(name in text for name in header):
        try:
            decoded_lines = [line.decode("ascii") for line in lines]
            values = np.loadtxt(decoded_lines, delimiter=",", comments=None, ndmin=2)
        except ValueError:
            pass
        else:
            if values.shape == (len(lines), len(header)) and np.isfinite(values).all():
                return dict(zip(header, values.T.copy(), strict=True))
    table = [
        parse_line(file, number, line, header, text)
        for number, line in enumerate(lines, first_line)
    ]
    columns = dict(zip(header, zip(*table, strict=True), strict=True))
    return {
        name: one_text_each(column) if name in text else np.array(column, dtype=float)
        for name, column in columns.items()
    }


def one_text_each(column: Sequence[float | str]) -> NDArray[Any]:
    """A column of text in which equal cells are one: numpy's own would make every cell as wide as
    the longest.
    """
    known: dict[float | str, float | str] = {}
    return np.array([known.setdefault(cell, cell) for cell in column], dtype=object)


def parse_line(
    file: str,
    number: int,
    line: bytes,
    header: list[str],
    text: Mapping[str, Sequence[str] | None],
) -> list[float | str]:
    """The cells of one line; DataError for the first that is not what its column allows."""
    row = cells(file, number, decoded(file, number, line))
    if len(row) != len(header):
        cut = "" if line.endswith(b"\n") else " (is the file cut off here?)"
        wanted = f"{len(row)} cells where the header line names {len(header)} columns{cut}"
        raise DataError(file, number, None, line.decode().rstrip("\r\n"), wanted)
    values: list[float | str] = []
    for name, cell in zip(header, row, strict=True):
        if name in text:
            word, words = cell.strip(), text[name]
            if words is not None and word not in words:
                raise DataError(file, number, name, cell, f"must be one of {', '.join(words)}")
            values.append(word)
        elif NUMBER.fullmatch(cell) and math.isfinite(float(cell)):
            values.append(float(cell))
        else:
            what = "is empty; must be" if not cell.strip() else "must be"
            raise DataError(file, number, name, cell, f"{what} a finite number")
    return values


def decoded(file: str, number: int, line: bytes, encoding: str = "utf-8") -> str:
    try:
        return line.decode(encoding)
    except UnicodeDecodeError as error:
        raise DataError(file, number, None, line[:40], "is not UTF-8 text") from error


def cells(file: str, number: int, line: str) -> list[str]:
    """The cells of one line. A quoted cell may not run over the end of its line."""
    if not line.strip():
        raise DataError(file, number, None, None, EMPTY_LINE)
    try:
        return next(csv.reader([line], strict=True))
    except csv.Error as error:
        raise DataError(file, number, None, line.rstrip("\r\n"), f"not CSV: {error}") from error
