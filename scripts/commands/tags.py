"""``spotlamp tags``: a page of stake tags to print and cut out."""

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from scripts.common.terminal import GardenFolder, app, one_sentence_errors, say

__all__ = ["Paper", "tags"]


class Paper(StrEnum):
    """Paper that the page is made for."""

    a4 = "A4"
    letter = "Letter"


@app.command()
def tags(
    plants: Annotated[
        list[str] | None,
        typer.Argument(metavar="[PLANT...]", help="Plants that need a tag; all by default."),
    ] = None,
    out: Annotated[
        Path, typer.Option("--out", metavar="FILE", help="The page, a PDF for your printer.")
    ] = Path("tags.pdf"),
    paper: Annotated[
        Paper | None,
        typer.Option(
            "--paper", case_sensitive=False, help="By default as the garden's units suggest."
        ),
    ] = None,
    font: Annotated[
        Path | None,
        typer.Option("--font", metavar="FILE", help="Font for letters that the page's own lacks."),
    ] = None,
    garden: GardenFolder = None,
) -> None:
    """Make a page of stake tags: a marker, the plant's name, and a grey and a white patch.

    Reads the garden's plants. Print the page at 100 % and hold a ruler against its line. A tag
    beside the leaf tells Spotlamp the plant, how long a millimetre is, and the light's colour.
    Names may be in any script for which there is a font; the others get a line to write on.

    Writes FILE, and a number for each plant without one into garden.toml. A plant keeps its
    number, so a tag printed again is the same tag. Costs less than a second.

    Ends with 0 when done, 1 when the file cannot be written, 2 for an unknown plant.
    """
    with one_sentence_errors():
        from scripts.common.which_garden import chosen_garden
        from scripts.garden.tag_page import make_tags

        say(make_tags(chosen_garden(garden), plants or (), out, paper.value if paper else "", font))
