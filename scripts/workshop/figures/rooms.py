"""Put the map of the rooms into their documents, from the first lines of the modules."""

import ast
from pathlib import Path

from scripts.workshop.figures.write import ROOT, as_table, fill

__all__ = ["FOLDERS", "rooms_text"]

FOLDERS = ("vision", "models", "scripts")


def rooms_text(folder: str) -> str:
    """Return the map of one folder: its rooms, and the first line of each module in them."""
    packages = sorted(path.parent for path in (ROOT / folder).rglob("__init__.py"))
    return "\n\n".join(_room(package) for package in packages)


def _room(package: Path) -> str:
    said = _first_line(package / "__init__.py")
    modules = [path for path in sorted(package.glob("*.py")) if path.name != "__init__.py"]
    title = f"### `{package.relative_to(ROOT).as_posix()}/`\n\n{said}"
    if not modules:
        return title
    rows = [[f"`{path.name}`", _first_line(path).rstrip(".")] for path in modules]
    return f"{title}\n\n{as_table(['file', 'what it does'], rows)}"


def _first_line(module: Path) -> str:
    text = ast.get_docstring(ast.parse(module.read_text("utf-8"))) or ""
    # Up to the first blank line, for a sentence may go on below its first line.
    return " ".join(text.split("\n\n")[0].split()).replace("``", "`").replace("|", "or")


def main() -> None:
    """Write all three."""
    for folder in FOLDERS:
        fill(f"rooms-{folder}", rooms_text(folder))


if __name__ == "__main__":
    main()
