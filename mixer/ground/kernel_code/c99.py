"""C99 from the kernels: every function as it stands, on words of 32 bits.

Nothing here depends on how wide `int` is. Shifts to the left go through unsigned words, since C
leaves those of negative numbers open; shifts to the right are arithmetic, which the prelude checks
when it is compiled; `//` rounds down. The proof (`bounds`) shows that no result leaves its word.
"""

import ast
import textwrap
from collections.abc import Iterable

from mixer.ground.kernel_code.language import ARRAYS, Function, Program

BINARY = {
    ast.Add: "+", ast.Sub: "-", ast.Mult: "*", ast.RShift: ">>", ast.BitAnd: "&", ast.BitOr: "|",
    ast.BitXor: "^",
}  # fmt: skip
COMPARED = {ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">=", ast.Eq: "==", ast.NotEq: "!="}
BOOLEAN = {ast.And: "&&", ast.Or: "||"}
HELPERS = {"min": "least", "max": "most", "abs": "magnitude", "scaled": "product_shifted"}


def c_source(
    program: Program, exported: Iterable[str], prefix: str = "fv_", hidden: bool = False
) -> str:
    """The functions that `exported` need, and the numbers that they use, as C99 text.

    It wants `<stdint.h>` and the prelude before it. Every function's name gets the prefix, and
    every number's the same in capitals; those functions that are not exported are static, and
    where `hidden`, all are.
    """
    public = set(exported)
    needed = reached(program, public)
    functions = [one for name, one in program.functions.items() if name in needed]
    used = {name for one in functions for line in one.body for name in names_in(line)}
    constants = [
        f"#define {prefix.upper()}{name} ((int32_t){value})"
        for name, value in program.constants.items()
        if name in used
    ]
    seen = set() if hidden else public
    texts = [Writer(program, one, prefix).text(one.name in seen) for one in functions]
    return "\n".join(constants) + "\n\n" + "\n".join(texts)


def reached(program: Program, names: set[str]) -> set[str]:
    """The functions of these names and all that they call."""
    found: set[str] = set()
    waiting = list(names)
    while waiting:
        name = waiting.pop()
        if name not in found:
            found.add(name)
            waiting += program.functions[name].calls
    return found


def names_in(node: ast.AST) -> set[str]:
    return {part.id for part in ast.walk(node) if isinstance(part, ast.Name)}


