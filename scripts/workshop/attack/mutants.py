"""Small faults in a module's code, such as a bound moved by one, each as the module's whole text.

The kinds are those of cosmic-ray: comparisons, arithmetic, ``and`` and ``or``, ``not``, numbers,
True and False, loops left or not entered, exceptions, decorators. Comparisons and arithmetic are
changed to their nearest neighbours alone (``<`` to ``<=`` and ``>=``, ``+`` to ``-``), which tests
miss most easily; whole numbers by one, others to their half and double.
"""

import ast
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import CodeType
from typing import Any

__all__ = ["Change", "Module", "Mutant"]

_COMPARED: dict[type[ast.cmpop], tuple[type[ast.cmpop], ...]] = {
    ast.Lt: (ast.LtE, ast.GtE),
    ast.LtE: (ast.Lt, ast.Gt),
    ast.Gt: (ast.GtE, ast.LtE),
    ast.GtE: (ast.Gt, ast.Lt),
    ast.Eq: (ast.NotEq,),
    ast.NotEq: (ast.Eq,),
    ast.Is: (ast.IsNot,),
    ast.IsNot: (ast.Is,),
    ast.In: (ast.NotIn,),
    ast.NotIn: (ast.In,),
}
_CALCULATED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub,
    ast.Sub: ast.Add,
    ast.Mult: ast.Div,
    ast.Div: ast.Mult,
    ast.FloorDiv: ast.Div,
    ast.Mod: ast.Mult,
    ast.Pow: ast.Mult,
    ast.BitAnd: ast.BitOr,
    ast.BitOr: ast.BitAnd,
    ast.BitXor: ast.BitAnd,
    ast.LShift: ast.RShift,
    ast.RShift: ast.LShift,
}
# Keywords that change nothing that a caller can see, or only what is asserted of our own code.
_UNSEEN = frozenset({"repr", "strict", "slots"})
_TYPES = frozenset({"bool", "bytes", "date", "datetime", "float", "int", "list", "str", "tuple"})


@dataclass(frozen=True)
class Mutant:
    """One fault.

    Attributes
    ----------
    path : Path
        The module, from the root of the repository.
    line : int
        Where the fault is in the module as it stands, from 1.
    before, after : str
        The changed piece of code.
    text : str
        The whole module with the fault.
    code : CodeType
        The same, compiled with the lines of the module as it stands.
    in_function : bool
        Whether the fault lies in a function's body, so that it shows only when that is called.
    """

    path: Path
    line: int
    before: str
    after: str
    text: str = field(repr=False, compare=False)
    code: CodeType = field(repr=False, compare=False)
    in_function: bool = True

    @property
    def name(self) -> str:
        """The fault in one line of words that hold while lines move."""
        return " ".join(f"{self.path.as_posix()}: {self.before} → {self.after}".split())


@dataclass(frozen=True)
class Change:
    """A fault that can be put into a module's syntax tree.

    Attributes
    ----------
    node : AST
        What it changes.
    put : callable
        Puts it in, and returns what takes it out again.
    """

    node: ast.AST
    put: Callable[[], Callable[[], None]] = field(repr=False)


class Module:
    """A module in which faults can be made.

    Parameters
    ----------
    path : Path
        Goes into the faults.
    source : str
        Its text.

    Attributes
    ----------
    places : list of list of Change
        The faults that can be made, those of one place of the code in one list.
    """

    def __init__(self, path: Path, source: str) -> None:
        self._path, self._tree = path, ast.parse(source)
        self._above = {
            child: node for node in ast.walk(self._tree) for child in ast.iter_child_nodes(node)
        }
        found = (list(_changes(node)) for node in _walked(self._tree))
        self.places = [changes for changes in found if changes]

    def mutant(self, change: Change) -> Mutant:
        """Return a fault of the module."""
        shown = change.node
        while isinstance(shown, ast.Constant | ast.UnaryOp | ast.keyword):  # say little alone
            shown = self._above[shown]
        before, sound = _shown(shown), dict(self._above)
        take_out = change.put()
        after, text = _shown(shown), ast.unparse(self._tree)
        code = compile(ast.fix_missing_locations(self._tree), str(self._path), "exec")
        take_out()
        if after == before:  # a statement's body has changed
            after += " … with break or continue exchanged"
        line = getattr(change.node, "lineno", getattr(shown, "lineno", 1))
        return Mutant(
            self._path, line, before, after, text, code, _is_in_function(change.node, sound)
        )


def _is_in_function(node: ast.AST, above: Mapping[ast.AST, ast.AST]) -> bool:
    while node in above:
        owner = above[node]
        body = getattr(owner, "body", None)
        if isinstance(owner, ast.FunctionDef) and node in owner.body:
            return True
        if isinstance(owner, ast.Lambda) and node is body:
            return True
        node = owner
    return False


def _shown(node: ast.AST) -> str:
    """Return a node's code, of a statement with a body its first line alone."""
    text = ast.unparse(node)
    decorators = getattr(node, "decorator_list", ())
    return "\n".join(text.split("\n")[: len(decorators) + 1])


