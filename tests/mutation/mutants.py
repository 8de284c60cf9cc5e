"""Small wrongs put into the code, one at a time.

Each is a slip that a person could make: a comparison the other way or off by one, plus for minus,
a constant a little or far off, `and` for `or`, a condition turned round, a statement left out.
"""

from __future__ import annotations

import ast
import copy
from collections.abc import Callable, Iterator
from dataclasses import dataclass

COMPARED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.GtE, ast.LtE: ast.Lt, ast.Gt: ast.LtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
COMPUTED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult,
    ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult, ast.BitAnd: ast.BitOr, ast.BitOr: ast.BitAnd,
}  # fmt: skip
IDLE = (ast.Pass, ast.Import, ast.ImportFrom, ast.FunctionDef, ast.ClassDef, ast.Return)


@dataclass(frozen=True, slots=True)
class Mutant:
    """source: the whole module with one wrong; line and words say where and what."""

    line: int
    words: str
    source: str


def mutants(source: str) -> Iterator[Mutant]:
    """Every wrong that this module can have, in the order of its lines."""
    tree = ast.parse(source)
    places = list(_walk(tree))
    for number, node in enumerate(places):
        for words, change in _changes(node):
            fresh = copy.deepcopy(tree)
            change(list(_walk(fresh))[number])
            made = ast.unparse(ast.fix_missing_locations(fresh))
            yield Mutant(getattr(node, "lineno", 0), words, made)


def _walk(tree: ast.AST) -> Iterator[ast.AST]:
    """Nodes that count: no annotations, no docstrings, nothing that only type checkers read."""
    for name, value in ast.iter_fields(tree):
        if name in ("annotation", "returns", "decorator_list"):
            continue
        for node in value if isinstance(value, list) else [value]:
            if not isinstance(node, ast.AST) or _is_words(node):
                continue
            if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
                continue
            yield node
            yield from _walk(node)


def _is_words(node: ast.AST) -> bool:
    text = node.value if isinstance(node, ast.Expr) else node
    return isinstance(text, ast.Constant) and isinstance(text.value, str)


def _changes(node: ast.AST) -> Iterator[tuple[str, Callable[[ast.AST], None]]]:
    before = ast.unparse(node) if isinstance(node, ast.expr | ast.stmt) else ""
    before = before.splitlines()[0][:60] if before else ""
    match node:
        case ast.Compare():
            for k, op in enumerate(node.ops):
                yield f"{before}: {type(op).__name__} turned", _compared(k)
        case ast.BinOp() if type(node.op) in COMPUTED:
            yield f"{before}: {type(node.op).__name__} for another", _computed
        case ast.BoolOp():
            yield f"{before}: and for or", _joined
        case ast.UnaryOp(op=ast.Not() | ast.USub() | ast.Invert()):
            yield f"{before}: sign or not left out", _bare
        case ast.Constant(value=bool()):
            yield f"{before}: turned", _valued(lambda value: not value)
        case ast.Constant(value=int() | float()):
            yield f"{before}: one more", _valued(lambda value: value + 1)
            if isinstance(node.value, float) and node.value:
                yield f"{before}: ten times", _valued(lambda value: value * 10)
        case ast.If() | ast.While() | ast.IfExp():
            yield f"{before}: turned round", _turned
        case ast.Expr(value=ast.Call()) | ast.AugAssign() | ast.Continue() | ast.Break():
            yield f"{before}: left out", _left_out


def _compared(k: int) -> Callable[[ast.AST], None]:
    def change(node: ast.AST) -> None:
        assert isinstance(node, ast.Compare)
        node.ops[k] = COMPARED[type(node.ops[k])]()

    return change


def _computed(node: ast.AST) -> None:
    assert isinstance(node, ast.BinOp)
    node.op = COMPUTED[type(node.op)]()


def _joined(node: ast.AST) -> None:
    assert isinstance(node, ast.BoolOp)
    node.op = ast.And() if isinstance(node.op, ast.Or) else ast.Or()


def _bare(node: ast.AST) -> None:
    assert isinstance(node, ast.UnaryOp)
    node.op = ast.UAdd() if isinstance(node.op, ast.USub) else ast.Not()
    if isinstance(node.op, ast.Not):
        node.operand = ast.UnaryOp(ast.Not(), node.operand)


def _valued(change: Callable[[float], float]) -> Callable[[ast.AST], None]:
    def put(node: ast.AST) -> None:
        assert isinstance(node, ast.Constant)
        assert isinstance(node.value, int | float)
        node.value = change(node.value)

    return put


def _turned(node: ast.AST) -> None:
    assert isinstance(node, ast.If | ast.While | ast.IfExp)
    node.test = ast.UnaryOp(ast.Not(), node.test)


def _left_out(node: ast.AST) -> None:
    fields = list(node._fields)
    node.__class__ = ast.Pass
    for name in fields:
        delattr(node, name)
