"""The pages of the manual: which there are, which one is meant, and how one looks as plain text."""

import re
import textwrap
from collections.abc import Iterator
from difflib import get_close_matches
from pathlib import Path

from vision.errors import SpotlampError

__all__ = ["TOPICS", "NoSuchPageError", "contents", "page", "plain", "source", "title"]

TOPICS = (
    *("week", "photos", "pattern", "garden", "fix", "trend", "care", "night", "droppings"),
    *("weather", "mix", "page", "report", "check", "export", "region", "server", "flags"),
)
"""The topics in reading order; each is a Markdown file of that name beside this module."""

_HERE = Path(__file__).parent
_FENCE = "```"
_BULLET = re.compile(r"(- |\d+\. )")
_COMMENT = re.compile(r"<!--.*?-->\n?", re.DOTALL)
_PICTURE = re.compile(r"!\[[^\]]*\]\([^)]*\)")
_TABLE_HEAD = re.compile(r"^\|.*\n\|[-| :]+\n", re.MULTILINE)
_CODE = re.compile(r"`([^`]+)`")
_LINK = re.compile(r"\[([^\]]*)\]\([^)]*\)")
_STRESS = re.compile(r"\*\*(.+?)\*\*|(?<!\*)\*([^*\s][^*]*)\*")


class NoSuchPageError(SpotlampError):
    """The manual has no page of that name."""

    exit_code = 2


def source(topic: str) -> str:
    """Return a page as it was written, in Markdown."""
    return (_HERE / f"{topic}.md").read_text("utf-8")


def title(topic: str) -> str:
    """Return a page's title."""
    return source(topic).split("\n", 1)[0].removeprefix("# ")


def contents() -> str:
    """Return the list of all pages, one a line: what to type, and what it tells."""
    width = max(len(topic) for topic in TOPICS)
    return "\n".join(f"  {topic.ljust(width)}  {title(topic)}" for topic in TOPICS)


def page(topic: str, line: int) -> str:
    """Return the page of a topic as plain text.

    Parameters
    ----------
    topic : str
        Its name, in any case; "my week" is the page "week".
    line : int
        Signs a line.

    Raises
    ------
    NoSuchPageError
        When there is no such page; the sentence names pages that tell of the word.
    """
    wanted = topic.casefold().strip().removeprefix("my ")
    if wanted not in TOPICS:
        raise NoSuchPageError(_no_such_page(topic, wanted))
    return plain(source(wanted), line)


def _no_such_page(topic: str, wanted: str) -> str:
    telling = [one for one in TOPICS if wanted and wanted in source(one).casefold()]
    close = get_close_matches(wanted, TOPICS, n=1)
    if close:
        hint = f"Did you mean {close[0]}?"
    elif telling:
        hint = f"The word stands in: {', '.join(telling)}."
    else:
        hint = f"There are: {', '.join(TOPICS)}."
    return f"The guide has no page “{topic}”. {hint}"


def plain(markdown: str, line: int) -> str:
    """Return a page of Markdown as text for a terminal.

    Parameters
    ----------
    markdown : str
        Headings, paragraphs, lists, code between fences, tables and pictures; no nested lists.
    line : int
        Signs a line; code is never broken.

    Returns
    -------
    str
        Paragraphs filled, code set in, rows of tables as their cells without the table's head;
        pictures left out.
    """
    text = _PICTURE.sub("", _TABLE_HEAD.sub("", _COMMENT.sub("", markdown)))
    shown = "\n".join(_lines(_pieces(text), line))
    return re.sub(r"\n{3,}", "\n\n", shown).strip()


def _pieces(text: str) -> Iterator[str]:
    """Yield headings, paragraphs, list items and rows whole; code and empty lines one by one."""
    in_code, piece = False, ""
    for row in text.split("\n"):
        fence = row.startswith(_FENCE)
        in_code ^= fence
        begins = not row or row[0] in "#|" or _BULLET.match(row)
        if (in_code or fence or begins) and piece:
            yield piece
            piece = ""
        if fence:
            continue
        if in_code:
            yield f"{_FENCE}{row}"
        elif not row:
            yield ""
        else:
            piece = f"{piece} {row.strip()}".strip()
    if piece:
        yield piece


def _lines(pieces: Iterator[str], line: int) -> Iterator[str]:
    for piece in pieces:
        if piece.startswith(_FENCE):
            yield f"    {piece.removeprefix(_FENCE)}"
        elif piece.startswith("#"):
            heading = _unmarked(piece.lstrip("#").strip())
            yield from (heading, ("=" if piece.startswith("# ") else "-") * len(heading))
        elif piece.startswith("|"):
            yield from _row(piece, line)
        else:
            bullet = _BULLET.match(piece)
            margin = " " * len(bullet.group()) if bullet else ""
            yield textwrap.fill(_unmarked(piece), line, subsequent_indent=margin)


def _row(piece: str, line: int) -> Iterator[str]:
    """Yield a table's row as its first cell, and the others below it."""
    first, *others = (_unmarked(cell.strip()) for cell in piece.strip("|").split("|"))
    said = " · ".join(cell for cell in others if cell)
    yield f"  {first}"
    yield textwrap.fill(said, line, initial_indent="      ", subsequent_indent="      ")


def _unmarked(text: str) -> str:
    """Return prose without the marks of Markdown; what is typed in several words is quoted."""
    stressed = _STRESS.sub(lambda found: found[1] or found[2], _LINK.sub(r"\1", text))
    return _CODE.sub(lambda found: f"“{found[1]}”" if " " in found[1] else found[1], stressed)