class Writer:
    """One function in C."""

    def __init__(self, program: Program, function: Function, prefix: str) -> None:
        self.program, self.function, self.prefix = program, function, prefix
        self.counters = 0

    def text(self, public: bool) -> str:
        one = self.function
        body = self.block(one.body, 1)  # first: it may name counters
        scope, result = "" if public else "static ", "int32_t" if one.returns else "void"
        lines = [
            *comment(one.doc),
            f"{scope}{result} {self.prefix}{one.name}({self.parameters()})",
            "{",
            *[f"    int32_t {name};" for name in self.locals()],
            *body,
            "}",
            "",
        ]
        return "\n".join(lines)

    def parameters(self) -> str:
        array = "int32_t *" if self.function.writes else "const int32_t *"
        return ", ".join(
            f"{array}{name}" if name in ARRAYS else f"int32_t {name}"
            for name in self.function.parameters
        )

    def locals(self) -> list[str]:
        """Names that are set, in the order in which they are."""
        found: dict[str, None] = {}
        for line in self.function.body:
            for part in ast.walk(line):
                if isinstance(part, ast.Name) and isinstance(part.ctx, ast.Store):
                    found[part.id] = None
        return [name for name in found if name not in self.function.parameters and name != "_"]

    def block(self, body: list[ast.stmt], depth: int) -> list[str]:
        return [line for statement in body for line in self.statement(statement, depth)]

    def statement(self, node: ast.stmt, depth: int) -> list[str]:
        pad = "    " * depth
        match node:
            case ast.Assign(targets=[target], value=value):
                return [f"{pad}{self.value(target)} = {self.outer(value)};"]
            case ast.AugAssign(target=target, op=op, value=value):
                load = ast.BinOp(target, op, value)
                return [f"{pad}{self.value(target)} = {self.outer(load)};"]
            case ast.Return(value=None):
                return [f"{pad}return;"]
            case ast.Return(value=value):
                assert value is not None
                return [f"{pad}return {self.outer(value)};"]
            case ast.Expr(value=ast.Call(func=ast.Name(id=name)) as call):
                dropped = "(void)" if self.program.functions[name].returns else ""
                return [f"{pad}{dropped}{self.value(call)};"]
            case ast.While(test=test, body=body):
                return [
                    f"{pad}while ({self.test(test)}) {{",
                    *self.block(body, depth + 1),
                    pad + "}",
                ]
            case ast.For(target=ast.Name(id=name), iter=ast.Call(args=ends), body=body):
                return self.loop(name, ends, body, depth)
            case ast.If():
                return [*self.branches(node, depth, ""), pad + "}"]
        raise NotImplementedError(ast.unparse(node))

    def branches(self, node: ast.If, depth: int, otherwise: str) -> list[str]:
        pad = "    " * depth
        lines = [
            f"{pad}{otherwise}if ({self.test(node.test)}) {{",
            *self.block(node.body, depth + 1),
        ]
        match node.orelse:
            case []:
                return lines
            case [ast.If() as other]:
                return [*lines, *self.branches(other, depth, "} else ")]
        return [*lines, pad + "} else {", *self.block(node.orelse, depth + 1)]

    def loop(self, name: str, ends: list[ast.expr], body: list[ast.stmt], depth: int) -> list[str]:
        """The end is worked out once, before; `_` becomes a name of its own."""
        pad = "    " * depth
        first = self.outer(ends[0]) if len(ends) == 2 else "0"
        end, before = self.outer(ends[-1]), []
        self.counters += 1
        number = self.counters
        if not isinstance(ends[-1], ast.Constant | ast.Name):
            before = [f"{pad}const int32_t end_{number} = {end};"]
            end = f"end_{number}"
        declared = ""
        if name == "_":
            name, declared = f"turn_{number}", "int32_t "
        head = f"{pad}for ({declared}{name} = {first}; {name} < {end}; {name}++) {{"
        return [*before, head, *self.block(body, depth + 1), pad + "}"]

    def test(self, node: ast.expr) -> str:
        match node:
            case ast.BoolOp(op=op, values=values):
                return f" {BOOLEAN[type(op)]} ".join(f"({self.test(value)})" for value in values)
            case ast.UnaryOp(op=ast.Not(), operand=operand):
                return f"!({self.test(operand)})"
            case ast.Compare(left=left, ops=[op], comparators=[right]):
                return f"{self.value(left)} {COMPARED[type(op)]} {self.value(right)}"
        raise NotImplementedError(ast.unparse(node))

    def outer(self, node: ast.expr) -> str:
        """A value that needs no brackets round it."""
        text = self.value(node)
        plain = isinstance(node, ast.IfExp) or (
            isinstance(node, ast.BinOp)
            and not isinstance(node.op, ast.LShift | ast.FloorDiv | ast.Mod)
        )
        return text[1:-1] if plain else text

    def value(self, node: ast.expr) -> str:
        match node:
            case ast.Constant(value=int(value)):
                return str(value) if value < 32768 else f"INT32_C({value})"
            case ast.Name(id=name):
                return f"{self.prefix.upper()}{name}" if name in self.program.constants else name
            case ast.Subscript(value=ast.Name(id=name), slice=index):
                return f"{name}[{self.outer(index)}]"
            case ast.BinOp(left=left, op=ast.LShift(), right=right):
                return f"shifted_up({self.outer(left)}, {self.outer(right)})"
            case ast.BinOp(left=left, op=ast.FloorDiv(), right=ast.Constant() as right):
                return f"parted({self.outer(left)}, {self.outer(right)})"
            case ast.BinOp(left=left, op=ast.FloorDiv(), right=right):
                return f"divided({self.outer(left)}, {self.outer(right)})"
            case ast.BinOp(left=left, op=ast.Mod(), right=right):
                return f"rest({self.outer(left)}, {self.outer(right)})"
            case ast.BinOp(left=left, op=op, right=right):
                return f"({self.value(left)} {BINARY[type(op)]} {self.value(right)})"
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                return f"-{self.value(operand)}"
            case ast.UnaryOp(op=ast.Invert(), operand=operand):
                return f"~{self.value(operand)}"
            case ast.IfExp(test=test, body=body, orelse=orelse):
                return f"({self.test(test)} ? {self.value(body)} : {self.value(orelse)})"
            case ast.Call(func=ast.Name(id=name), args=arguments):
                given = ", ".join(self.outer(argument) for argument in arguments)
                return f"{HELPERS.get(name, self.prefix + name)}({given})"
        raise NotImplementedError(ast.unparse(node))


def comment(doc: str) -> list[str]:
    """A docstring as a C comment."""
    if not doc:
        return []
    lines = textwrap.dedent(doc).strip().splitlines()
    return [f"/* {lines[0]}", *[f" * {line}".rstrip() for line in lines[1:]], " */"]
