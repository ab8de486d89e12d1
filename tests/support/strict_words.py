"""Integers that must fit a signed 32-bit word, and a steering that works on them."""

from unittest.mock import patch

from mixer.flight import Steering, direction, wanted
from mixer.flight.cycle import cycle as plain_cycle


class Word(int):
    """An integer whose every result must fit a signed 32-bit word."""

    def __new__(cls, value):
        if not -(2**31) <= value < 2**31:
            raise OverflowError(f"{value} does not fit a signed 32-bit word")
        return super().__new__(cls, value)


def checked(name):
    plain = getattr(int, name)
    return lambda self, other: Word(plain(int(self), int(other)))


for operator in ("add", "sub", "mul", "floordiv", "lshift", "rshift", "and", "or", "xor", "mod"):
    for side in ("", "r"):
        setattr(Word, f"__{side}{operator}__", checked(f"__{side}{operator}__"))
Word.__neg__ = lambda self: Word(-int(self))  # type: ignore[method-assign]
Word.__abs__ = lambda self: Word(abs(int(self)))  # type: ignore[method-assign]
Word.__invert__ = lambda self: Word(~int(self))  # type: ignore[method-assign]


def scaled(a, b, bits):
    """The one product that may leave a word, if it comes back into it."""
    return Word((int(a) * int(b)) >> int(bits))


def cycle(*arguments):
    with patch.object(wanted, "scaled", scaled), patch.object(direction, "scaled", scaled):
        return plain_cycle(*arguments)


class Checked(list):
    """An array that holds words only, and has no place before its first."""

    def __getitem__(self, where):
        if isinstance(where, int) and where < 0:
            raise IndexError(f"word {where}")
        return super().__getitem__(where)

    def __setitem__(self, where, value):
        super().__setitem__(where, Word(value) if isinstance(where, int) else value)


def checked_steering(tables) -> Steering:
    s = Steering(tables)
    s._w = Checked(Word(value) for value in s._w)
    s._cycle = cycle
    return s
