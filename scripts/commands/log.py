"""``spotlamp log``: what people did and saw in the garden, a command for each kind of entry."""

import re
from collections.abc import Iterable
from typing import Annotated, Any

import typer
from typer.core import TyperCommand

from scripts.common.terminal import GardenFolder, WholeLines, app, one_sentence_errors, say

__all__ = ["log", "spray"]

_MINUS = "\N{MINUS SIGN}"


class _Entries(WholeLines):
    """The kinds of entries, by the word that is typed."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:  # noqa: ANN401  Typer does not show what it takes
        """Hide the sign of a word such as ``-5mm``, which would make it an option."""
        return super().parse_args(ctx, [re.sub(r"^-(?=[.,]?\d)", _MINUS, word) for word in args])

    def get_command(self, ctx: Any, cmd_name: str) -> Any:  # noqa: ANN401  likewise
        """Return a kind of entry, however its word is written."""
        return super().get_command(ctx, cmd_name.lower())

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:  # noqa: ANN401  likewise
        """Say of a word that is none of them which there are."""
        if self.get_command(ctx, args[0]) is None:
            from scripts.care.log_words import reader_of

            reader_of(args[0])
        return super().resolve_command(ctx, args)


class _Entry(TyperCommand):
    """One kind of entry. A word that is missing is asked for by who reads the words."""

    def collect_usage_pieces(self, ctx: Any) -> list[str]:  # noqa: ANN401  likewise
        """Name the words as they are told of, none of them as one that may be left out."""
        words = [str(one.metavar) for one in self.params if one.param_type_name == "argument"]
        return [*words, "[OPTIONS]"]

    def format_epilog(self, ctx: Any, formatter: Any) -> None:  # noqa: ANN401  likewise
        """Write the words that there are, where an entry takes none but those."""
        if words := list(_known(str(self.name))):
            with formatter.section("Known"):
                formatter.write_dl(words)


def _known(what: str) -> Iterable[tuple[str, str]]:
    """Return the words that an entry takes, each with what it means."""
    if what == "seen":
        from models.care.signs import SIGNS

        return SIGNS.items()
    if what == "decline":
        from models.care.habits import HABITS

        return [(habit.name, habit.advice) for habit in HABITS]
    return ()


_entries = typer.Typer(
    cls=_Entries,
    invoke_without_command=True,
    subcommand_metavar="[WHAT ...]",
    rich_markup_mode=None,
)
app.add_typer(_entries, name="log")

_At = Annotated[
    str | None,
    typer.Option("--at", metavar="TIME", help='When, as "2026-06-01 07:30"; now by default.'),
]
_Correct = Annotated[
    int | None, typer.Option("--correct", metavar="N", help="Put this in the place of entry N.")
]
_Other = Annotated[
    bool, typer.Option("--other", help="A spray of another product, without rules here.")
]


def _words(metavar: str, told: str) -> typer.models.ArgumentInfo:
    argument: typer.models.ArgumentInfo = typer.Argument(metavar=metavar, help=told)
    return argument


@_entries.callback()
def log(
    context: typer.Context,
    at: _At = None,
    correct: _Correct = None,
    withdraw: Annotated[
        int | None, typer.Option("--withdraw", metavar="N", help="Take entry N back.")
    ] = None,
    other: _Other = False,
    garden: GardenFolder = None,
) -> None:
    """Log what was done or seen; alone, list the log.

    "spotlamp log spray --help", for instance, tells more of each. --at, --correct and --garden may
    stand before or behind its words.

    Reads the garden's settings and journal. What was against a rule is logged as it happened, and
    pointed out.

    Writes into the journal. Nothing is ever lost: a corrected entry stays behind its correction;
    with --correct and --at alone, only its time is put right. Answers at once.

    Ends with 0 when done, 1 when the journal cannot be used, 2 for wrong usage.
    """
    what = context.invoked_subcommand
    if withdraw is not None and (what or correct is not None):
        raise typer.BadParameter("an entry is taken back alone.", param_hint="--withdraw")
    if other and (what or "").lower() != "spray":
        raise typer.BadParameter("it goes with a spray.", param_hint="--other")
    if what is None:
        with one_sentence_errors():
            from scripts.care.log import log_lines, log_words

            if withdraw is not None:
                from scripts.care.record import withdraw as take_back
                from scripts.common.which_garden import chosen_garden

                say(take_back(chosen_garden(garden), withdraw))
            elif correct is not None:
                say(log_words(garden, (), at, correct))
            else:
                say(log_lines(garden))


def _file(context: typer.Context, *words: str) -> None:
    """File what an entry's words say, with its options, which may also stand before its word."""
    before = context.parent.params if context.parent else {}
    behind = {n: v for n, v in context.params.items() if v is not None and v is not False}
    options = before | behind
    said = [re.sub(f"^{_MINUS}", "-", word) for word in words if word]
    with one_sentence_errors():
        from scripts.care.log import log_words

        say(
            log_words(
                options["garden"],
                (str(context.command.name), *said),
                options["at"],
                options["correct"],
                other=options["other"],
            )
        )


