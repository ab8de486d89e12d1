"""Files written whole or not at all, and CSV files read with every fault named."""

import contextlib
import csv
import difflib
import errno
import itertools
import math
import os
import re
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any, SupportsIndex

import numpy as np
from numpy.typing import NDArray

FilePath = str | os.PathLike[str]
ROWS_AT_A_TIME = 20_000
LONGEST_HEADER = 65_536
EMPTY_LINE = "an empty line between rows"
# What float() takes beyond this ("1_000", "nan", "infinity") is no number in a CSV file.
NUMBER = re.compile(r"\s*[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?\s*", re.ASCII)


class InputError(ValueError):
    """Something the user gave is wrong; the message names it and says what would be right.

    The command line prints the message alone and ends with exit status 2.
    """


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
            place.append(f"column {column}")
        given = (
            ""
            if value is None
            else f"{shortened(repr(value) if isinstance(value, str | bytes) else str(value))}; "
        )
        super().__init__(f"{', '.join(place)}: {given}{allowed}")


def shortened(text: str, longest: int = 60) -> str:
    """Text cut to the length an error can show."""
    return text if len(text) <= longest else f"{text[: longest - 1]}…"


@contextlib.contextmanager
def write_whole(path: FilePath, mode: str = "w") -> Iterator[IO[Any]]:
    """A file that appears under its name only when everything in it has been written.

    `mode` is "w" (UTF-8 text, newlines as written) or "wb". Until the block ends well the
    content sits in a hidden file in the same folder, which is removed on any exception, Ctrl-C
    included; a file of that name from before stays untouched. OSError names the file.
    """
    target = Path(os.path.realpath(path))
    if target.is_dir():
        raise IsADirectoryError(errno.EISDIR, "is a folder; name a file to write", os.fspath(path))
    if not target.parent.is_dir():
        raise FileNotFoundError(
            errno.ENOENT, f"the folder {target.parent} does not exist", os.fspath(path)
        )
    encoding, newline = (None, None) if "b" in mode else ("utf-8", "")
    if target.exists() and not target.is_file():  # a pipe or a terminal cannot be replaced
        with open(target, mode, encoding=encoding, newline=newline) as stream:
            yield stream
        return
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
    except OSError as error:
        raise OSError(
            error.errno, f"cannot write there: {error.strerror}", os.fspath(path)
        ) from error
    unfinished = Path(name)
    try:
        with os.fdopen(handle, mode, encoding=encoding, newline=newline) as stream:
            yield stream
            stream.flush()
            os.fsync(stream.fileno())
        # mkstemp makes files for the owner alone; give what a plain open() would have given.
        unfinished.chmod(target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~umask())
        unfinished.replace(target)
    except OSError as error:
        if error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG, errno.EIO):
            raise OSError(error.errno, f"not written: {error.strerror}", os.fspath(path)) from error
        raise
    finally:
        unfinished.unlink(missing_ok=True)


def umask() -> int:
    """The permissions this process takes away from new files (readable only by setting it)."""
    mask = os.umask(0o022)
    os.umask(mask)
    return mask


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
    with open(path, "rb") as stream:
        header = read_header(file, stream.readline(LONGEST_HEADER), columns, optional)
        first_line, empty_line, found = 2, None, False
        while lines := list(itertools.islice(stream, rows_at_a_time)):
            count = len(lines)
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
    return {
        name: np.array(column, dtype=str if name in text else float)
        for name, column in zip(header, zip(*table, strict=True), strict=True)
    }


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


def keep_apart(results: Sequence[Path], sources: Sequence[Path]) -> None:
    """InputError where a result would be written over a source or over another result."""
    for place, path in enumerate(results):
        for other in (*sources, *results[:place]):
            if path == other or (path.exists() and other.exists() and path.samefile(other)):
                raise InputError(f"{path}: named twice; a result needs a file of its own")
