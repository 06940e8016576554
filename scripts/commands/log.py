"""``spotlamp log``: what people did and saw in the garden, a command for each kind of entry."""

import re
from collections.abc import Iterable
from typing import Annotated, Any

import typer
from typer.core import TyperCommand

from scripts.common.terminal import GardenFolder, WholeLines, app, one_sentence_errors, say

__all__ = [
    "choose",
    "decline",
    "leaves",
    "log",
    "note",
    "pick",
    "rain",
    "seen",
    "spray",
    "water",
]

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


_Number = Annotated[str, _words("NUMBER", "How many.")]
_Plants = Annotated[
    list[str] | None, _words("PLANTS...", "Names of plants, the name of a bed, or all.")
]


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
    if other and what != "spray":
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
    product: Annotated[
        str, _words("PRODUCT", "soda, peroxide, or with --other another product's name.")
    ] = "",
    plants: _Plants = None,
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
    _file(context, product, *plants or ())


@_entries.command(cls=_Entry)
def rain(
    context: typer.Context,
    amount: Annotated[list[str] | None, _words("AMOUNT", "12mm or 0.5in.")] = None,
    at: _At = None,
    correct: _Correct = None,
    garden: GardenFolder = None,
) -> None:
    """Log how much rain fell, by the gauge.

    As in: spotlamp log rain 12mm

    A number alone is in the garden's own unit.
    """
    _file(context, *amount or ())


@_entries.command(cls=_Entry)
def pick(
    context: typer.Context,
    number: _Number = "",
    plants: _Plants = None,
    at: _At = None,
    correct: _Correct = None,
    garden: GardenFolder = None,
) -> None:
    """Log how many caterpillars were picked off.

    As in: spotlamp log pick 3 A2
    """
    _file(context, number, *plants or ())


@_entries.command(cls=_Entry)
def leaves(
    context: typer.Context,
    number: _Number = "",
    plants: _Plants = None,
    at: _At = None,
    correct: _Correct = None,
    garden: GardenFolder = None,
) -> None:
    """Log how many leaves were taken off.

    As in: spotlamp log leaves 4 A2
    """
    _file(context, number, *plants or ())


@_entries.command(cls=_Entry)
def water(
    context: typer.Context,
    plants: _Plants = None,
    at: _At = None,
    correct: _Correct = None,
    garden: GardenFolder = None,
) -> None:
    """Log what was watered.

    As in: spotlamp log water all
    """
    _file(context, *plants or ())


@_entries.command(cls=_Entry)
def note(
    context: typer.Context,
    text: Annotated[
        list[str] | None,
        _words('"TEXT" [PLANTS...]', "Your own words; then the plants that it is about, if any."),
    ] = None,
    at: _At = None,
    correct: _Correct = None,
    garden: GardenFolder = None,
) -> None:
    """Log your own words, about plants or the whole garden.

    As in: spotlamp log note "straw under the north bed" A2
    """
    _file(context, *text or ())


@_entries.command(cls=_Entry)
def seen(
    context: typer.Context,
    sign: Annotated[str, _words("SIGN", "One of those below.")] = "",
    plants: Annotated[
        list[str] | None,
        _words("[NUMBER] PLANTS...", "Their number, of cocoons; names of plants, a bed, or all."),
    ] = None,
    at: _At = None,
    correct: _Correct = None,
    garden: GardenFolder = None,
) -> None:
    """Log a sign that no photo shows.

    As in: spotlamp log seen wilting B3
    """
    _file(context, sign, *plants or ())


@_entries.command(cls=_Entry)
def choose(
    context: typer.Context,
    plants: Annotated[list[str] | None, _words("PLANT", "Its name.")] = None,
    at: _At = None,
    correct: _Correct = None,
    garden: GardenFolder = None,
) -> None:
    """Choose the plant that you want to spot-test.

    As in: spotlamp log choose A3
    """
    _file(context, *plants or ())


@_entries.command(cls=_Entry)
def decline(
    context: typer.Context,
    habit: Annotated[list[str] | None, _words("HABIT", "One of those below.")] = None,
    at: _At = None,
    correct: _Correct = None,
    garden: GardenFolder = None,
) -> None:
    """Decline a habit: it is not offered again.

    As in: spotlamp log decline basil
    """
    _file(context, *habit or ())
