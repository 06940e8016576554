"""What flows between the stages does not change on the way."""

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
ARRAYS = {"NDArray", "Mask", "Bools"}


def records(folder: str) -> Iterator[tuple[str, ast.ClassDef, dict[str, object]]]:
    """Yield the name of each record, its class, and how it was made one."""
    for path in sorted((ROOT / folder).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            for made in (
                getattr(node, "decorator_list", ()) if isinstance(node, ast.ClassDef) else ()
            ):
                if ast.unparse(made).startswith("dataclass"):
                    options = {k.arg: k.value.value for k in getattr(made, "keywords", ())}
                    yield f"{path.relative_to(ROOT).as_posix()}: {node.name}", node, options


@pytest.mark.parametrize("folder", ["vision", "models"])
def test_records_that_others_see_are_frozen(folder):
    """A module's own may change while it works."""
    found = [(name.split(": ")[1], options) for name, _, options in records(folder)]
    loose = [name for name, options in found if options.get("frozen") is not True]
    assert [name for name in loose if not name.startswith("_")] == []


@pytest.mark.parametrize("folder", ["vision", "models"])
def test_records_that_hold_arrays_are_not_compared_by_them(folder):
    """Arrays compare element by element, so that “equal” would be an error."""
    compared = [
        name
        for name, node, options in records(folder)
        if options.get("eq") is not False and names_in_fields(node) & ARRAYS
    ]
    assert compared == []


def names_in_fields(node: ast.ClassDef) -> set[str]:
    fields = [line.annotation for line in node.body if isinstance(line, ast.AnnAssign)]
    return {n.id for f in fields for n in ast.walk(f) if isinstance(n, ast.Name)}
