"""Kernels with their rows in lanes give each row what Python gives it, construct by construct.

The whole of `answer` is compared in `tests/ground/batch/test_batch.py`.
"""

import ctypes

import numpy as np
import pytest

from mixer.flight import layout as at
from mixer.flight.wanted import scaled
from mixer.ground.kernel_code.language import Program, read_source
from mixer.ground.lanes import LANES

ir = pytest.importorskip("llvmlite.ir", reason="numba is not here")
binding = pytest.importorskip("llvmlite.binding")

SEED = 29_111
GROUPS = 60
GIVEN = range(16, 19)  # words that differ from row to row
MADE = range(16)
SHARED = 19  # a word of the state that all rows share
TABLE = at.STATE_WORDS  # words beyond the state: 64 rising numbers, then small ones of either sign
MOST = 2**31 - 1

KERNELS = {
    "arithmetic": """
def kernel(w):
    a = w[16] >> 16
    b = w[17] >> 16
    w[0] = a + b * 3 - (a ^ b)
    w[1] = (a & 255) << (b & 15) | 1
    w[2] = ~a - -b
    w[3] = 7 - a
    w[4] = w[19] * b
    w[5] = w[19] - 5
""",
    "division": """
def kernel(w):
    b = max(abs(max(w[17], -2147483647)), 1)
    w[0] = w[16] // b
    w[1] = w[16] % b
    w[2] = w[16] // 1000
    w[3] = w[16] % 7
    w[4] = 1000 // max(w[19], 1)
""",
    "a product longer than a word": """
def kernel(w):
    w[0] = scaled(w[16], w[17] >> 4, 28)
    w[1] = scaled(w[16], w[19], 20)
    w[2] = scaled(w[19], 1 << 20, 20)
""",
    "branches that differ, in one another": """
def kernel(w):
    x = 5
    if w[16] > w[17]:
        x = w[16] >> 3
        if x < 0:
            w[0] = 3
        elif x > w[18] >> 3:
            w[0] = x
        else:
            x = 9
        w[1] = x
    else:
        x += 1
        w[2] = x
    w[3] = x
""",
    "a branch that all rows share": """
def kernel(w):
    if w[19] > 0:
        w[0] = w[16]
        w[1] = 4
    else:
        w[1] = w[17]
        w[2] = 6
    w[3] = w[1] >> 1
""",
    "returns on the way": """
def half(x):
    if x == 0:
        return 77
    if x > 0:
        if x & 1 != 0:
            return x >> 1
        x -= 4
    else:
        return -1
    return x


def nothing(w, x):
    if x > 1000:
        return
    w[2] = x


def kernel(w):
    w[0] = half(w[16] >> 28)
    w[1] = half(w[17])
    nothing(w, w[18])
    nothing(w, w[19])
""",
    "loops of as many turns as each row wants": """
def halved(x):
    turns = 0
    while x > 3 or x < -3:
        x >>= 1
        turns += 1
    return turns


def kernel(w):
    w[0] = halved(w[16])
    k = 3
    while k > 0 and w[17] > 0:
        w[1] += halved(w[17] >> k)
        k -= 1
    if w[16] > 0:
        while w[3] < w[18] >> 29:
            w[3] += 1
    shared = 0
    while shared < w[19]:
        shared += 2
        w[2] += w[18] & 7
    w[4] = shared
""",
    "a name that all rows share in a call that only some make": """
def total(w, most):
    result = 0
    o = 152
    for _ in range(w[19] & 7):
        if w[o] < most:
            result += w[o]
        o += 3
    return result


def kernel(w):
    if w[16] > 0:
        w[0] = total(w, w[17] >> 20)
    w[1] = total(w, w[18] >> 20)
    w[2] = total(w, 40)
""",
    "a search in a table": """
def kernel(w):
    x = w[16] & 1023
    o = 152 + (x >> 6)
    while o > 152 and x < w[o]:
        o -= 1
    while x >= w[o + 1]:
        o += 1
    w[0] = o
    w[1] = w[o]
    if w[17] > 0:
        w[2] = w[o + 64] + w[152 + (x & 31)]
    if w[18] >= 0 and w[18] < 64:
        w[3] = w[w[18] + 152]  # in other lanes that is nowhere
""",
    "a word of a vane that the table names": """
def kernel(w):
    for vane in range(4):
        w[4 + vane] = (w[16] >> 3) + vane
    for k in range(1, w[19] & 3):
        w[8] += w[4 + (w[216 + k] & 3)]
""",
    "what is least, greatest, chosen": """
def kernel(w):
    a = w[16]
    w[0] = min(a, w[17])
    w[1] = max(w[18], w[19])
    w[2] = abs(max(a, -2147483647))
    w[3] = a if a > w[17] or not w[18] < 0 else 5
    w[4] = 1 if w[19] > 3 and a != w[17] else w[18]
    w[5] = w[17] if w[19] <= 3 else w[18]
    w[6] = min(w[19], 3)
""",
    "a word that is found to differ only later": """
def kernel(w):
    w[0] = 1
    x = 3
    for _ in range(w[19] & 3):
        w[1] += (w[0] & 63) + (x & 7)
        w[0] = (w[16] >> 8) + w[1]
        x = w[17] >> 9
""",
    "loops, counted and known, in one another": """
def kernel(w):
    for i in range(3):
        for k in range(i, w[19] & 3):
            w[i] += (w[16] >> 10) * k + i
""",
}


