"""The kernel language: a small part of Python that means the same in 32-bit C.

A kernel file holds whole numbers and functions on them: `w`, the one array of words (and `log`,
where a board keeps a flight's record); names of `mixer.flight.layout`; `+ - * << >> & | ^ ~ // %`,
`min`, `max`, `abs`, `scaled` (a product longer than a word, shifted back into one:
`mixer.flight.wanted`); `if`, `while`, `for … in range`, `return`; conditional expressions; calls of
functions of the same kind. No default arguments, no recursion, nothing that raises. `read_kernels`
refuses what lies outside by file and line and says what to write instead; on what it returns stand
the proof (`bounds`) and the C writer (`c99`).
"""

import ast
import inspect
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from importlib import import_module
from types import ModuleType

from mixer.flight import KERNELS, layout

ARRAYS = ("w", "log")
OPERATORS = (
    ast.Add, ast.Sub, ast.Mult, ast.LShift, ast.RShift, ast.BitAnd, ast.BitOr, ast.BitXor,
    ast.FloorDiv, ast.Mod,
)  # fmt: skip
COMPARISONS = (ast.Lt, ast.LtE, ast.Gt, ast.GtE, ast.Eq, ast.NotEq)
# Names that mean something else in C or C++.
KEYWORDS = {
    "auto", "bool", "break", "case", "catch", "char", "class", "const", "continue", "default",
    "delete", "do", "double", "else", "enum", "extern", "float", "for", "friend", "goto", "if",
    "inline", "int", "long", "new", "operator", "private", "protected", "public", "register",
    "restrict", "return", "short", "signed", "sizeof", "static", "struct", "switch", "template",
    "this", "throw", "try", "typedef", "typename", "union", "unsigned", "using", "virtual", "void",
    "volatile", "while",
}  # fmt: skip
BUILT_IN = {"min": 2, "max": 2, "abs": 1, "scaled": 3}  # and how many numbers they take


class KernelLanguageError(SyntaxError):
    """A kernel file holds something that the kernel language lacks; names file and line."""


@dataclass
class Function:
    """One function of a kernel file. `writes`: it, or one that it calls, sets words."""

    name: str
    parameters: list[str]
    body: list[ast.stmt]
    doc: str
    file: str
    returns: bool
    calls: set[str]
    writes: bool = False


@dataclass
class Program:
    """All functions, callees first, and the whole numbers that have names."""

    functions: dict[str, Function] = field(default_factory=dict)
    constants: dict[str, int] = field(default_factory=dict)


@cache
def flight_core(*further: str) -> Program:
    """The kernels of `mixer.flight`, and those of further modules, read once."""
    names = [*(f"mixer.flight.{name}" for name in KERNELS), *further]
    return read_kernels([import_module(name) for name in names])


def read_kernels(modules: list[ModuleType]) -> Program:
    """Read kernel files, callees first. KernelLanguageError where one leaves the language."""
    program = Program()
    program.constants.update(
        (name, value) for name, value in vars(layout).items() if isinstance(value, int)
    )
    for module in modules:
        read_source(program, inspect.getsource(module), module.__name__)
    return program


def read_source(program: Program, source: str, file: str) -> None:
    """Add the functions and constants of one kernel file to a program."""
    for node in ast.parse(source).body:
        match node:
            case ast.Expr(value=ast.Constant(value=str())) | ast.ImportFrom():
                pass
            case ast.Assign(targets=[ast.Name(id=name)], value=value):
                if name in program.constants:
                    raise refused(node, file, "another kernel number has this name")
                program.constants[name] = constant(program, value, file)
            case ast.FunctionDef(name=name) if name in BUILT_IN:  # what Python does for it
                pass
            case ast.FunctionDef():
                one = read_function(program, node, file)
                if one.name in program.functions:
                    raise refused(node, file, "another kernel function has this name")
                program.functions[one.name] = one
            case _:
                raise refused(node, file, "a kernel file holds numbers and functions only")


def refused(node: ast.AST, file: str, instead: str) -> KernelLanguageError:
    line = getattr(node, "lineno", 0)
    return KernelLanguageError(f"{file}, line {line}: `{ast.unparse(node)}`: {instead}")


def constant(program: Program, node: ast.expr, file: str) -> int:
    """The value of a number that stands in a kernel file."""
    names = {name.id for name in ast.walk(node) if isinstance(name, ast.Name)}
    if any(isinstance(part, ast.Call) for part in ast.walk(node)) or names - set(program.constants):
        raise refused(node, file, "must be a whole number made of other named numbers")
    value = eval(compile(ast.Expression(node), file, "eval"), {}, dict(program.constants))
    if not isinstance(value, int):
        raise refused(node, file, "must be a whole number; scale it")
    return value


def read_function(program: Program, node: ast.FunctionDef, file: str) -> Function:
    arguments = node.args
    if arguments.defaults or arguments.kwonlyargs or arguments.vararg or arguments.kwarg:
        raise refused(node, file, "give every argument at every call: no defaults, no *, no **")
    if node.decorator_list:
        raise refused(node, file, "no decorators")
    parameters = [one.arg for one in arguments.args]
    body = node.body[1:] if ast.get_docstring(node) else node.body
    one = Function(
        node.name, parameters, body, ast.get_docstring(node) or "", file, returns(node), set()
    )
    Check(program, one).block(body)
    one.writes = one.writes or any(program.functions[name].writes for name in one.calls)
    return one


def returns(node: ast.FunctionDef) -> bool:
    return any(isinstance(part, ast.Return) and part.value for part in ast.walk(node))


