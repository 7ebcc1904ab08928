"""All changes of one place of the core's code, for changes.py: what stands there, and what may stand there instead."""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Iterator
from copy import copy
from dataclasses import dataclass
from pathlib import Path
from types import CodeType

ROOT = Path(__file__).resolve().parent.parent.parent
CORE = ("session", "program", "tempo", "words", "loglines", "logbook", "ears/activity.py")
EDGES = {"cached", "closing", "files", "forgetting", "handover", "reading", "store", "writing"}
OTHER: dict[type, type] = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In, ast.And: ast.Or, ast.Or: ast.And,
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.FloorDiv: ast.Mult, ast.Mod: ast.Mult,
    ast.BitOr: ast.BitAnd, ast.BitAnd: ast.BitOr,
}  # fmt: skip
NAMES = {"min": "max", "max": "min", "any": "all", "all": "any"}


@dataclass
class Change:
    """One place of one file, and what stands there instead."""

    path: str
    number: int
    """Its place among all changes of the file."""
    function: str
    """Qualified name of the function around it; "" outside of functions."""
    line: int
    text: str
    nth: int
    """How many changes of the function with the same text come before it."""
    outcome: str = "not tried"

    @property
    def key(self) -> tuple[str, str, str, int]:
        return self.path, self.function, self.text, self.nth


def others(node: ast.AST, *, in_function: bool) -> Iterator[ast.AST]:
    """Yield what may stand in the place of `node`."""
    match node:
        case ast.Compare(left, ops, rest):
            for at, op in enumerate(ops):
                yield ast.Compare(left, [*ops[:at], OTHER[type(op)](), *ops[at + 1 :]], rest)
        case ast.BoolOp(op, values):
            yield ast.BoolOp(OTHER[type(op)](), values)
            for at in range(len(values)):
                left_over = values[:at] + values[at + 1 :]
                yield ast.BoolOp(op, left_over) if len(left_over) > 1 else left_over[0]
        case ast.UnaryOp(ast.Not(), operand):
            yield operand
        case ast.BinOp(left, op, right) if type(op) in OTHER:
            yield ast.BinOp(left, OTHER[type(op)](), right)
        case ast.AugAssign(target, op, value) if type(op) in OTHER:
            yield ast.AugAssign(target, OTHER[type(op)](), value)
            yield ast.Pass()
        case ast.Constant(bool() as value):
            yield ast.Constant(not value)
        case ast.Constant(int() | float() as value):
            yield ast.Constant(value + 1)
            yield ast.Constant(value - 1)
        case ast.Call(ast.Name(name), arguments, keywords) if name in NAMES:
            yield ast.Call(ast.Name(NAMES[name], ast.Load()), arguments, keywords)
        case ast.If() | ast.IfExp() if not isinstance(node.test, ast.Compare | ast.BoolOp | ast.UnaryOp):
            turned = copy(node)
            turned.test = ast.UnaryOp(ast.Not(), node.test)
            yield turned
        case ast.Return(value) if value is not None and not isinstance(value, ast.Constant):
            yield ast.Return(ast.Constant(None))
        case ast.Return() | ast.Raise() | ast.Continue() | ast.Break() | ast.Assign() | ast.Expr(ast.Call()):
            if in_function:
                yield ast.Pass()
        case _:
            pass


Found = tuple[str, int, str]


def changed(tree: ast.Module, node: ast.AST | None = None, function: str = "", scope: str = "") -> Iterator[Found]:
    """Yield (function, line, text) of each change, put into the tree until the next; no annotation, no decorator."""
    parent = node or tree
    for name, value in ast.iter_fields(parent):
        if name in {"annotation", "returns", "decorator_list"}:
            continue
        for at, child in enumerate(value if isinstance(value, list) else [value]):
            if not isinstance(child, ast.AST):
                continue
            inner, within = function, scope
            if isinstance(child, ast.FunctionDef | ast.ClassDef):
                within = f"{scope}{child.name}."
                if isinstance(child, ast.FunctionDef):
                    inner, within = within[:-1], f"{within}<locals>."
            for new in others(child, in_function=bool(function)):
                ast.copy_location(new, child)
                setattr(parent, name, [*value[:at], new, *value[at + 1 :]] if isinstance(value, list) else new)
                text = f"{ast.unparse(child)}  ->  {ast.unparse(new)}".replace("\n", " ")
                yield function, getattr(child, "lineno", 0), text
                setattr(parent, name, value)
            yield from changed(tree, child, inner, within)


def every_change(globs: list[str]) -> Iterator[Change]:
    """Yield all changes of the core's files that fit one of the globs."""
    coach = ROOT / "coach"
    for name in CORE:
        for path in sorted(coach.glob(name if name.endswith(".py") else f"{name}/*.py")):
            if path.stem not in EDGES and any(path.relative_to(coach).match(glob) for glob in globs):
                seen: Counter[tuple[str, str]] = Counter()
                for number, (function, line, text) in enumerate(changed(ast.parse(path.read_text()))):
                    yield Change(str(path.relative_to(ROOT)), number, function, line, text, seen[function, text])
                    seen[function, text] += 1


def code_with(change: Change) -> CodeType:
    """Return the code of its file with the change."""
    tree = ast.parse((ROOT / change.path).read_text())
    for number, _ in enumerate(changed(tree)):
        if number == change.number:
            return compile(ast.fix_missing_locations(tree), ROOT / change.path, "exec")
    raise IndexError(change)
