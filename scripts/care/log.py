"""The work of ``spotlamp log``: words to entries, and the log as a list."""

from collections.abc import Sequence
from pathlib import Path

import typer

from models.garden.settings import read_garden
from models.journal import open_journal
from scripts.care.log_words import check_product, read_words
from scripts.care.record import Logged, entry_line, garden_product, gone_from, log_said, products_in
from scripts.common.moments import moment, now_in
from scripts.common.which_garden import chosen_garden

__all__ = ["log_entry", "log_lines", "log_words"]

_SPRAYED_AT = 8  # o'clock, where only the day is given


def log_words(
    named: Path | None,
    words: Sequence[str],
    at: str | None,
    correct: int | None,
    *,
    other: bool = False,
) -> str:
    """File what the words say, and return what to say back; see `log_entry`."""
    return log_entry(named, words, at, correct, other=other).words


def log_entry(
    named: Path | None,
    words: Sequence[str],
    at: str | None,
    correct: int | None = None,
    *,
    other: bool = False,
) -> Logged:
    """File what the words say, and return the entry's number and what to say back.

    With `other` a spray may be of a product that nothing is known of.

    Raises
    ------
    typer.BadParameter
        When the words or the time cannot be read, the product is not known, or the time is still
        to come.
    """
    folder = chosen_garden(named)
    garden = read_garden(folder)
    said = read_words(words, garden, gone_from(folder)) if words else None
    if said is not None and said.kind == "spray" and not other:
        check_product(said.product, (garden_product(garden), *products_in(folder)))
    hour = _SPRAYED_AT if said is not None and said.kind == "spray" else 12
    if correct is not None and at is None:
        when = None
    else:
        when = moment(at, garden.time_zone, hour=hour)
        if when > now_in(garden.time_zone):
            raise typer.BadParameter(
                f"{when:%Y-%m-%d %H:%M} is still to come: log what has happened.", param_hint="--at"
            )
    return log_said(folder, said, when, correct)


def log_lines(named: Path | None) -> str:
    """Return the log as a list, oldest first, each entry in its last form."""
    folder = chosen_garden(named)
    garden = read_garden(folder)
    with open_journal(folder) as journal:
        entries = journal.log_entries()
    if not entries:
        return "Nothing is logged yet; “spotlamp log --help” says how."
    return "\n".join(entry_line(entry, garden.units) for entry in entries)
