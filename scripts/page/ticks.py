"""What a tap on a task writes: the words that would be typed after ``spotlamp log``."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from models.care.records import Task
from models.care.season import Season
from models.care.words import joined

__all__ = ["Tick", "ticks_of"]


@dataclass(frozen=True)
class Tick:
    """One way to tick a task off.

    Attributes
    ----------
    label : str
        On the button.
    words : tuple of str
        As after ``spotlamp log``.
    asks : str
        What number is asked for, put in the place of the second word; empty where none is.
    usual : str
        The number to begin with.
    ends : bool
        Whether it is what ends the task, not what is done about it first.
    """

    label: str
    words: tuple[str, ...]
    asks: str = ""
    usual: str = ""
    ends: bool = True

    def said(self, number: str = "") -> tuple[str, ...]:
        """Return the words with the number that was asked for."""
        if not self.asks:
            return self.words
        return (self.words[0], number.strip() or self.usual, *self.words[2:])


def ticks_of(task: Task, season: Season) -> tuple[Tick, ...]:
    """Return the ways in which a task is ticked off; none where only photos do it."""
    if task.kind == "pick":
        return (_picked(task, season),)
    make = _TICKS.get(task.kind)
    return make(task) if make else ()


def _sprayed(task: Task) -> tuple[Tick, ...]:
    return (Tick(f"Sprayed {joined(task.plants)}", ("spray", task.product, *task.plants)),)


def _isolated(task: Task) -> tuple[Tick, ...]:
    plants, names = task.plants, joined(task.plants)
    return (
        Tick(f"{names} is kept apart", ("note", "Isolated: kept apart.", *plants), ends=False),
        Tick("It is over: a clinic says so, or it stands again", ("seen", "cleared", *plants)),
        Tick(f"{names} was taken out", ("seen", "gone", *plants)),
    )


def _looked_for_burn(task: Task) -> tuple[Tick, ...]:
    return (
        Tick("Looked: no burn seen", ("seen", "no-burn", *task.plants)),
        Tick("Looked: burned", ("seen", "burned", *task.plants)),
    )


def _picked(task: Task, season: Season) -> Tick:
    """Ask for the number, which is rarely the one that was counted the night before."""
    looks = [season.nights[plant][-1] for plant in task.plants if season.nights.get(plant)]
    usual = str(sum(look.count for look in looks) or 1)
    return Tick("Picked", ("pick", "", *task.plants), asks="Caterpillars picked", usual=usual)


_TICKS: Mapping[str, Callable[[Task], tuple[Tick, ...]]] = {
    "prevent": _sprayed,
    "treat": _sprayed,
    "spot-test": _sprayed,
    "burn-check": _looked_for_burn,
    "burned": lambda task: (Tick("Rinsed", ("note", "Rinsed with water.", *task.plants)),),
    "choose": lambda task: tuple(Tick(f"Test {p} first", ("choose", p)) for p in task.plants),
    "isolate": _isolated,
    "night": lambda task: (
        Tick("Looked at night: none found", ("seen", "no-caterpillars", *task.plants)),
    ),
}
"""By the kind of task. A task to photograph is ticked off by photos, one that lapses by time."""
