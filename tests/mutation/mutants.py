"""What is changed in a module, one change at a time, as somebody might get it wrong: another
comparison, another connective, another sign, another constant, nothing returned, a statement left
out.

Annotations, docstrings, imports, decorators, f-strings and texts of several words stay as they are:
nothing is decided by them.
"""

import ast
import copy
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial

COMPARISONS: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
}
SIGNS: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}
KEPT = (ast.Import, ast.ImportFrom, ast.JoinedStr)


@dataclass(frozen=True)
class Mutant:
    """One change of a module: the line where it is, what it is, and the whole text with it."""

    line: int
    says: str
    text: str


def list_mutants(text: str) -> list[Mutant]:
    """All mutants of the text of a module, in the order of their lines."""
    tree = ast.parse(text)
    places = list(_walk(tree))
    mutants = []
    for place, original in enumerate(places):
        for variant, _ in enumerate(_vary(original)):
            changed = copy.deepcopy(tree)
            node = list(_walk(changed))[place]
            list(_vary(node))[variant]()
            says = f"{_cut(ast.unparse(original))} -> {_cut(ast.unparse(node))}"
            mutants.append(Mutant(original.lineno, says, ast.unparse(changed)))
    return sorted(mutants, key=lambda mutant: mutant.line)


def _cut(text: str) -> str:
    first, *rest = text.splitlines()
    return first[:70] + (" ..." if rest or len(first) > 70 else "")


def _walk(node: ast.AST) -> Iterator[ast.AST]:
    """Every node that may be changed, outer ones first."""
    for name, value in ast.iter_fields(node):
        if name in ("annotation", "returns", "decorator_list", "type_params"):
            continue
        for child in value if isinstance(value, list) else [value]:
            if not isinstance(child, ast.AST) or isinstance(child, KEPT) or _is_words(child):
                continue
            if hasattr(child, "lineno"):
                yield child
            yield from _walk(child)


def _is_words(node: ast.AST) -> bool:
    """Whether a statement is a docstring."""
    return isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant)


def _vary(node: ast.AST) -> Iterator[Callable[[], None]]:
    """The changes of one node in its place, each to be called."""
    match node:
        case ast.Compare():
            for k, sign in enumerate(node.ops):
                yield partial(node.ops.__setitem__, k, COMPARISONS[type(sign)]())
        case ast.BoolOp():
            yield partial(
                setattr, node, "op", ast.Or() if isinstance(node.op, ast.And) else ast.And()
            )
        case ast.UnaryOp(op=ast.Not() | ast.Invert()):
            yield partial(_become, node, node.operand)
        case ast.BinOp() if type(node.op) in SIGNS:
            yield partial(setattr, node, "op", SIGNS[type(node.op)]())
        case ast.Constant() if isinstance(node.value, bool | int | float | str) and not (
            isinstance(node.value, str) and " " in node.value
        ):
            yield partial(setattr, node, "value", _change(node.value))
        case ast.Return() if node.value is not None:
            yield partial(setattr, node, "value", ast.Constant(None))
        case (
            ast.Assign() | ast.AugAssign() | ast.Raise() | ast.Expr() | ast.Continue() | ast.Break()
        ):
            yield partial(_become, node, ast.copy_location(ast.Pass(), node))


def _change(value: bool | int | float | str) -> bool | int | float | str:
    """Another constant of the same type."""
    if isinstance(value, bool):
        return not value
    return f"{value}x" if isinstance(value, str) else value + 1


def _become(node: ast.AST, other: ast.AST) -> None:
    """Put another node into the place of one."""
    node.__class__, node.__dict__ = other.__class__, other.__dict__
