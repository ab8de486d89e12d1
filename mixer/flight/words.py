"""What lets one source run three ways: as Python, as MicroPython bytecode, as machine code.

On the board the compiler knows both names by itself: `ptr32` in an annotation is a pointer to
32-bit words, and `const(...)` is folded at compile time. On a computer they are these stand-ins.
"""

ptr32 = object  # any sequence of integers that can be indexed


def const(value):
    return value
