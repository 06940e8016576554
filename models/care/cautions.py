"""Cautions, each said fully once and briefly after that; a printed plan always says them fully."""

from collections.abc import Iterable
from dataclasses import dataclass

__all__ = ["CAUTIONS", "SELLING", "Caution", "cautions_of", "said"]


@dataclass(frozen=True)
class Caution:
    """A caution.

    Attributes
    ----------
    name : str
        Unique.
    full : str
        All of it.
    brief : str
        A reminder of a few words.
    """

    name: str
    full: str
    brief: str


_ALL = (
    Caution(
        "label",
        "Product labels, local rules and licensed practice come before anything said here. These "
        "are home remedies, not registered products; some places do not allow them on food crops.",
        "label and local rules first",
    ),
    Caution(
        "protect",
        "Wear gloves and eye protection; do not breathe the mist. Keep children and pets away "
        "until the leaves are dry.",
        "gloves, eye protection, no children or pets near",
    ),
    Caution(
        "harvest",
        "These are food plants: pick ripe fruit before you spray, wait at least until the next "
        "day, and wash what you pick.",
        "pick ripe fruit first, wash fruit",
    ),
    Caution(
        "peroxide",
        "Only 3 % hydrogen peroxide from the pharmacy, never a stronger one, and nothing else in "
        "the tank; mix it fresh and use it the same day. No trial was found that shows peroxide "
        "curing these diseases; judge it by new lesions. “No burn seen” does not mean safe.",
        "only 3 % peroxide, nothing else in the tank; not shown to cure",
    ),
    Caution(
        "dry leaves",
        "Spray early in the morning, on dry leaves, in little wind, over the top and on the "
        "undersides, and let it dry for two hours before any rain.",
        "mornings, dry leaves, little wind",
    ),
    Caution(
        "selling",
        "If you sell produce, the rules are stricter: use labelled products only, and ask your "
        "extension service first.",
        "stricter if you sell produce",
    ),
    Caution(
        "uv",
        "UV light harms eyes and skin: never shine it at a face, human or animal; wear glasses "
        "that block UV and cover your hands; keep children away. Watch your step in the dark. "
        "What does not glow may still be there: eggs, pupae and small caterpillars often do not.",
        "no UV at eyes, glasses on; not all caterpillars glow",
    ),
    Caution(
        "isolate",
        "A pattern is not a diagnosis: an extension service or plant clinic can tell. Wash hands "
        "and tools after touching the plant.",
        "a pattern is no diagnosis; wash hands and tools",
    ),
    Caution(
        "practice",
        "This is gardeners' practice, not trial evidence.",
        "practice, not trial evidence",
    ),
)

CAUTIONS: dict[str, Caution] = {caution.name: caution for caution in _ALL}
"""Every caution by its name."""

SELLING = (
    "You sell produce: a home remedy on produce for sale may be illegal. Use labelled products, "
    "and ask your extension service first."
)
"""Said in the place of the caution ``selling`` where the garden's settings say so."""

_SPRAY = ("label", "protect", "harvest", "dry leaves", "selling")
_OF_TASKS = {
    "prevent": _SPRAY,
    "spot-test": ("peroxide", *_SPRAY),
    "treat": ("peroxide", *_SPRAY),
    "burn-check": ("peroxide",),
    "burned": ("peroxide",),
    "choose": ("peroxide", "label"),
    "night": ("uv",),
    "pick": ("uv",),
    "isolate": ("isolate",),
}


def cautions_of(task_kind: str) -> tuple[str, ...]:
    """Return the names of the cautions that belong to a kind of task."""
    return _OF_TASKS.get(task_kind, ())


def said(
    names: Iterable[str], before: set[str], *, sells_produce: bool = False
) -> tuple[list[str], str]:
    """Return the cautions to say now: those new to the reader fully, the others as one reminder.

    Parameters
    ----------
    names : iterable of str
        Those that belong here.
    before : set of str
        Those already said; the new ones are added.
    sells_produce : bool
        Whether the grower sells.

    Returns
    -------
    full : list of str
        Sentences.
    reminder : str
        The brief forms of the others, joined; empty where there is none.
    """
    wanted = [CAUTIONS[name] for name in names]
    new = [caution for caution in wanted if caution.name not in before]
    known = [caution.brief for caution in wanted if caution.name in before]
    before.update(caution.name for caution in new)
    full = [SELLING if c.name == "selling" and sells_produce else c.full for c in new]
    return full, "; ".join(known)
