"""Write measured figures and generated tables into the document that holds their marks."""

from collections.abc import Sequence
from pathlib import Path

__all__ = ["ROOT", "as_table", "documents", "fill", "held"]

ROOT = Path(__file__).resolve().parents[3]


def as_table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Lay rows out as a Markdown table, which is readable as plain text too."""
    widths = [max(len(row[n]) for row in (head, *rows)) for n in range(len(head))]
    lines = [head, ["-" * width for width in widths], *rows]
    return "\n".join(
        "| " + " | ".join(cell.ljust(w) for cell, w in zip(line, widths, strict=True)) + " |"
        for line in lines
    )


def documents() -> list[Path]:
    """Return the project's documents: those at the top, and those in the rooms."""
    rooms = [ROOT / name for name in ("vision", "models", "scripts", "sample_images")]
    return [*sorted(ROOT.glob("*.md")), *(p for room in rooms for p in sorted(room.rglob("*.md")))]


def held(name: str, among: Sequence[Path] | None = None) -> tuple[Path, str, str, str]:
    """Return the document with the mark ``<!-- figures:name -->``, and its text in three parts.

    Parameters
    ----------
    name : str
        Of the place.
    among : sequence of Path, optional
        Where to look; all documents of the project by default.

    Returns
    -------
    tuple
        The document; its text up to and with the mark, between it and the next
        ``<!-- /figures -->``, and from there on.

    Raises
    ------
    ValueError
        When no document has such a place.
    """
    mark = f"<!-- figures:{name} -->\n"
    for document in documents() if among is None else among:
        before, start, rest = document.read_text("utf-8").partition(mark)
        between, end, after = rest.partition("<!-- /figures -->")
        if start and end:
            return document, before + start, between, end + after
    raise ValueError(f"No document has a place for the figures “{name}”.")


def fill(name: str, text: str, among: Sequence[Path] | None = None) -> None:
    """Put a text into its place, in whichever document holds it.

    Raises
    ------
    ValueError
        When no document has such a place.
    """
    document, before, _, after = held(name, among)
    document.write_text(f"{before}{text.strip()}\n{after}", "utf-8")