class Check:
    """Walks a function and refuses what the language lacks."""

    def __init__(self, program: Program, function: Function) -> None:
        self.program, self.function = program, function
        self.known = set(function.parameters) | set(program.constants)
        self.counting: list[str] = []

    def refuse(self, node: ast.AST, instead: str) -> KernelLanguageError:
        return refused(node, self.function.file, instead)

    def block(self, body: list[ast.stmt]) -> None:
        for statement in body:
            self.statement(statement)

    def statement(self, node: ast.stmt) -> None:
        match node:
            case ast.Assign(targets=[target], value=value):
                self.value(value)
                self.target(target)
            case ast.AugAssign(target=target, op=op, value=value):
                self.operator(node, op)
                self.value(value)
                self.value(target)
                self.target(target)
            case ast.If(test=test, body=body, orelse=orelse):
                self.test(test)
                self.block(body)
                self.block(orelse)
            case ast.While(test=test, body=body, orelse=[]):
                self.test(test)
                self.block(body)
            case ast.For(
                target=ast.Name(id=name),
                iter=ast.Call(func=ast.Name(id="range"), args=[*ends], keywords=[]),
                body=body,
                orelse=[],
            ) if 1 <= len(ends) <= 2:
                for end in ends:
                    self.value(end)
                self.known.add(name)
                self.counting.append(name)
                self.block(body)
                self.counting.pop()
            case ast.Return(value=value):
                if value is not None:
                    self.value(value)
            case ast.Expr(value=ast.Call() as call):
                self.value(call)
            case _:
                raise self.refuse(node, "write it with =, if, while, for … in range, return, calls")
        for call in self.calls_that_write(node):
            self.alone(node, call)

    def target(self, node: ast.expr) -> None:
        match node:
            case ast.Name(id=name):
                if name in self.counting or name in self.program.constants or name in KEYWORDS:
                    raise self.refuse(node, "is not free to be set; take another name")
                self.known.add(name)
            case ast.Subscript(value=ast.Name(id=name), slice=index) if name in ARRAYS:
                self.value(index)
                self.function.writes = True
            case _:
                raise self.refuse(node, "set one name or one word at a time")

    def test(self, node: ast.expr) -> None:
        match node:
            case ast.BoolOp(values=values):
                for value in values:
                    self.test(value)
            case ast.UnaryOp(op=ast.Not(), operand=operand):
                self.test(operand)
            case ast.Compare(left=left, ops=[op], comparators=[right]):
                if not isinstance(op, COMPARISONS):
                    raise self.refuse(node, "compare numbers: < <= > >= == !=")
                self.value(left)
                self.value(right)
            case _:
                raise self.refuse(node, "compare with something, one comparison at a time: x != 0")

    def value(self, node: ast.expr) -> None:
        match node:
            case ast.Constant(value=value) if type(value) is int:
                if not -(2**31) <= value < 2**31:
                    raise self.refuse(node, "does not fit a signed 32-bit word")
            case ast.Name(id=name):
                if name not in self.known:
                    raise self.refuse(node, "has no value here")
            case ast.Subscript(value=ast.Name(id=name) as array, slice=index) if name in ARRAYS:
                self.value(array)
                self.value(index)
            case ast.BinOp(left=left, op=op, right=right):
                self.operator(node, op)
                self.value(left)
                self.value(right)
            case ast.UnaryOp(op=ast.USub() | ast.Invert(), operand=operand):
                self.value(operand)
            case ast.IfExp(test=test, body=body, orelse=orelse):
                self.test(test)
                self.value(body)
                self.value(orelse)
            case ast.Call(func=ast.Name(id=name), args=arguments, keywords=[]):
                self.call(node, name, arguments)
            case _:
                raise self.refuse(node, "write it with whole numbers, w[…], operators and calls")

    def operator(self, node: ast.AST, op: ast.operator) -> None:
        if not isinstance(op, OPERATORS):
            raise self.refuse(node, "use + - * << >> & | ^, or // and % by a positive number")

    def call(self, node: ast.Call, name: str, arguments: list[ast.expr]) -> None:
        if name in BUILT_IN:
            wanted = BUILT_IN[name]
        elif name in self.program.functions:
            wanted = len(self.program.functions[name].parameters)
            self.function.calls.add(name)
        else:
            raise self.refuse(node, "is no kernel function that stands before this one")
        if len(arguments) != wanted:
            raise self.refuse(node, f"takes {wanted} numbers")
        for argument in arguments:
            self.value(argument)

    # C leaves open in which order the parts of a sum are worked out; Python goes left to right.

    def calls_that_write(self, node: ast.stmt) -> Iterator[ast.Call]:
        for part in own_parts(node):
            match part:
                case ast.Call(func=ast.Name(id=name)) if name in self.program.functions:
                    if self.program.functions[name].writes:
                        yield part

    def alone(self, node: ast.stmt, call: ast.Call) -> None:
        """Refuse what would read words in the same expression as a call that sets them."""
        inside = set(ast.walk(call))
        for part in own_parts(node):
            reads = isinstance(part, ast.Subscript) and isinstance(part.ctx, ast.Load)
            other = isinstance(part, ast.Call) and call not in ast.walk(part)
            if part not in inside and (reads or other):
                raise self.refuse(call, "sets words: give it a line of its own")


def own_parts(node: ast.stmt) -> Iterator[ast.AST]:
    """The expressions of a statement, without the statements in it."""
    waiting: list[ast.AST] = [
        child for child in ast.iter_child_nodes(node) if not isinstance(child, ast.stmt)
    ]
    while waiting:
        part = waiting.pop()
        yield part
        waiting += ast.iter_child_nodes(part)
