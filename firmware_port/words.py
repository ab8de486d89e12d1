"""What lets the codec run three ways: as Python, as MicroPython bytecode, as machine code.

On the board the compiler knows these names by itself: `ptr8` and `ptr32` in an annotation point to
bytes and to 32-bit words, and `const(...)` is folded at compile time. Here they are stand-ins.
"""

ptr8 = object  # any sequence of bytes that can be indexed
ptr32 = object  # any sequence of integers that can be indexed


def const(value):
    return value
