"""Putting right what was read wrongly on a photo: what ``spotlamp fix`` does, by taps."""

from concurrent.futures import TimeoutError as NotYet
from math import isfinite
from typing import get_args

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from models.corrections import Fix, Fixed, Mark
from models.journal import open_journal
from scripts.garden.correct import correct, fix_words, undo
from scripts.page.pages import FORESEEN, Pages, Said, Values, any_of, sentence_of
from scripts.page.strips import photo_words
from vision.errors import SpotlampError

__all__ = ["BadMarksError", "marks_in", "put_right", "take_back"]

_KINDS: frozenset[str] = frozenset(get_args(Fixed))
_MOST_SIGNS = 60_000  # of an outline's points
_WAIT_S = 20.0


class BadMarksError(SpotlampError):
    """Places on a photo that cannot be read."""


def put_right(pages: Pages, request: Request, form: Values, _: FormData) -> Response:
    """Put something right, and say what holds now."""
    sha256 = request.path_params["sha256"]
    back = f"/photo/{sha256}"
    # A button in a row of the table says what and where in one.
    kind, _at, place = form.get("tap", "").partition("@")
    what = kind or form.get("what", "")
    if what not in _KINDS:
        return pages.back(request, back, Said("Nothing of that kind can be put right.", wrong=True))
    try:
        marks = marks_in(place or any_of(form, "marks", _MOST_SIGNS))
        # An outline is measured anew inside: beside the requests, as all measuring is.
        made = pages.outlines.run(_correct, pages, sha256, what, marks, form)
        fix = made.result(timeout=_WAIT_S)
    except NotYet:
        words = "It is being measured anew: load this page again in a few seconds."
        return pages.back(request, back, Said(words))
    except FORESEEN as error:
        return pages.back(request, back, Said(sentence_of(error), wrong=True))
    pages.desk.forget()
    with open_journal(pages.desk.folder) as journal:
        now = journal.corrected(sha256)
    words = f"Put right: {fix_words(fix)}."
    if now is not None and fix.what not in ("taken", "plant", "removed"):
        words = f"{words}\nNow: {photo_words(now.photo)}."
    return pages.back(request, back, Said(words, undo=f"{back}/undo/{fix.number}"))


def _correct(pages: Pages, sha256: str, what: Fixed, marks: list[Mark], form: Values) -> Fix:
    with open_journal(pages.desk.folder) as journal:
        return correct(
            journal,
            pages.desk.folder,
            sha256,
            what,
            value=any_of(form, "value", 100),
            marks=marks,
            reason=any_of(form, "reason", 500),
            seen=form.get("seen") or None,
        )


def take_back(pages: Pages, request: Request, form: Values, _: FormData) -> Response:
    """Take a correction back."""
    sha256, number = request.path_params["sha256"], request.path_params["number"]
    try:
        with open_journal(pages.desk.folder) as journal:
            fix = undo(journal, sha256, number, seen=form.get("seen") or None)
    except FORESEEN as error:
        return pages.back(request, f"/photo/{sha256}", Said(sentence_of(error), wrong=True))
    pages.desk.forget()
    words = f"Taken back: {fix_words(fix)}." if fix else "There was nothing to take back."
    return pages.back(request, f"/photo/{sha256}", Said(words))


def marks_in(text: str) -> list[Mark]:
    """Return the places of a text such as ``120,340`` or ``10,10;10,90;90,50``.

    Raises
    ------
    BadMarksError
        When it is none.
    """
    try:
        marks = [Mark(*map(float, part.split(","))) for part in text.split(";") if part.strip()]
    except (TypeError, ValueError) as error:
        raise BadMarksError("The places on the photo could not be read: tap again.") from error
    if not all(isfinite(value or 0) for mark in marks for value in mark):
        raise BadMarksError("The places on the photo could not be read: tap again.")
    return marks
