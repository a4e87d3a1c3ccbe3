"""Changes of one place of a module.

A change swaps one comparison, joins by `or` what was joined by `and` (and the other way round), turns a truth
value, drops a `not`, or moves a whole number by one.
"""

from __future__ import annotations

import ast
import copy
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

SWAPS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip


@dataclass(frozen=True)
class Change:
    """One place of a module changed: its line, what stood there, and what stands there then; the lines of its
    statement, and of the function around it, which are none at the module's own level.
    """

    path: str
    line: int
    before: str
    after: str
    statement: range
    function: range
    source: str
    number: int
    fields: Mapping[str, object]

    def tree(self) -> ast.Module:
        """The whole module with the change, every other place on the line where it stood."""
        tree = ast.parse(self.source)
        place = next(one for at, one in enumerate(ast.walk(tree)) if at == self.number)
        for name, value in self.fields.items():
            setattr(place, name, value)
        return ast.fix_missing_locations(tree)

    @property
    def text(self) -> str:
        """The whole module as it reads with the change."""
        return ast.unparse(self.tree())


def changes(path: str, source: str) -> Iterator[Change]:
    """Yield every change of one place, in the order of the places; what only types read, and how a class is
    made (`frozen`, `slots`), is left alone.
    """
    tree = ast.parse(source)
    around = _around(tree)
    left_alone = _left_alone(tree)
    for number, node in enumerate(ast.walk(tree)):
        if id(node) in left_alone:
            continue
        for other in _others(node):
            place = copy.copy(node)
            for name, value in other.items():
                setattr(place, name, value)
            line, before, after = getattr(node, "lineno", 0), ast.unparse(node), ast.unparse(place)
            yield Change(path, line, before, after, *around[id(node)], source, number, other)


def _others(node: ast.AST) -> Iterator[dict[str, object]]:
    """What else could stand there, as the node's fields."""
    if isinstance(node, ast.Compare) and type(node.ops[0]) in SWAPS:
        yield {"ops": [SWAPS[type(node.ops[0])](), *node.ops[1:]]}
    elif isinstance(node, ast.BoolOp):
        yield {"op": ast.And() if isinstance(node.op, ast.Or) else ast.Or()}
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        yield {"op": ast.UAdd(), "operand": ast.Call(ast.Name("bool", ast.Load()), [node.operand], [])}
    elif isinstance(node, ast.Constant) and isinstance(node.value, bool):
        yield {"value": not node.value}
    elif isinstance(node, ast.Constant) and isinstance(node.value, int):
        yield {"value": node.value + 1}


def _around(tree: ast.Module) -> dict[int, tuple[range, range]]:
    """Lines of the statement and of the function in which each node stands, by the node's identity."""
    found: dict[int, tuple[range, range]] = {}

    def look(node: ast.AST, statement: range, function: range) -> None:
        if isinstance(node, ast.stmt):
            body = getattr(node, "body", None)
            last = body[0].lineno - 1 if body else node.end_lineno or node.lineno
            statement = range(node.lineno, max(node.lineno, last) + 1)
        found[id(node)] = (statement, function)
        for child in ast.iter_child_nodes(node):
            inside = isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and child in node.body
            here = range(child.lineno, (node.end_lineno or 0) + 1) if inside else function
            look(child, statement, range(node.body[0].lineno, here.stop) if inside else here)

    look(tree, range(0), range(0))
    return found


def _left_alone(tree: ast.Module) -> set[int]:
    """Everything in an annotation, and in the decorator of a class."""
    roots: list[ast.AST] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.arg | ast.AnnAssign) and node.annotation is not None:
            roots.append(node.annotation)
        elif isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.returns is not None:
            roots.append(node.returns)
        elif isinstance(node, ast.ClassDef):
            roots += node.decorator_list
    return {id(one) for root in roots for one in ast.walk(root)}