def read(source: str) -> Program:
    program = Program()
    read_source(program, source, "kernel.py")
    return program


def compiled(source: str, gathers: bool):
    """The kernel in lanes, as a function on the addresses of words and of lanes."""
    from mixer.ground.lanes.writer import write_lanes

    module, place = ir.Module(), ir.PointerType()
    function = ir.Function(module, ir.FunctionType(ir.VoidType(), [place, place]), "kernel")
    builder = ir.IRBuilder(function.append_basic_block())
    write_lanes(read(source), "kernel", builder, list(function.args), GIVEN, MADE, gathers)
    builder.ret_void()
    binding.initialize_native_target()
    binding.initialize_native_asmprinter()
    machine = binding.Target.from_default_triple().create_target_machine(
        cpu=binding.get_host_cpu_name(), features=binding.get_host_cpu_features().flatten(), opt=2
    )
    parsed = binding.parse_assembly(str(module))
    parsed.verify()
    engine = binding.create_mcjit_compiler(parsed, machine)
    engine.finalize_object()
    code = ctypes.CFUNCTYPE(None, ctypes.c_void_p, ctypes.c_void_p)
    return code(engine.get_function_address("kernel")), engine


def drawn(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Words and lanes: of any size, at the ends of a word, and alike in some rows."""
    words = np.zeros(TABLE + 200, np.int32)
    words[SHARED] = rng.integers(-3, 12)
    words[TABLE : TABLE + 64] = np.sort(rng.choice(np.arange(1, 900), 64, replace=False))
    words[TABLE] = 0
    words[TABLE + 63] = MOST
    words[TABLE + 64 :] = rng.integers(-99, 99, 136)
    lanes = np.zeros((19, LANES), np.int32)
    size = 2 ** rng.integers(1, 32, (3, LANES)) - 1
    lanes[16:] = np.rint(rng.uniform(-1, 1, (3, LANES)) * size)
    lanes[16:][rng.random((3, LANES)) < 0.1] = rng.choice([-MOST - 1, -MOST, -1, 0, 1, MOST])
    return words, lanes


def by_python(source: str, words: np.ndarray, row: np.ndarray) -> list[int]:
    names: dict[str, object] = {"scaled": scaled}
    exec(source, names)
    own = [int(word) for word in words]
    own[16:19] = [int(word) for word in row[16:19]]
    names["kernel"](own)  # type: ignore[operator]
    return own[:16]


@pytest.mark.parametrize("gathers", [True, False], ids=["gathered", "one after another"])
@pytest.mark.parametrize("name", KERNELS)
def test_every_lane_has_what_python_gives_its_row(name: str, gathers: bool) -> None:
    rng = np.random.default_rng(SEED)
    function, engine = compiled(KERNELS[name], gathers)
    for _ in range(GROUPS):
        words, lanes = drawn(rng)
        expected = np.array([by_python(KERNELS[name], words, row) for row in lanes.T]).T
        own = words.copy()
        function(own.ctypes.data, lanes.ctypes.data)
        assert (lanes[:16] == expected).all(), f"seed {SEED}"
        assert (own[TABLE:] == words[TABLE:]).all()
    del engine


@pytest.mark.parametrize(
    ("source", "message"),
    [
        ("while w[16] > 0:\n        return", "a return in a loop"),
        ("w[w[16] & 7] = 1", "places are known"),
    ],
)
def test_what_lanes_cannot_do_is_refused(source: str, message: str) -> None:
    with pytest.raises(NotImplementedError, match=message):
        compiled(f"def kernel(w):\n    {source}\n", False)
