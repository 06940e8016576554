"""What docstrings say of arrays, errors and parameters, and what ``__all__`` lists, is all there.

Read from the syntax trees. The makers' own programs (``scripts/workshop``) are not held to it, nor
is a command's own function: its docstring is the text of ``--help``, where each option has its own
sentence and each error is one that people are told.
"""

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
LAYERS = ("vision", "models", "scripts")
WORKSHOP = ROOT / "scripts/workshop"
MIGRATIONS = ROOT / "models/journal/migrations"
MODULES = {
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"): path
    for layer in LAYERS
    for path in sorted((ROOT / layer).rglob("*.py"))
    if WORKSHOP not in path.parents
}

ARRAYS = frozenset({"NDArray", "ndarray", "ArrayLike"})
DTYPE = re.compile(r"\bof (bool|u?int\d*|intp|float\d*|str|any (dtype|number))\b")
SHAPE = re.compile(r"\bshape\b")

Function = ast.FunctionDef | ast.AsyncFunctionDef


@dataclass(frozen=True)
class Entry:
    """A parameter in a docstring: its type, and what is said of it below."""

    kind: str
    said: str


@cache
def tree_of(path):
    return ast.parse(path.read_text("utf-8"))


def public_functions(body, inside="") -> Iterator[tuple[str, Function]]:
    """Yield functions and methods that no leading underscore hides; nested ones are not meant."""
    for node in body:
        if isinstance(node, Function | ast.ClassDef) and not node.name.startswith("_"):
            if isinstance(node, ast.ClassDef):
                yield from public_functions(node.body, f"{inside}{node.name}.")
            else:
                yield f"{inside}{node.name}", node


def is_command(function):
    """Whether a function is a command of the program: ``@app.command(...)``, or a group of them."""
    calls = [one.func for one in function.decorator_list if isinstance(one, ast.Call)]
    return any(
        isinstance(call, ast.Attribute) and call.attr in {"command", "callback"} for call in calls
    )


def section(function, title) -> list[str] | None:
    """Return the lines of a section of a numpydoc docstring; None where it has no such section."""
    doc = ast.get_docstring(function) or ""
    found = re.search(rf"^{title}\n-+\n(.*?)(?=^\S[^\n]*\n-+$|\Z)", doc, re.MULTILINE | re.DOTALL)
    return found and found[1].splitlines()


def entries(lines) -> dict[str, Entry]:
    """Return the parameters of a section, in its order."""
    found: dict[str, Entry] = {}
    names: list[str] = []
    for line in lines:
        if line[:1].strip():
            said, _, kind = line.partition(" : ")
            names = [name.strip() for name in said.split(",")]
            found |= dict.fromkeys(names, Entry(kind, ""))
        elif line.strip():
            found |= {name: Entry(found[name].kind, f"{found[name].said} {line}") for name in names}
    return found


def parameters(function) -> dict[str, ast.expr | None]:
    """Return names and annotations as a docstring gives them: without ``self``, with stars."""
    given = function.args
    plain = [*given.posonlyargs, *given.args]
    named = [(one.arg, one) for one in plain if one.arg not in {"self", "cls"}]
    named += [(f"*{given.vararg.arg}", given.vararg)] if given.vararg else []
    named += [(one.arg, one) for one in given.kwonlyargs]
    named += [(f"**{given.kwarg.arg}", given.kwarg)] if given.kwarg else []
    return {name: one.annotation for name, one in named}


def mentions(annotation, names):
    """Whether a type is made of one of these; what a callable is handed, others must shape."""
    if isinstance(annotation, ast.Constant) and isinstance(annotation.value, str):
        return not names.isdisjoint(re.findall(r"\w+", annotation.value))
    if isinstance(annotation, ast.Subscript) and ast.unparse(annotation.value) == "Callable":
        return False
    if isinstance(annotation, ast.Name | ast.Attribute):
        return ast.unparse(annotation).rpartition(".")[2] in names
    return any(mentions(part, names) for part in ast.iter_child_nodes(annotation))


@cache
def aliases(tree, names) -> frozenset[str]:
    """Return the names that a module gives to types of arrays, such as ``Floats``."""
    types = ast.Name | ast.Subscript | ast.BinOp
    return frozenset(
        target.id
        for node in tree.body
        if isinstance(node, ast.Assign) and isinstance(node.value, types)
        for target in node.targets
        if isinstance(target, ast.Name) and mentions(node.value, names)
    )


@cache
def array_names(path) -> frozenset[str]:
    """Return the names by which a module calls arrays: its own short ones and those it takes."""
    tree = tree_of(path)
    taken = {
        one.asname or one.name
        for node in tree.body
        if isinstance(node, ast.ImportFrom) and node.module in MODULES
        for one in node.names
        if one.name in aliases(tree_of(MODULES[node.module]), ARRAYS)
    }
    return ARRAYS | taken | aliases(tree, ARRAYS | taken)


