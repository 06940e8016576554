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
from typing import Any

__all__ = ["Mutant", "mutants_of"]

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
    """

    path: Path
    line: int
    before: str
    after: str
    text: str = field(repr=False, compare=False)

    @property
    def name(self) -> str:
        """The fault in one line of words that hold while lines move."""
        return " ".join(f"{self.path.as_posix()}: {self.before} → {self.after}".split())


@dataclass(frozen=True)
class _Change:
    node: ast.AST
    put: Callable[[], Callable[[], None]]  # puts the fault in, and returns what takes it out


def mutants_of(path: Path, source: str) -> list[list[Mutant]]:
    """Return the faults of a module, those of one place of its code in one list.

    Parameters
    ----------
    path : Path
        Goes into the faults.
    source : str
        The module's text.
    """
    tree = ast.parse(source)
    above = {child: node for node in ast.walk(tree) for child in ast.iter_child_nodes(node)}
    places = []
    for node in _walked(tree):
        mutants = [_mutant(path, tree, change, above) for change in _changes(node)]
        if mutants:
            places.append(mutants)
    return places


def _mutant(
    path: Path, tree: ast.Module, change: _Change, above: Mapping[ast.AST, ast.AST]
) -> Mutant:
    shown = change.node
    while isinstance(shown, ast.Constant | ast.UnaryOp | ast.keyword):  # says little by itself
        shown = above[shown]
    before = _shown(shown)
    take_out = change.put()
    after, text = _shown(shown), ast.unparse(tree)
    take_out()
    if after == before:  # a statement's body has changed
        after += " … with break or continue exchanged"
    return Mutant(path, getattr(change.node, "lineno", 1), before, after, text)


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


def _changes(node: ast.AST) -> list[_Change]:
    found = [change for kind, way in _KINDS if isinstance(node, kind) for change in way(node)]
    return [*found, *_jumps(node)]


def _set(node: ast.AST, name: str, value: object) -> _Change:
    """Return the change of one attribute."""
    old = getattr(node, name)

    def put() -> Callable[[], None]:
        setattr(node, name, value)
        return lambda: setattr(node, name, old)

    return _Change(node, put)


def _compare(node: ast.Compare) -> Iterator[_Change]:
    for at, operator in enumerate(node.ops):
        for other in _COMPARED[type(operator)]:
            yield _set(node, "ops", [*node.ops[:at], other(), *node.ops[at + 1 :]])


def _calculate(node: ast.BinOp | ast.AugAssign) -> Iterator[_Change]:
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


def _either(node: ast.BoolOp) -> Iterator[_Change]:
    yield _set(node, "op", ast.Or() if isinstance(node.op, ast.And) else ast.And())


def _unary(node: ast.UnaryOp) -> Iterator[_Change]:
    if isinstance(node.op, ast.Not):
        yield _set(node, "operand", _not(node.operand))
    elif isinstance(node.op, ast.USub):
        yield _set(node, "op", ast.UAdd())


def _not(node: ast.expr) -> ast.expr:
    return ast.UnaryOp(ast.Not(), node)


def _condition(node: ast.If | ast.While | ast.IfExp) -> Iterator[_Change]:
    if not isinstance(node.test, ast.Compare | ast.UnaryOp):  # those are changed themselves
        yield _set(node, "test", _not(node.test))


def _filter(node: ast.comprehension) -> Iterator[_Change]:
    for at, test in enumerate(node.ifs):
        if not isinstance(test, ast.Compare | ast.UnaryOp):
            yield _set(node, "ifs", [*node.ifs[:at], _not(test), *node.ifs[at + 1 :]])


def _jumps(node: ast.AST) -> Iterator[_Change]:
    for name in ("body", "orelse"):
        statements = getattr(node, name, ())
        for at, statement in enumerate(statements if isinstance(statements, list) else ()):
            if isinstance(statement, ast.Break | ast.Continue):
                other = ast.Continue() if isinstance(statement, ast.Break) else ast.Break()
                yield _set(node, name, [*statements[:at], other, *statements[at + 1 :]])


def _constant(node: ast.Constant) -> Iterator[_Change]:
    value = node.value
    if isinstance(value, bool):
        yield _set(node, "value", not value)
    elif isinstance(value, int):
        yield from (_set(node, "value", other) for other in (value - 1, value + 1))
    elif isinstance(value, float):
        others = (value / 2, value * 2) if value else (1.0,)
        yield from (_set(node, "value", other) for other in others)


def _loop(node: ast.For) -> Iterator[_Change]:
    yield _set(node, "iter", ast.Tuple([], ast.Load()))


def _except(node: ast.ExceptHandler) -> Iterator[_Change]:
    if node.type is not None:
        yield _set(node, "type", ast.Name("MemoryError", ast.Load()))


def _decorated(node: ast.FunctionDef) -> Iterator[_Change]:
    for at in range(len(node.decorator_list)):
        rest = node.decorator_list[:at] + node.decorator_list[at + 1 :]
        yield _set(node, "decorator_list", rest)


_KINDS: tuple[tuple[Any, Callable[..., Iterator[_Change]]], ...] = (
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
