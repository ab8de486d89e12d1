"""Mutants of a module: each operator, constant and condition changed, one at a time.

A mutant is put into the living module: the code of its functions is exchanged, so that whoever has
imported them gets the changed ones, and names of the module are set anew, there and in the code
beside it that has imported them.
"""

import ast
import copy
import inspect
import sys
import types
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

COMPARED: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
}
COMPUTED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Add,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.FloorDiv,
    ast.LShift: ast.RShift,
    ast.RShift: ast.LShift,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.BitXor: ast.BitOr,
}
BODIES = ("body", "orelse", "finalbody")
SIGNED: dict[type[ast.unaryop], type[ast.unaryop]] = {ast.USub: ast.UAdd, ast.Invert: ast.UAdd}


@dataclass(frozen=True)
class Mutant:
    """One change. where: the function it is in; was, becomes: the statement before and after."""

    where: str
    was: str
    becomes: str
    code: types.CodeType  # of the whole module

    @property
    def name(self) -> str:
        """What it is called in the list of those that mean the same."""
        return f"{self.where}: {self.was} → {self.becomes}"


def mutants(module: types.ModuleType) -> list[Mutant]:
    """Every mutant of a module's source, in its order. Texts and docstrings stay."""
    path = Path(inspect.getsourcefile(module) or "")
    tree = ast.parse(path.read_text(encoding="utf-8"))
    found = []
    for change in _changes(tree):
        old = copy.deepcopy(change.statement)
        change.make()
        new = ast.fix_missing_locations(tree)
        code = compile(new, str(path), "exec")
        found.append(Mutant(change.where, _head(old), _head(change.shown()), code))
        change.undo()
    return found


def put_in(mutant: Mutant, module: types.ModuleType) -> None:
    """Change the living module."""
    fresh: dict[str, object] = {"__name__": module.__name__, "__file__": module.__file__}
    exec(mutant.code, fresh)
    for name, value in fresh.items():
        was = vars(module).get(name)
        _exchange(was, value, module, name)
        if isinstance(value, int | bytes) and not name.startswith("__") and was != value:
            for importer in _importers(module):
                if name in vars(importer):
                    setattr(importer, name, value)


def _importers(module: types.ModuleType) -> Iterator[types.ModuleType]:
    """Modules of the same package that take names from this one."""
    package = module.__name__.partition(".")[0]
    for name, other in list(sys.modules.items()):
        if name.partition(".")[0] == package and getattr(other, "__file__", None):
            source = Path(str(other.__file__)).read_text(encoding="utf-8")
            if f"from {module.__name__} import" in source:
                yield other


def _exchange(old: object, new: object, holder: object, name: str) -> None:
    if isinstance(old, types.FunctionType) and isinstance(new, types.FunctionType):
        old.__code__ = new.__code__
    elif isinstance(old, property) and isinstance(new, property):
        _exchange(old.fget, new.fget, holder, name)
    elif isinstance(old, type) and isinstance(new, type) and old.__module__ == new.__module__:
        for key, value in vars(new).items():
            _exchange(vars(old).get(key), value, old, key)
    elif isinstance(new, int | bool | bytes) and not name.startswith("__"):
        setattr(holder, name, new)


class _Change:
    """One place of the tree and how to change it."""

    def __init__(self, where: str, statement: ast.AST, node: ast.AST, field: str, value: object):
        self.where, self.statement = where, statement
        self._node, self._field, self._value = node, field, value
        self._old = getattr(node, field)

    def make(self) -> None:
        setattr(self._node, self._field, self._value)

    def undo(self) -> None:
        setattr(self._node, self._field, self._old)

    def shown(self) -> ast.AST:
        """The statement as it is now; where it was taken out, that."""
        return ast.Pass() if self._field in BODIES else self.statement


def _changes(tree: ast.Module) -> Iterator[_Change]:
    yield from _in_body(tree, "", tree)


def _in_body(holder: ast.AST, where: str, tree: ast.Module) -> Iterator[_Change]:
    for field in BODIES:
        body = getattr(holder, field, None)
        if not isinstance(body, list):
            continue
        for i, statement in enumerate(body):
            if isinstance(statement, ast.FunctionDef | ast.ClassDef):
                yield from _in_body(statement, f"{where}.{statement.name}".lstrip("."), tree)
                continue
            if isinstance(statement, ast.Import | ast.ImportFrom | ast.Pass):
                continue
            if _is_text(statement):
                continue
            yield from _of_statement(statement, where)
            if where and isinstance(statement, ast.Expr | ast.AugAssign | ast.Assign):
                without = [*body[:i], ast.Pass(), *body[i + 1 :]]
                yield _Change(where, statement, holder, field, without)
            yield from _in_body(statement, where, tree)


def _of_statement(statement: ast.stmt, where: str) -> Iterator[_Change]:
    """Changes in the expressions of one statement, not in the statements below it."""
    for field, value in ast.iter_fields(statement):
        if field in (*BODIES, "handlers"):
            continue
        for top in value if isinstance(value, list) else [value]:
            if isinstance(top, ast.AST):
                for node in ast.walk(top):
                    yield from _of_node(node, statement, where)
    if isinstance(statement, ast.AugAssign) and type(statement.op) in COMPUTED:
        yield _Change(where, statement, statement, "op", COMPUTED[type(statement.op)]())
    if isinstance(statement, ast.If):
        turned = ast.UnaryOp(ast.Not(), statement.test)
        yield _Change(where, statement, statement, "test", turned)


def _of_node(node: ast.AST, statement: ast.stmt, where: str) -> Iterator[_Change]:
    if isinstance(node, ast.Compare):
        for i, op in enumerate(node.ops):
            for other in COMPARED.get(type(op), ()):
                ops = [*node.ops[:i], other(), *node.ops[i + 1 :]]
                yield _Change(where, statement, node, "ops", ops)
    elif isinstance(node, ast.BinOp) and type(node.op) in COMPUTED:
        yield _Change(where, statement, node, "op", COMPUTED[type(node.op)]())
    elif isinstance(node, ast.UnaryOp) and type(node.op) in SIGNED:
        yield _Change(where, statement, node, "op", SIGNED[type(node.op)]())
    elif isinstance(node, ast.BoolOp):
        other_op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        yield _Change(where, statement, node, "op", other_op)
    elif isinstance(node, ast.IfExp):
        yield _Change(where, statement, node, "test", ast.UnaryOp(ast.Not(), node.test))
    elif isinstance(node, ast.Constant) and type(node.value) in (int, bool):
        values = (not node.value,) if isinstance(node.value, bool) else _near(node.value)
        for value in values:
            yield _Change(where, statement, node, "value", value)


def _near(value: int) -> tuple[int, ...]:
    return (value + 1, value - 1) if value > 0 else (value + 1,)


def _is_text(statement: ast.stmt) -> bool:
    return (
        isinstance(statement, ast.Expr)
        and isinstance(statement.value, ast.Constant)
        and isinstance(statement.value.value, str)
    )


def _head(statement: ast.AST) -> str:
    """The first line of a statement's text."""
    return ast.unparse(statement).splitlines()[0]