def arrays_taken(function, names=ARRAYS):
    given = parameters(function)
    return [name for name, kind in given.items() if kind is not None and mentions(kind, names)]


def unsaid_arrays(function, names=ARRAYS) -> list[str]:
    """Return the arrays a function takes without saying their dtype, shape and what they hold.

    A docstring without a section of parameters must name the shape; the dtype is in the signature.
    """
    taken = arrays_taken(function, names)
    lines = section(function, "Parameters")
    if lines is None:
        return [] if SHAPE.search(ast.get_docstring(function) or "") else taken
    said = entries(lines)
    return [name for name in taken if not is_array_said(said.get(name, Entry("", "")))]


def is_array_said(entry):
    return bool(DTYPE.search(entry.kind) and SHAPE.search(entry.kind) and entry.said)


def own_raises(node) -> Iterator[ast.Raise]:
    """Yield what a function raises itself, not what functions within it raise."""
    for part in ast.iter_child_nodes(node):
        if not isinstance(part, Function | ast.Lambda | ast.ClassDef):
            yield from own_raises(part)
            if isinstance(part, ast.Raise):
                yield part


def unsaid_raises(function) -> list[str]:
    """Return the errors of a function's own body that its section ``Raises`` does not name.

    An error made by a helper (``raise self.error(...)``) or passed on as it came needs the section.
    """
    lines = section(function, "Raises")
    said = {name.strip().rpartition(".")[2] for line in lines or () if line[:1].strip()
            for name in line.split(",")}  # fmt: skip
    lacking = []
    for one in own_raises(function):
        made = one.exc.func if isinstance(one.exc, ast.Call) else one.exc
        name = ast.unparse(made).rpartition(".")[2] if made else ""
        if name not in said if name[:1].isupper() else not said:
            lacking.append(name or "raise")
    return lacking


def unlike_signature(function) -> list[str]:
    """Return the parameters that stand only in the docstring, only in the signature, or elsewhere.

    A docstring may do without the section, but not give a part of it.
    """
    lines = section(function, "Parameters")
    if lines is None:
        return []
    said, taken = list(entries(lines)), list(parameters(function))
    return sorted(set(said) ^ set(taken)) or ([] if said == taken else taken)


def lacking(rule) -> list[str]:
    return [
        f"{module}.{name}: {', '.join(found)}"
        for module, path in MODULES.items()
        for name, function in public_functions(tree_of(path).body)
        if not is_command(function) and (found := rule(function, path))
    ]


def test_every_array_taken_has_its_dtype_shape_and_meaning_in_the_docstring():
    assert lacking(lambda function, path: unsaid_arrays(function, array_names(path))) == []


def test_every_error_a_function_raises_itself_is_named_in_its_docstring():
    assert lacking(lambda function, _: unsaid_raises(function)) == []


def test_parameters_in_docstrings_are_those_of_the_signature_in_its_order():
    assert lacking(lambda function, _: unlike_signature(function)) == []


def test_the_rules_meet_arrays_errors_and_parameters_in_every_layer():
    for layer in LAYERS:
        found = [
            (function, path)
            for module, path in MODULES.items()
            if module.partition(".")[0] == layer
            for _, function in public_functions(tree_of(path).body)
        ]
        assert any(arrays_taken(function, array_names(path)) for function, path in found)
        assert any(section(function, "Parameters") for function, _ in found)
        assert any(list(own_raises(function)) for function, _ in found)


def test_only_functions_of_command_modules_are_commands():
    found = {
        module
        for module, path in MODULES.items()
        for _, function in public_functions(tree_of(path).body)
        if is_command(function)
    }
    assert found
    assert all(module.startswith("scripts.commands.") for module in found)


WELL_SAID = '''
def spread(plane: Floats, *masks: Mask, draw: Callable[[Pixels], None], share: float = 1) -> None:
    """Do something.

    Parameters
    ----------
    plane : ndarray of float32, shape (rows, columns)
        Linear light, 0 to 1.
    *masks : ndarray of bool, of the same shape
        The leaf.
    draw : callable
        Draws.
    share : float
        0 to 1.

    Raises
    ------
    ValueError, errors.LostError
        When it does not fit.

    Examples
    --------
    >>> spread(1)
    """
    if share > 1:
        raise ValueError("too much")
    raise errors.LostError

    def inner():
        raise KeyError
'''
NAMES = ARRAYS | {"Floats", "Mask", "Pixels"}


def complaints(text):
    function = ast.parse(text).body[0]
    return [*unsaid_arrays(function, NAMES), *unsaid_raises(function), *unlike_signature(function)]


def test_a_complete_docstring_lacks_nothing():
    assert complaints(WELL_SAID) == []


