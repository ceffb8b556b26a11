"""Semantic mutants of a module: one small change each, as a careless hand would make it.

A comparison turned or moved by its edge, ``and`` for ``or``, plus for minus, a constant changed, a
statement or a branch left out, two arguments swapped, ``min`` for ``max``. Words are left alone:
texts, annotations, imports, decorators and what only reports progress.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

_COMPARE = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
}
_ARITHMETIC = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Div,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
}
_OTHER = {"min": "max", "max": "min", "any": "all", "all": "any", "floor": "ceil", "ceil": "floor"}
#: calls whose first arguments may stand in either order, or say something only
_ALIKE = {"min", "max", "zip", "hypot", "set", "print", "isinstance", "outer", "union"}
_TALK = {"report", "progress", "echo", "append_text"}
#: keywords that guard, and change nothing that is right
_GUARDS = {"strict", "slots", "frozen", "eq", "compare", "repr", "check", "stacklevel"}
_TALLIES = (ast.AugAssign, ast.Raise, ast.Continue, ast.Break)


@dataclass(frozen=True, order=True)
class Mutant:
    """One change: file, first line, columns, the kind of change and the text in its place."""

    path: str
    line: int
    column: int
    end_line: int
    end_column: int
    kind: str
    text: str

    def source(self, whole: str) -> str:
        """Return the module with the change."""
        lines = whole.encode().splitlines(keepends=True)
        first, last = lines[self.line - 1], lines[self.end_line - 1]
        body = first[: self.column] + self.text.encode() + last[self.end_column :]
        return b"".join([*lines[: self.line - 1], body, *lines[self.end_line :]]).decode()

    def words(self, whole: str) -> str:
        """Say what stood there and what stands there now."""
        lines = whole.encode().splitlines()
        old = lines[self.line - 1][self.column :]
        if self.line == self.end_line:
            old = lines[self.line - 1][self.column : self.end_column]
        short = old.decode(errors="replace").strip()
        return f"{self.path}:{self.line} {self.kind}: {short[:70]} -> {self.text[:70]}"


def mutants_of(path: Path, root: Path) -> list[Mutant]:
    """Return every mutant of a module, in the order of its text."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    name = path.relative_to(root).as_posix()
    found = {m for node in _living(tree) for m in _changes(node, name)}
    return sorted(found)


def _living(node: ast.AST) -> Iterator[ast.AST]:
    """Yield what does something: no docstrings, annotations, decorators, imports, texts."""
    skip: set[int] = set()
    if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
        skip |= {id(d) for d in node.decorator_list} | {id(node.returns)}
        arguments = (*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs)
        skip |= {id(a) for a in arguments}
    if isinstance(node, ast.ClassDef):
        skip |= {id(d) for d in (*node.decorator_list, *node.bases)}
    if isinstance(node, ast.AnnAssign):
        skip.add(id(node.annotation))
    if isinstance(node, ast.Call):
        skip |= {id(k) for k in node.keywords if k.arg in _GUARDS}
    for child in ast.iter_child_nodes(node):
        if id(child) in skip or isinstance(child, ast.Import | ast.ImportFrom | ast.JoinedStr):
            continue
        if isinstance(child, ast.If) and "TYPE_CHECKING" in ast.unparse(child.test):
            continue
        if isinstance(child, ast.Expr) and isinstance(child.value, ast.Constant):
            continue
        if isinstance(child, ast.Expr) and _called(child.value) in _TALK:
            continue
        yield child
        yield from _living(child)


def _called(node: ast.AST) -> str:
    if not isinstance(node, ast.Call):
        return ""
    return node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")


def _changes(node: ast.AST, path: str) -> Iterator[Mutant]:
    def put(kind: str, text: str, where: ast.AST = node) -> Mutant:
        return Mutant(
            path,
            where.lineno,
            where.col_offset,
            where.end_lineno,
            where.end_col_offset,
            kind,
            text,
        )

    for kind, new in _expressions(node):
        yield put(kind, f"({ast.unparse(new)})")
    if isinstance(node, ast.If | ast.While | ast.IfExp):
        yield put("condition turned", f"(not ({ast.unparse(node.test)}))", node.test)
    if isinstance(node, ast.comprehension):
        for test in node.ifs:
            yield put("filter left out", "True", test)
    if isinstance(node, _TALLIES) or (
        isinstance(node, ast.Expr) and isinstance(node.value, ast.Call)
    ):
        yield put("statement left out", "pass")
    if isinstance(node, ast.Assign) and not isinstance(node.targets[0], ast.Name | ast.Tuple):
        yield put("statement left out", "pass")
    if isinstance(node, ast.AugAssign) and type(node.op) in _ARITHMETIC:
        new = ast.AugAssign(node.target, _ARITHMETIC[type(node.op)](), node.value)
        yield put("arithmetic", ast.unparse(new))


def _expressions(node: ast.AST) -> Iterator[tuple[str, ast.expr]]:
    """Yield the expressions that may stand in the place of one."""
    if isinstance(node, ast.Compare):
        for i, op in enumerate(node.ops):
            for other in _COMPARE[type(op)]:
                ops = [*node.ops[:i], other(), *node.ops[i + 1 :]]
                yield "comparison", ast.Compare(node.left, ops, node.comparators)
    elif isinstance(node, ast.BoolOp):
        yield (
            "and, or",
            ast.BoolOp(ast.Or() if isinstance(node.op, ast.And) else ast.And(), node.values),
        )
    elif isinstance(node, ast.BinOp) and type(node.op) in _ARITHMETIC:
        yield "arithmetic", ast.BinOp(node.left, _ARITHMETIC[type(node.op)](), node.right)
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub | ast.Not):
        yield "sign or not left out", node.operand
    elif isinstance(node, ast.Constant):
        yield from (("constant", ast.Constant(v)) for v in _constants(node.value))
    elif isinstance(node, ast.Call):
        yield from _calls(node)


def _constants(value: object) -> list[object]:
    if isinstance(value, bool):
        return [not value]
    if isinstance(value, int):
        return [value + 1, value - 1] if value else [1]
    if isinstance(value, float):
        return [value * 2.0, value * 0.5] if value else [1.0]
    return []


def _calls(node: ast.Call) -> Iterator[tuple[str, ast.expr]]:
    name = _called(node)
    if name in _OTHER:
        other = (
            ast.Name(_OTHER[name])
            if isinstance(node.func, ast.Name)
            else ast.Attribute(node.func.value, _OTHER[name])
        )
        yield f"{_OTHER[name]} for {name}", ast.Call(other, node.args, node.keywords)
    if name == "abs" and len(node.args) == 1:
        yield "abs left out", node.args[0]
    plain = not any(isinstance(a, ast.Starred) for a in node.args[:2])
    if len(node.args) < 2 or not plain or name in _ALIKE:
        return
    if ast.dump(node.args[0]) != ast.dump(node.args[1]):
        args = [node.args[1], node.args[0], *node.args[2:]]
        yield "arguments swapped", ast.Call(node.func, args, node.keywords)