def _walked(node: ast.AST) -> Iterator[ast.AST]:
    """Yield the nodes that run; annotations, the list of public names and docstrings do not."""
    yield node
    for name, value in ast.iter_fields(node):
        if name in {"annotation", "returns"}:
            continue
        for child in value if isinstance(value, list) else [value]:
            if isinstance(child, ast.AST) and not _is_left_out(child):
                yield from _walked(child)


def _is_left_out(node: ast.AST) -> bool:
    if isinstance(node, ast.keyword):
        return node.arg in _UNSEEN
    names = [getattr(target, "id", "") for target in getattr(node, "targets", ())]
    return names == ["__all__"]


def _changes(node: ast.AST) -> list[Change]:
    found = [change for kind, way in _KINDS if isinstance(node, kind) for change in way(node)]
    return [*found, *_jumps(node)]


def _set(node: ast.AST, name: str, value: object) -> Change:
    """Return the change of one attribute."""
    old = getattr(node, name)

    def put() -> Callable[[], None]:
        setattr(node, name, value)
        return lambda: setattr(node, name, old)

    return Change(node, put)


def _compare(node: ast.Compare) -> Iterator[Change]:
    for at, operator in enumerate(node.ops):
        for other in _COMPARED[type(operator)]:
            yield _set(node, "ops", [*node.ops[:at], other(), *node.ops[at + 1 :]])


def _calculate(node: ast.BinOp | ast.AugAssign) -> Iterator[Change]:
    sides = [getattr(node, name, None) for name in ("left", "right", "value")]
    if not any(map(_is_text_or_type, sides)) and type(node.op) in _CALCULATED:
        yield _set(node, "op", _CALCULATED[type(node.op)]())


def _is_text_or_type(side: ast.AST | None) -> bool:
    """Whether any other sign beside it is an error at once, which says nothing about tests."""
    if isinstance(side, ast.Constant):
        return not isinstance(side.value, int | float)
    if isinstance(side, ast.Name):
        return side.id in _TYPES or (side.id[0].isupper() and not side.id.isupper())
    return isinstance(side, ast.JoinedStr)


def _either(node: ast.BoolOp) -> Iterator[Change]:
    yield _set(node, "op", ast.Or() if isinstance(node.op, ast.And) else ast.And())


def _unary(node: ast.UnaryOp) -> Iterator[Change]:
    if isinstance(node.op, ast.Not):
        yield _set(node, "operand", _not(node.operand))
    elif isinstance(node.op, ast.USub):
        yield _set(node, "op", ast.UAdd())


def _not(node: ast.expr) -> ast.expr:
    return ast.UnaryOp(ast.Not(), node)


def _condition(node: ast.If | ast.While | ast.IfExp) -> Iterator[Change]:
    if not isinstance(node.test, ast.Compare | ast.UnaryOp):  # those are changed themselves
        yield _set(node, "test", _not(node.test))


def _filter(node: ast.comprehension) -> Iterator[Change]:
    for at, test in enumerate(node.ifs):
        if not isinstance(test, ast.Compare | ast.UnaryOp):
            yield _set(node, "ifs", [*node.ifs[:at], _not(test), *node.ifs[at + 1 :]])


def _jumps(node: ast.AST) -> Iterator[Change]:
    for name in ("body", "orelse"):
        statements = getattr(node, name, ())
        for at, statement in enumerate(statements if isinstance(statements, list) else ()):
            if isinstance(statement, ast.Break | ast.Continue):
                other = ast.Continue() if isinstance(statement, ast.Break) else ast.Break()
                yield _set(node, name, [*statements[:at], other, *statements[at + 1 :]])


def _constant(node: ast.Constant) -> Iterator[Change]:
    value = node.value
    if isinstance(value, bool):
        yield _set(node, "value", not value)
    elif isinstance(value, int):
        yield from (_set(node, "value", other) for other in (value - 1, value + 1))
    elif isinstance(value, float):
        others = (value / 2, value * 2) if value else (1.0,)
        yield from (_set(node, "value", other) for other in others)


def _loop(node: ast.For) -> Iterator[Change]:
    yield _set(node, "iter", ast.Tuple([], ast.Load()))


def _except(node: ast.ExceptHandler) -> Iterator[Change]:
    if node.type is not None:
        yield _set(node, "type", ast.Name("MemoryError", ast.Load()))


def _decorated(node: ast.FunctionDef) -> Iterator[Change]:
    for at in range(len(node.decorator_list)):
        rest = node.decorator_list[:at] + node.decorator_list[at + 1 :]
        yield _set(node, "decorator_list", rest)


_KINDS: tuple[tuple[Any, Callable[..., Iterator[Change]]], ...] = (
    (ast.Compare, _compare),
    (ast.BinOp | ast.AugAssign, _calculate),
    (ast.BoolOp, _either),
    (ast.UnaryOp, _unary),
    (ast.If | ast.While | ast.IfExp, _condition),
    (ast.comprehension, _filter),
    (ast.Constant, _constant),
    (ast.For, _loop),
    (ast.ExceptHandler, _except),
    (ast.FunctionDef, _decorated),
)