@pytest.mark.parametrize(
    ("was", "now", "noticed"),
    [
        (", shape (rows, columns)", "", ["plane"]),
        ("of float32, ", "", ["plane"]),
        ("        Linear light, 0 to 1.\n", "", ["plane"]),
        ("ndarray of bool, of the same shape", "tuple", ["*masks"]),
        ("    share : float\n        0 to 1.\n", "", ["share"]),
        ("    share : float\n", "    part : float\n", ["part", "share"]),
        ("share: float = 1", "part: float = 1", ["part", "share"]),
        ("draw: Callable[[Pixels], None], share: float = 1",
         "share: float = 1, draw: Callable[[Pixels], None]", ["plane", "*masks", "share", "draw"]),
        ("Raises\n    ------", "Notes\n    -----", ["ValueError", "LostError"]),
        ("ValueError, errors.LostError", "ValueError", ["LostError"]),
        ("raise errors.LostError", "raise self.error()", []),
    ],
)  # fmt: skip
def test_what_a_docstring_lacks_is_noticed(was, now, noticed):
    assert was in WELL_SAID
    assert complaints(WELL_SAID.replace(was, now, 1)) == noticed


@pytest.mark.parametrize(
    ("text", "noticed"),
    [
        ('def odds(rows: Floats): "Return the log-odds, shape (rows,)."', []),
        ('def odds(rows: Floats): "Return the log-odds of each row."', ["rows"]),
        ("def odds(rows: Floats): return rows", ["rows"]),
        ('def odds(rows: "Sequence[np.ndarray] | None"): "Return them."', ["rows"]),
        ('def odds(rows: int): "Return the log-odds."\n', []),
        ('def odds(rows: int):\n    "Return them."\n    raise error_of(rows)', ["error_of"]),
        ('def odds():\n    "Return them."\n    try: go()\n    except OSError: raise', ["raise"]),
    ],
)
def test_a_docstring_without_sections_must_name_the_shape_and_raise_nothing(text, noticed):
    assert complaints(text) == noticed


def test_hidden_and_nested_functions_are_not_meant():
    text = "class A:\n def b(): 1\n def _c(): 1\nclass _D:\n def e(): 1\ndef f():\n def g(): 1"
    assert [name for name, _ in public_functions(ast.parse(text).body)] == ["A.b", "f"]


@cache
def names_listed(tree) -> list[str] | None:
    """Return what a module's ``__all__`` lists; None without one."""
    for node in tree.body:
        if isinstance(node, ast.Assign) and ast.unparse(node.targets[0]) == "__all__":
            return ast.literal_eval(node.value)
    return None


def names_bound(tree) -> set[str]:
    """Return the names that the top of a module defines or takes from others."""
    found: set[str] = set()
    for node in ast.walk(ast.Module(tree.body, [])):
        if isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            found.add(node.id)
        elif isinstance(node, Function | ast.ClassDef):
            found.add(node.name)
        elif isinstance(node, ast.Import | ast.ImportFrom):
            found |= {one.asname or one.name for one in node.names}
    return found


def untrue_list(tree) -> list[str]:
    """Return the public functions and classes that are not listed, and what is listed in vain."""
    listed = names_listed(tree)
    defined = [node.name for node in tree.body if isinstance(node, Function | ast.ClassDef)]
    if listed is None:
        return ["__all__"] if names_bound(tree) else []
    unlisted = {name for name in defined if not name.startswith("_")} - set(listed)
    return sorted(unlisted | (set(listed) - names_bound(tree)))


def test_every_module_lists_its_public_names():
    untrue = {
        module: found
        for module, path in MODULES.items()  # migrations are read by the names that Alembic gives
        if MIGRATIONS not in path.parents and (found := untrue_list(tree_of(path)))
    }
    assert untrue == {}


def test_modules_take_from_each_other_only_what_is_listed():
    untrue = [
        f"{module}: {name.name} of {node.module}"
        for module, path in MODULES.items()
        for node in ast.walk(tree_of(path))
        if isinstance(node, ast.ImportFrom) and node.module in MODULES
        for name in node.names
        if f"{node.module}.{name.name}" not in MODULES
        and name.name not in (names_listed(tree_of(MODULES[node.module])) or ())
    ]
    assert untrue == []


@pytest.mark.parametrize(
    ("text", "noticed"),
    [
        ("__all__ = ['a', 'B', 'C']\nfrom x import a\nclass B: 1\nC = D = 1\ndef _e(): 1", []),
        ("__all__ = ['a']\ndef a(): 1\ndef b(): 1\nclass C: 1", ["C", "b"]),
        ("__all__ = ['a', 'b']\ndef a(): 1", ["b"]),
        ("def a(): 1", ["__all__"]),
        ("'A package.'", []),
    ],
)
def test_an_untrue_list_is_noticed(text, noticed):
    assert untrue_list(ast.parse(text)) == noticed
