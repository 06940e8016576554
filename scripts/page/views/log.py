"""The log: what was done and seen, in the words of ``spotlamp log``, and how to take it back."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response

from models.care.habits import HABITS
from models.care.signs import SIGNS
from models.entries import LogEntry
from scripts.care.log import log_entry
from scripts.care.record import entry_line, garden_product, withdraw
from scripts.page.pages import FORESEEN, Pages, Said, Values, any_of, sentence_of
from scripts.page.standing import Standing

__all__ = ["add_entry", "correct_entry", "log", "unwrapped", "withdraw_entry"]

_MOST_SHOWN = 200
_HABITS = {habit.name for habit in HABITS}


@dataclass(frozen=True)
class _Form:
    """What is asked for one kind of entry: its first field, and whether plants follow."""

    kind: str
    words: str
    asks: str
    choices: tuple[tuple[str, str], ...] = ()
    usual: str = ""
    plants: bool = True
    numeric: bool = False


def _forms(standing: Standing) -> list[_Form]:
    product = garden_product(standing.garden)
    usual = "" if product == "none" else product
    rain = "Amount, as 0.5in" if standing.garden.units == "US" else "Amount, as 12mm"
    return [
        _Form("spray", "Sprayed", "Product: soda, peroxide, or another's name", usual=usual),
        _Form("rain", "Rain", rain, plants=False),
        _Form("pick", "Caterpillars picked", "How many", numeric=True),
        _Form("leaves", "Leaves taken off", "How many", numeric=True),
        _Form("water", "Watered", ""),
        _Form("seen", "Seen", "Sign", choices=tuple(SIGNS.items())),
        _Form("note", "Note", "In your own words"),
        _Form("choose", "Plant to spot-test", ""),
    ]


def log(pages: Pages, request: Request) -> Response:
    """Show the log, newest first, and what can be logged."""
    standing = pages.desk.standing()
    entries = standing.log[::-1]
    wanted = request.query_params.get("correct", "")
    old = next((e for e in entries if str(e.number) == wanted), None)
    return pages.show(
        request,
        "log.html",
        here="log",
        entries=[(e.number, entry_line(e, standing.garden.units)) for e in entries[:_MOST_SHOWN]],
        more=max(0, len(entries) - _MOST_SHOWN),
        forms=_forms(standing),
        plants=request.query_params.get("plants", ""),
        names=[p.name for p in standing.garden.plants if p.name in standing.season.plants],
        correcting=(old.number, entry_line(old, standing.garden.units)) if old else None,
        correcting_words=_typed(old) if old else "",
        at=f"{old.at:%Y-%m-%d %H:%M}" if old else "",
    )


def add_entry(pages: Pages, request: Request, form: Values, _: FormData) -> Response:
    """Write an entry."""
    back = "/" if form.get("back") == "/" else "/log"
    make = _WORDS.get(form.get("kind", ""))
    if make is None:
        return pages.back(request, back, Said("Nothing of that kind can be logged.", wrong=True))
    words = [word for word in make(form) if word]
    at = any_of(form, "at", 40) or pages.desk.at
    other = form.get("other") == "on"
    try:
        logged = log_entry(pages.desk.folder, words, at, other=other)
    except FORESEEN as error:
        return pages.back(request, f"{back}#new", Said(sentence_of(error), wrong=True))
    pages.desk.forget()
    undo = f"/log/{logged.number}/withdraw"
    return pages.back(request, back, Said(unwrapped(logged.words), undo=undo))


def correct_entry(pages: Pages, request: Request, form: Values, _: FormData) -> Response:
    """Put another entry in the place of one."""
    number = request.path_params["number"]
    words = _split(any_of(form, "words", 2000))
    try:
        at = any_of(form, "at", 40) or None
        logged = log_entry(pages.desk.folder, words, at, number)
    except FORESEEN as error:
        return pages.back(request, f"/log?correct={number}", Said(sentence_of(error), wrong=True))
    pages.desk.forget()
    return pages.back(request, "/log", Said(unwrapped(logged.words)))


def withdraw_entry(pages: Pages, request: Request, _form: Values, _: FormData) -> Response:
    """Take an entry back."""
    try:
        words = withdraw(pages.desk.folder, request.path_params["number"])
    except FORESEEN as error:
        return pages.back(request, "/log", Said(sentence_of(error), wrong=True))
    pages.desk.forget()
    return pages.back(request, "/log", Said(words))


def unwrapped(text: str) -> str:
    """Return a text of the terminal with each thing said in one line, however long."""
    lines: list[str] = []
    for line in text.split("\n"):
        if line.startswith("    ") and lines:
            lines[-1] += f" {line.strip()}"
        else:
            lines.append(line.strip())
    return "\n".join(lines)


def _split(text: str) -> list[str]:
    """Return words as a shell would part them; quotes keep a note together."""
    import shlex

    try:
        return shlex.split(text)
    except ValueError:  # a quote that is not closed, such as an apostrophe
        return text.split()


def _plants(form: Values) -> Sequence[str]:
    return any_of(form, "plants", 2000).replace(",", " ").split()


def _what(form: Values) -> str:
    return any_of(form, "what", 1000)


_WORDS: Mapping[str, Callable[[Values], Sequence[str]]] = {
    "spray": lambda form: ("spray", *_what(form).split(), *_plants(form)),
    "rain": lambda form: ("rain", _what(form)),
    "pick": lambda form: ("pick", _what(form), *_plants(form)),
    "leaves": lambda form: ("leaves", _what(form), *_plants(form)),
    "water": lambda form: ("water", *_plants(form)),
    "seen": lambda form: ("seen", _what(form), *_plants(form)),
    "note": lambda form: ("note", _what(form), *_plants(form)),
    "choose": lambda form: ("choose", *_plants(form)),
    "decline": lambda form: ("decline", _what(form)) if _what(form) in _HABITS else (),
}


def _typed(entry: LogEntry) -> str:
    """Return an entry as it would be typed after ``spotlamp log``."""
    names = " ".join(entry.plants)
    count = f"{entry.amount:g}" if entry.amount is not None else ""
    typed = {
        "spray": f"spray {entry.product} {names}",
        "rain": f"rain {count}mm",
        "hand_pick": f"pick {count} {names}",
        "removed_leaves": f"leaves {count} {names}",
        "watering": f"water {names}",
        "seen": f"seen {entry.text} {count} {names}",
        "note": f'note "{entry.text}" {names}',
        "choice": f"choose {names}",
    }
    return " ".join(typed.get(entry.kind, "").split())
