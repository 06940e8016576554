"""Run a part of the workshop: ``python -m scripts.workshop learn|paint|figures|attack NAME``.

Each part is a module with a ``main`` of its own, found by its place; its name without options
lists what there is. None of it is in the installed package.
"""

import ast
import importlib
import sys
from pathlib import Path

import typer

__all__ = ["app", "parts_of"]

GROUPS = {
    "learn": "Learn a learned file again.",
    "paint": "Paint the samples and the pictures of the documents.",
    "figures": "Measure figures, and write them into the documents.",
    "attack": "Try to break the program.",
}
_HERE = Path(__file__).parent

app = typer.Typer(
    help="The workshop: learns, paints, measures and attacks.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)


def parts_of(group: str) -> dict[str, str]:
    """Return the parts of a group that can be run, each with the first line of what it says."""
    trees = {path.stem: ast.parse(path.read_text("utf-8")) for path in _modules(group)}
    return {
        name: (ast.get_docstring(tree) or "").split("\n")[0]
        for name, tree in trees.items()
        if any(isinstance(node, ast.FunctionDef) and node.name == "main" for node in tree.body)
    }


def _modules(group: str) -> list[Path]:
    return sorted(path for path in (_HERE / group).glob("*.py") if path.stem != "__init__")


def _add(group: str, name: str, told: str) -> None:
    def run(context: typer.Context) -> None:
        module = importlib.import_module(f"scripts.workshop.{group}.{name}")
        sys.argv = [f"{group} {name}", *context.args]
        getattr(module, "app", module.main)()

    groups[group].command(
        name,
        help=told,
        add_help_option=False,  # each part tells its own options
        context_settings={"allow_extra_args": True, "ignore_unknown_options": True},
    )(run)


groups = {name: typer.Typer(help=told, no_args_is_help=True) for name, told in GROUPS.items()}
for _group, _sub in groups.items():
    app.add_typer(_sub, name=_group)
    for _name, _told in parts_of(_group).items():
        _add(_group, _name, _told)


if __name__ == "__main__":
    app()
