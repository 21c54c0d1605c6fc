"""Small faults for mutation testing: what can be changed in a module, and the module's text with one change.

The kinds are those of the common mutation tools (common practice, no source): another arithmetic operator, another
comparison or boundary, and/or, a sign or `not` dropped, a condition turned round, a call whose value nobody takes left
out, break and continue swapped, `None` returned, a number or truth value changed. Left alone: docstrings, annotations,
unions of types, decorators, error words (everything under `raise`) and text with figures for people; and two kinds of
numbers whose change by half nobody could notice, equivalent mutants as a class: guards and tolerances of a millionth or
less or of a million or more, and how a picture looks (`LOOKS`, keywords of drawing calls).
"""

import ast
import copy
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

OTHER_BINARY: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Mult,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
    ast.MatMult: ast.Add,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.LShift: ast.RShift,
    ast.RShift: ast.LShift,
    ast.BitXor: ast.BitOr,
}
OTHER_COMPARISON: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.LtE,
    ast.LtE: ast.Lt,
    ast.Gt: ast.GtE,
    ast.GtE: ast.Gt,
    ast.Eq: ast.NotEq,
    ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot,
    ast.IsNot: ast.Is,
    ast.In: ast.NotIn,
    ast.NotIn: ast.In,
}
TYPE_MAKERS = ("TypeVar", "NewType")
LOOKS = {
    "alpha",
    "bbox_to_anchor",
    "capsize",
    "figsize",
    "fontsize",
    "frameon",
    "height_ratios",
    "linestyle",
    "linewidth",
    "lw",
    "markersize",
    "mutation_scale",
    "ncols",
    "no_wrap",
    "pad",
    "rotation",
    "width_ratios",
    "zorder",
}
"""Keywords of drawing that change only how a picture or a table looks."""
GUARD = 1e-6
"""A number this small, or as large as its inverse, is a guard or a tolerance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mutant:
    """One change. line: where it is; lines: all lines that run only if it is reached, in the module as it stands."""

    line: int
    kind: str
    lines: frozenset[int]
    text: Callable[[], str]
    """The whole module with this change (as `ast.unparse` writes it)."""


def places(tree: ast.Module) -> list[tuple[ast.AST, str, frozenset[int]]]:
    """(node, kind of change, lines of the change and of the statement it is in), in the order of the file."""
    found: list[tuple[ast.AST, str, frozenset[int]]] = []

    def visit(node: ast.AST, statement: int) -> None:
        match node:
            case ast.Call(func=ast.Name(id=name)) if name in TYPE_MAKERS:
                return
            case ast.Expr(value=ast.Constant()) | ast.Import() | ast.ImportFrom() | ast.JoinedStr() | ast.Raise():
                return
            case ast.keyword(arg=name) if name in LOOKS:
                return
        if isinstance(node, ast.stmt):
            statement = node.lineno
        kind = _kind(node)
        if kind:
            spot = node.test if isinstance(node, ast.If | ast.IfExp | ast.While) else node
            lines = range(getattr(spot, "lineno", statement), (getattr(spot, "end_lineno", None) or statement) + 1)
            found.append((node, kind, frozenset({statement, *lines})))
        for child in _parts(node):
            visit(child, statement)

    visit(tree, 0)
    return found


def _parts(node: ast.AST) -> list[ast.AST]:
    """The parts of a node that may be changed: no annotation, decorator or base class."""
    match node:
        case ast.AnnAssign():
            return [node.value] if node.value is not None else []
        case ast.FunctionDef():
            return [*node.body, *node.args.defaults, *filter(None, node.args.kw_defaults)]
        case ast.ClassDef():
            return list(node.body)
        case ast.Assign(value=ast.BinOp(op=ast.BitOr())) if _of_types(node.value):
            return []
    return list(ast.iter_child_nodes(node))


def _of_types(node: ast.AST) -> bool:
    """A union of types, which looks like an operator: named types, subscripts and None joined by |."""
    match node:
        case ast.BinOp(op=ast.BitOr(), left=left, right=right):
            return _of_types(left) and _of_types(right)
        case ast.Constant(value=None) | ast.Subscript():
            return True
        case ast.Name(id=name) | ast.Attribute(attr=name):
            return name[0].isupper() or name in ("int", "float", "bool", "str", "slice")
    return False


def _kind(node: ast.AST) -> str | None:
    match node:
        case ast.BinOp() if type(node.op) in OTHER_BINARY and not _of_types(node):
            return "operator"
        case ast.AugAssign() if type(node.op) in OTHER_BINARY:
            return "operator"
        case ast.Compare() if type(node.ops[-1]) in OTHER_COMPARISON:
            return "comparison"
        case ast.BoolOp():
            return "boolean"
        case ast.UnaryOp(op=ast.Not() | ast.USub()):
            return "unary"
        case ast.If() | ast.IfExp() | ast.While():
            return "condition"
        case ast.Break() | ast.Continue():
            return "jump"
        case ast.Expr(value=ast.Call()):
            return "call"
        case ast.Return(value=value) if value is not None and not isinstance(value, ast.Constant):
            return "return"
        case ast.Constant(value=float(value)) if value and not GUARD < value < 1 / GUARD:
            return None
        case ast.Constant(value=bool() | int() | float()):
            return "constant"
    return None


def change(node: Any, kind: str) -> ast.AST | None:
    """Put one fault into a node; or give the node that is to stand in its place."""
    match kind:
        case "operator":
            node.op = OTHER_BINARY[type(node.op)]()
        case "comparison":
            node.ops[-1] = OTHER_COMPARISON[type(node.ops[-1])]()
        case "boolean":
            node.op = ast.Or() if isinstance(node.op, ast.And) else ast.And()
        case "unary":
            return node.operand  # type: ignore[no-any-return]
        case "condition":
            node.test = ast.UnaryOp(op=ast.Not(), operand=node.test)
        case "jump":
            return ast.Continue() if isinstance(node, ast.Break) else ast.Break()
        case "call":
            return ast.Pass()
        case "return":
            node.value = ast.Constant(value=None)
        case _ if isinstance(node.value, bool):
            node.value = not node.value
        case _:
            node.value = node.value + 1 if isinstance(node.value, int) else node.value * 1.5 + (node.value == 0)
    return None


class _Swap(ast.NodeTransformer):
    """Put one node in the place of another."""

    def __init__(self, old: ast.AST, new: ast.AST) -> None:
        self.old, self.new = old, new

    def visit(self, node: ast.AST) -> Any:
        """The other node for the one that goes."""
        return self.new if node is self.old else self.generic_visit(node)


def mutants(source: str) -> Iterator[Mutant]:
    """Every mutant of a module's text, in the order of the file."""
    tree = ast.parse(source)
    for index, (node, kind, lines) in enumerate(places(tree)):

        def text(index: int = index, kind: str = kind) -> str:
            changed = copy.deepcopy(tree)
            old = places(changed)[index][0]
            new = change(old, kind)
            if new is not None:
                changed = _Swap(old, new).visit(changed)
            return ast.unparse(ast.fix_missing_locations(changed))

        yield Mutant(line=getattr(node, "lineno", 0), kind=kind, lines=lines, text=text)
