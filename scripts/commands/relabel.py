"""``spotlamp relabel``: what a leaf shows, put right by the grower, to train on later."""

from typing import Annotated, Literal

import typer

from scripts.common.terminal import GardenFolder, app, one_sentence_errors, say

__all__ = ["relabel"]

_PATTERNS = ("spot", "blight", "none", "other")


@app.command()
def relabel(
    words: Annotated[
        list[str],
        typer.Argument(
            metavar="PHOTO... PATTERN",
            help="Photos, and what their largest leaf shows: spot, blight, none or other.",
        ),
    ],
    kind: Annotated[
        Literal["early", "late", ""],
        typer.Option("--kind", metavar="KIND", help="Which blight: early or late."),
    ] = "",
    session: Annotated[
        str,
        typer.Option("--session", metavar="NAME", help="Round of photos; the day by default."),
    ] = "",
    garden: GardenFolder = None,
) -> None:
    """Say what a photo really shows, where the program called its pattern wrongly.

    Reads the garden's journal, and the photos named, to know them again. The reading itself stays
    as it was measured; "spotlamp export --relabelled" gives a table to train on, and to check
    against.

    Writes your word into the journal, like "spotlamp fix --pattern", and "spotlamp fix --undo"
    takes it back. Answers at once.

    Ends with 0 when done, 1 when a photo is not in the journal, 2 for wrong usage.
    """
    *photos, pattern = words
    if not photos or pattern not in _PATTERNS:
        raise typer.BadParameter(
            f"name the photos first, then one of {', '.join(_PATTERNS)}.", param_hint="PATTERN"
        )
    if kind and pattern != "blight":
        raise typer.BadParameter("only a blight is early or late.", param_hint="--kind")
    with one_sentence_errors():
        from scripts.common.which_garden import chosen_garden
        from scripts.garden.assign import relabel_photos

        say(relabel_photos(chosen_garden(garden), photos, pattern, kind, session))
