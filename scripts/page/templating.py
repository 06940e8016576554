"""How templates become text: every value escaped, and none that was not handed in."""

from pathlib import Path
from typing import Any

import jinja2

__all__ = ["HERE", "template_environment"]

HERE = Path(__file__).parent
"""Beside it lie the page's templates and its static files."""


def template_environment(**more: Any) -> jinja2.Environment:  # noqa: ANN401  Jinja's own options
    """Return an environment over the page's templates, with further options of Jinja."""
    return jinja2.Environment(
        loader=jinja2.FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        **more,
    )
