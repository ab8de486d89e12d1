"""The kernel language: what it takes, what it refuses and how it says so; C99 made from it."""

import ast

import pytest

from mixer.ground.kernel_code.c99 import c_source
from mixer.ground.kernel_code.language import KernelLanguageError, Program, read_source


def read(source: str) -> Program:
    program = Program(constants={"FORCE": 8, "VANES": 4})
    read_source(program, source, "kernel.py")
    return program


FINE = """
'''A kernel file.'''

from mixer.flight.layout import *

HALF = 1 << 13


def twice(x):
    '''2x.'''
    return x << 1


def total(w, most):
    result = HALF
    for vane in range(1, VANES):
        result += w[FORCE + vane] // 3
    while result > most and not most == 0:
        result -= twice(most)
    w[FORCE] = min(result, most) if result < 0 else -result % 7
    return abs(result)
"""


def test_a_kernel_is_read_with_what_it_calls_and_sets():
    program = read(FINE)
    assert program.constants["HALF"] == 8192
    assert program.functions["total"].calls == {"twice"}
    assert program.functions["total"].writes and not program.functions["twice"].writes
    assert program.functions["total"].returns


REFUSED = [
    ("def f(x=1):\n    return x", "no defaults"),
    ("def f(*x):\n    return 1", "no defaults"),
    ("def f(x):\n    return x / 2", "//"),
    ("def f(x):\n    return x ** 2", "//"),
    ("def f(x):\n    return 0.5", "whole numbers"),
    ("def f(x):\n    return True", "whole numbers"),
    ("def f(x):\n    return [x]", "whole numbers"),
    ("def f(x):\n    return x.real", "whole numbers"),
    ("def f(x):\n    return g(x)", "stands before"),
    ("def f(x):\n    return f(x)", "stands before"),
    ("def f(x):\n    return min(x)", "takes 2"),
    ("def f(x):\n    return y", "no value"),
    ("def f(x):\n    return 1 << 31 if x > 0 else 2147483648", "32-bit"),
    ("def f(x):\n    return 1 if x else 2", "x != 0"),
    ("def f(x):\n    if 0 < x < 3:\n        return 1", "one comparison"),
    ("def f(x):\n    x, y = 1, 2", "whole numbers"),
    ("def f(x):\n    FORCE = 1", "not free"),
    ("def f(x):\n    short = 1", "not free"),
    ("def f(x):\n    for i in range(3):\n        i = 5", "not free"),
    ("def f(x):\n    for i in [1, 2]:\n        x = i", "range"),
    ("def f(x):\n    while x > 0:\n        break", "="),
    ("def f(x):\n    try:\n        x = 1\n    except ValueError:\n        x = 2", "="),
    ("def f(x):\n    raise ValueError", "="),
    ("def f(x):\n    x[1] = 2", "one name or one word"),
    ("def f(x):\n    return (lambda y: y)(x)", "whole numbers"),
    ("@g\ndef f(x):\n    return x", "decorators"),
    ("class F:\n    pass", "numbers and functions"),
    ("A = 1.5", "whole number"),
    ("A = len('x')", "other named numbers"),
    (
        "def f(w):\n    w[0] = 1\n    return 1\n\n\ndef g(w):\n    return f(w) + w[0]",
        "line of its own",
    ),
    (
        "def f(w):\n    w[0] = 1\n    return 1\n\n\ndef g(w):\n    return f(w) + f(w)",
        "line of its own",
    ),
]


@pytest.mark.parametrize(("source", "says"), REFUSED)
def test_what_lies_outside_is_refused_with_place_and_what_to_write(source, says):
    with pytest.raises(KernelLanguageError) as caught:
        read(source)
    assert says in str(caught.value)
    assert str(caught.value).startswith("kernel.py, line ")


def test_c_says_the_same_in_the_same_order():
    text = c_source(read(FINE), ["total"])
    assert "#define FV_HALF ((int32_t)8192)" in text
    assert "static int32_t fv_twice(int32_t x)" in text
    assert "int32_t fv_total(int32_t *w, int32_t most)" in text
    assert "for (vane = 1; vane < FV_VANES; vane++) {" in text
    assert "result = result + parted(w[FV_FORCE + vane], 3);" in text
    assert "while ((result > most) && (!(most == 0))) {" in text
    assert "return magnitude(result);" in text


def test_only_what_is_needed_is_written():
    assert "fv_total" not in c_source(read(FINE), ["twice"])
    assert ast.parse(FINE)  # and it is Python all the while
