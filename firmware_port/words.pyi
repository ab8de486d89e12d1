"""What the type checker sees: a pointer to bytes is anything that gives and takes integers."""

from typing import Protocol

from mixer.flight.words import const as const
from mixer.flight.words import ptr32 as ptr32

class ptr8(Protocol):  # noqa: N801
    def __getitem__(self, index: int, /) -> int: ...
    def __setitem__(self, index: int, value: int, /) -> None: ...
