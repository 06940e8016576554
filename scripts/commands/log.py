"""``spotlamp log``: what people did and saw in the garden."""

import re
from typing import Annotated, Any

import typer
from typer.core import TyperCommand

from scripts.common.terminal import GardenFolder, app, one_sentence_errors, say

__all__ = ["log"]

_MINUS = "\N{MINUS SIGN}"


class _Words(TyperCommand):
    """Takes a word such as ``-5mm`` for a word, to which the reader of words has a sentence."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:  # noqa: ANN401  Typer does not show what it takes
        """Hide the sign that would make it an option."""
        return super().parse_args(ctx, [re.sub(r"^-(?=[.,]?\d)", _MINUS, word) for word in args])


@app.command(cls=_Words)
def log(
    words: Annotated[
        list[str] | None,
        typer.Argument(metavar="WHAT...", help="What happened, in one of the forms above."),
    ] = None,
    at: Annotated[
        str | None,
        typer.Option("--at", metavar="TIME", help='When, as "2026-06-01 07:30"; now by default.'),
    ] = None,
    correct: Annotated[
        int | None,
        typer.Option("--correct", metavar="N", help="Put this in the place of entry N."),
    ] = None,
    withdraw: Annotated[
        int | None, typer.Option("--withdraw", metavar="N", help="Take entry N back.")
    ] = None,
    other: Annotated[
        bool, typer.Option("--other", help="A spray of another product, without rules here.")
    ] = False,
    garden: GardenFolder = None,
) -> None:
    """Log what was done or seen; alone, list the log.

    \b
    spray PRODUCT PLANTS     soda, peroxide, or with --other another product's name
    rain AMOUNT              12mm or 0.5in
    pick NUMBER PLANTS       caterpillars picked off
    leaves NUMBER PLANTS     leaves taken off
    water PLANTS             watered
    note "TEXT" [PLANTS]     your own words
    seen SIGN PLANTS         wilting, cleared, gone, planted, burned, no-burn, droppings,
                             cocoons, no-caterpillars, aphids, lying, low-lesions
    choose PLANT             the plant that you want to spot-test
    decline HABIT            do not offer this habit again

    PLANTS are names, the name of a bed, or all.

    Reads the garden's settings and journal. What was against a rule is logged as it happened, and
    pointed out.

    Writes into the journal. Nothing is ever lost: a corrected entry stays behind its correction.
    Answers at once.

    Ends with 0 when done, 1 when the journal cannot be used, 2 for wrong usage.
    """  # noqa: D301  the sign that keeps these lines as they are
    words = [re.sub(f"^{_MINUS}", "-", word) for word in words or []]
    with one_sentence_errors():
        from scripts.care.log import log_lines, log_words

        if withdraw is not None:
            from scripts.care.record import withdraw as take_back
            from scripts.common.which_garden import chosen_garden

            say(take_back(chosen_garden(garden), withdraw))
        elif words or correct is not None:
            say(log_words(garden, words, at, correct, other=other))
        else:
            say(log_lines(garden))
