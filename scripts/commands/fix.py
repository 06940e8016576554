"""``spotlamp fix``: what the program read wrongly of a photo, or on it, put right by the grower."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from scripts.common.terminal import GardenFolder, app, one_sentence_errors, say

if TYPE_CHECKING:
    from models.corrections import Fixed

__all__ = ["fix"]


def _where(name: str, words: str, metavar: str = "WHERE") -> typer.models.OptionInfo:
    option: typer.models.OptionInfo = typer.Option(name, metavar=metavar, help=words)
    return option


def _given(text: str | None) -> Sequence[str]:
    return () if text is None else (text,)


def _refuse_unclear(
    words: Sequence[tuple["Fixed", str]], photos: Sequence[str], *, undo: bool
) -> None:
    if words and undo:
        raise typer.BadParameter("put right or take back (--undo), one at a time.")
    if (words or undo) and not photos:
        raise typer.BadParameter("name the photos.", param_hint="PHOTO")


@app.command()
def fix(
    photos: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[PHOTO...]", help="Photos: files, folders, or paths as they were filed."
        ),
    ] = None,
    taken: Annotated[
        str | None,
        typer.Option(
            "--taken", metavar="TIME", help='When it was taken, as "2026-06-01 07:30" or a day.'
        ),
    ] = None,
    plant: Annotated[
        str | None, typer.Option("--plant", metavar="PLANT", help="Which plant it shows.")
    ] = None,
    remove: Annotated[
        bool, typer.Option("--remove", help="Take it out of the record; the file stays.")
    ] = False,
    unused: Annotated[
        bool, typer.Option("--unused", help="Do not use it: it stays, and counts nowhere.")
    ] = False,
    pattern: Annotated[
        Literal["spot", "blight", "none", "other"] | None,
        typer.Option("--pattern", help="What the largest leaf shows, or the one of --leaf."),
    ] = None,
    kind: Annotated[
        Literal["early", "late"] | None, typer.Option("--kind", help="Which blight.")
    ] = None,
    leaf: Annotated[str, _where("--leaf", "The leaf that --pattern or --outline is about.")] = "",
    outline: Annotated[
        str | None,
        _where("--outline", "A leaf's outline; it is measured anew inside.", '"ROW,COL ..."'),
    ] = None,
    not_leaf: Annotated[
        list[str] | None, _where("--not-leaf", "What was measured there is no leaf.")
    ] = None,
    not_lesion: Annotated[
        list[str] | None, _where("--not-lesion", "What was counted there is no lesion.")
    ] = None,
    missed_lesion: Annotated[
        list[str] | None,
        _where("--missed-lesion", "A lesion that was not counted.", "ROW,COL[,SIZE]"),
    ] = None,
    not_dropping: Annotated[
        list[str] | None, _where("--not-dropping", "What was counted there is no dropping.")
    ] = None,
    missed_dropping: Annotated[
        list[str] | None,
        _where("--missed-dropping", "A dropping that was not counted.", "ROW,COL[,SIZE]"),
    ] = None,
    not_caterpillar: Annotated[
        list[str] | None, _where("--not-caterpillar", "What was counted there is no caterpillar.")
    ] = None,
    missed_caterpillar: Annotated[
        list[str] | None,
        _where("--missed-caterpillar", "A caterpillar that was not counted.", "ROW,COL[,SIZE]"),
    ] = None,
    not_eaten: Annotated[
        bool, typer.Option("--not-eaten", help="Nothing was eaten of its leaves.")
    ] = False,
    undo: Annotated[
        bool, typer.Option("--undo", help="Take back the last thing put right of it.")
    ] = False,
    number: Annotated[
        int | None,
        typer.Option("--number", metavar="N", help="With --undo: which one, as the list shows."),
    ] = None,
    reason: Annotated[
        str, typer.Option("--reason", metavar="TEXT", help="Why, in your own words.")
    ] = "",
    garden: GardenFolder = None,
) -> None:
    """Put right what a photo shows, or when it was taken; alone, list what was put right.

    WHERE is a place on the photo, ROW,COL in pixels of its full size from the top left corner, or
    a number as in the tables and pictures: 2 for the second leaf, dropping or caterpillar, 1.3 for
    the third lesion of leaf 1.

    Reads the garden's journal, and the photos named, to know them again. What you say holds at
    once for flag, plan, today, trend and burn check, and stays when the photo is scored again: it
    is then said of what lies at the same place.

    Writes into the journal. The measurement stays as it was, what you say is kept beside it, and
    "--undo" takes it back. Answers at once; a new outline takes some seconds.

    Ends with 0 when done, 1 when a photo is not in the journal or nothing lies there, 2 for wrong
    usage.
    """
    said: dict[Fixed, Sequence[str]] = {
        "taken": _given(taken),
        "plant": _given(plant),
        "removed": [""] * remove,
        "unused": [""] * unused,
        "pattern": _given(pattern and f"{pattern} {kind or ''}".strip()),
        "outline": _given(outline),
        "not_leaf": not_leaf or (),
        "not_lesion": not_lesion or (),
        "lesion": missed_lesion or (),
        "not_dropping": not_dropping or (),
        "dropping": missed_dropping or (),
        "not_caterpillar": not_caterpillar or (),
        "caterpillar": missed_caterpillar or (),
        "not_eaten": [""] * not_eaten,
    }
    words = [(what, text) for what, texts in said.items() for text in texts]
    _refuse_unclear(words, photos or [], undo=undo)
    if kind and pattern != "blight":
        raise typer.BadParameter("only a blight is early or late.", param_hint="--kind")
    if number is not None and not undo:
        raise typer.BadParameter("it goes with --undo.", param_hint="--number")
    with one_sentence_errors():
        from scripts.common.which_garden import chosen_garden
        from scripts.garden.fix import fix_lines, fix_photos, undo_fixes

        folder, named = chosen_garden(garden), photos or []
        if undo:
            lines = undo_fixes(folder, named, number)
        elif words:
            lines = fix_photos(folder, named, words, reason, leaf)
        else:
            lines = fix_lines(folder, named)
        say("\n".join(lines))
