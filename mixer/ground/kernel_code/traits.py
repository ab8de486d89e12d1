"""What can be told of a kernel function from its text: by what it shifts, with what it searches."""

import ast
from functools import cache

from mixer.ground.kernel_code.language import flight_core


@cache
def numbers(name: str) -> list[str]:
    """The parameters of a kernel function but for the words, which are the first of each."""
    return [one for one in flight_core().functions[name].parameters if one != "w"]


@cache
def shifts(name: str) -> set[str]:
    """The parameters of a kernel function by which it shifts."""
    function = flight_core().functions[name]
    counts = [
        part.right
        for line in function.body
        for part in ast.walk(line)
        if isinstance(part, ast.BinOp) and isinstance(part.op, ast.LShift | ast.RShift)
    ]
    used = {part.id for count in counts for part in ast.walk(count) if isinstance(part, ast.Name)}
    return used & set(function.parameters)


def calls(node: ast.stmt, name: str) -> bool:
    """Whether a statement is the call of this function and nothing else."""
    match node:
        case ast.Expr(value=ast.Call(func=ast.Name(id=called))):
            return called == name
    return False


@cache
def gives_a_place(name: str) -> bool:
    """Whether a function returns a name that its loops walk along the tables with."""
    found = walkers(name)
    return any(
        isinstance(part, ast.Return) and isinstance(part.value, ast.Name) and part.value.id in found
        for line in flight_core().functions[name].body
        for part in ast.walk(line)
    )


def reads(node: ast.AST, name: str) -> bool:
    """Whether a name stands somewhere in this."""
    return any(isinstance(part, ast.Name) and part.id == name for part in ast.walk(node))


def searches(node: ast.AST, name: str) -> bool:
    """Whether a loop in this walks along the tables by a name."""
    return any(isinstance(part, ast.While) and reads(part.test, name) for part in ast.walk(node))


@cache
def walkers(name: str) -> set[str]:
    """The names by whose value a function's loops read the tables: `while x < w[o]`."""
    loops = [
        part
        for line in flight_core().functions[name].body
        for part in ast.walk(line)
        if isinstance(part, ast.While)
    ]
    places = [
        part.slice
        for loop in loops
        for part in ast.walk(loop.test)
        if isinstance(part, ast.Subscript)
    ]
    used = {part.id for place in places for part in ast.walk(place) if isinstance(part, ast.Name)}
    return used - {"w"} - set(flight_core().constants)
