"""What the type checker sees: a pointer is anything that gives and takes integers."""

from typing import Protocol

class ptr8(Protocol):  # noqa: N801
    def __getitem__(self, index: int, /) -> int: ...
    def __setitem__(self, index: int, value: int, /) -> None: ...

ptr32 = ptr8

def const(value: int) -> int: ...
