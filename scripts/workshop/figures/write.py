"""Write measured figures into the README, between the comments that mark their place."""

from collections.abc import Sequence
from pathlib import Path

__all__ = ["as_table", "fill"]

README = Path(__file__).resolve().parents[3] / "README.md"


def as_table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Lay rows out as a Markdown table, which is readable as plain text too."""
    widths = [max(len(row[n]) for row in (head, *rows)) for n in range(len(head))]
    lines = [head, ["-" * width for width in widths], *rows]
    return "\n".join(
        "| " + " | ".join(cell.ljust(w) for cell, w in zip(line, widths, strict=True)) + " |"
        for line in lines
    )


def fill(name: str, text: str, readme: Path = README) -> None:
    """Put a text between ``<!-- figures:name -->`` and the next ``<!-- /figures -->``.

    Raises
    ------
    ValueError
        When the README has no such place.
    """
    before, start, rest = readme.read_text("utf-8").partition(f"<!-- figures:{name} -->\n")
    _, end, after = rest.partition("<!-- /figures -->")
    if not (start and end):
        raise ValueError(f"{readme.name} has no place for the figures “{name}”.")
    readme.write_text(f"{before}{start}{text.strip()}\n{end}{after}", "utf-8")
