"""How templates become text: every value escaped, and none that was not handed in."""

from pathlib import Path
from typing import Any

import jinja2

__all__ = ["HERE", "in_two", "template_environment"]

HERE = Path(__file__).parent
"""Beside it lie the page's templates and its static files."""


_SHORT = 150  # signs that are read at a glance on a phone


def in_two(text: str) -> tuple[str, str]:
    """Return the first sentence of a long text, and the rest; a short text has none.

    Examples
    --------
    >>> in_two("It is sick.")
    ('It is sick.', '')
    """
    end = text.find(". ") + 1
    return (text[:end], text[end + 1 :]) if end and len(text) > _SHORT else (text, "")


def template_environment(**more: Any) -> jinja2.Environment:  # noqa: ANN401  Jinja's own options
    """Return an environment over the page's templates, with further options of Jinja."""
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        **more,
    )
    environment.filters["in_two"] = in_two
    return environment