@_entries.command(cls=_Entry)
def spray(
    context: typer.Context,
    words: Annotated[
        list[str] | None,
        _words(
            "PRODUCT PLANTS...",
            "soda, peroxide, or with --other another's name. Plants, the name of a bed, or all.",
        ),
    ] = None,
    at: _At = None,
    correct: _Correct = None,
    other: _Other = False,
    garden: GardenFolder = None,
) -> None:
    """Log a spray, and on which plants.

    As in: spotlamp log spray soda North --at "yesterday 07:30"

    What was in one tank is joined by a plus: soda+aspirin. A product that is neither known nor
    logged before is asked about. The label and local rules come before all that is said here.
    """
    _file(context, *words or ())


_PLANTS = "Names of plants, the name of a bed, or all."
_OTHERS = (
    ("rain", "AMOUNT", "12mm or 0.5in; a number alone is in the garden's own unit.",
     "Log how much rain fell, by the gauge.", "rain 12mm"),
    ("pick", "NUMBER PLANTS...", f"How many. {_PLANTS}",
     "Log how many caterpillars were picked off.", "pick 3 A2"),
    ("leaves", "NUMBER PLANTS...", f"How many. {_PLANTS}",
     "Log how many leaves were taken off.", "leaves 4 A2"),
    ("water", "PLANTS...", _PLANTS, "Log what was watered.", "water all"),
    ("note", '"TEXT" [PLANTS...]', "Your own words; then the plants that it is about, if any.",
     "Log your own words, about plants or the whole garden.",
     'note "straw under the north bed" A2'),
    ("seen", "SIGN [NUMBER] PLANTS...", f"One of those below. Of cocoons, how many. {_PLANTS}",
     "Log a sign that no photo shows.", "seen wilting B3"),
    ("choose", "PLANT", "Its name.", "Choose the plant that you want to spot-test.", "choose A3"),
    ("decline", "HABIT", "One of those below.", "Decline a habit: it is not offered again.",
     "decline basil"),
)  # fmt: skip
"""Kinds of entries but for sprays: word, what follows, what that is, what it does, an example."""


def _add(name: str, follows: str, told: str, does: str, example: str) -> None:
    """Add a command for one kind of entry."""

    def entry(
        context: typer.Context,
        words: Annotated[list[str] | None, _words(follows, told)] = None,
        at: _At = None,
        correct: _Correct = None,
        garden: GardenFolder = None,
    ) -> None:
        _file(context, *words or ())

    told_whole = f"{does}\n\nAs in: spotlamp log {example}"
    _entries.command(name, cls=_Entry, help=told_whole)(entry)


for _kind in _OTHERS:
    _add(*_kind)
