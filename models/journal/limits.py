"""What the values of each column may be: what comes in from elsewhere is held against it."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, get_args

from models.corrections import FIXED
from models.entries import FindKind, LogKind, Mode, PlantFrom, TakenFrom

__all__ = ["ANY", "HIGHEST_NUMBER", "Limits", "limits_of"]

HIGHEST_NUMBER = 2**31 - 1  # of a whole number in any database
_LARGEST = 1e9
_SLACK = 1e-6  # what adding up percentages may leave over
_TAGS = 586
_YEARS = (1989, 2100)  # photos are dated from 1990; a zone may move that into the year before

_PATTERNS = ("spot", "blight", "none", "unsure", "")
_BLIGHTS = ("early", "late", "unsure", "")


@dataclass(frozen=True)
class Limits:
    """What the values of one column may be.

    Attributes
    ----------
    least, most : float or None
        Ends of a number's range, both allowed.
    words : tuple of str
        The only texts; empty: any.
    form : str
        Regular expression of a text; empty: any.
    called : str
        What a text of that form is called.
    """

    least: float | None = None
    most: float | None = None
    words: tuple[str, ...] = ()
    form: str = ""
    called: str = ""

    def problem(self, value: Any) -> str:  # noqa: ANN401  whatever a column holds
        """Return what a value must be where it is not; empty where it is, or is none."""
        if isinstance(value, str):
            return self._text_problem(value)
        if isinstance(value, datetime):
            first, last = _YEARS
            return "" if first <= value.year <= last else f"its year must be {first} to {last}"
        if value is None or self.least is None or self.most is None:
            return ""
        inside = self.least - _SLACK <= value <= self.most + _SLACK
        return "" if inside else f"it must be from {self.least:.10g} to {self.most:.10g}"

    def _text_problem(self, value: str) -> str:
        if self.words and value not in self.words:
            return f"it must be {_either(self.words)}"
        if self.form and re.fullmatch(self.form, value) is None:
            return f"it must be {self.called}"
        return ""


ANY = Limits()
"""What may be anything of its kind; a time's year is looked at."""


def _either(words: tuple[str, ...]) -> str:
    named = [word or "empty" for word in words]
    return f"{', '.join(named[:-1])} or {named[-1]}" if len(named) > 1 else named[0]


_BY_NAME: Mapping[str, Limits] = {
    "taken_from": Limits(words=get_args(TakenFrom)),
    "plant_from": Limits(words=get_args(PlantFrom)),
    "old_from": Limits(words=tuple(dict.fromkeys((*get_args(TakenFrom), *get_args(PlantFrom))))),
    "mode": Limits(words=get_args(Mode)),
    "kind": Limits(words=get_args(LogKind)),
    "what": Limits(words=FIXED),
    "pattern": Limits(words=_PATTERNS),
    "blight_kind": Limits(words=_BLIGHTS),
    "sha256": Limits(form="[0-9a-f]{64}", called="64 hexadecimal digits"),
    "flags": Limits(form=r"|[a-z0-9_]+(;[a-z0-9_]+)*", called="names of flags"),
    "name": Limits(form=r"(?s).+", called="a name"),
    "tag": Limits(1, _TAGS),
    "amount": Limits(0, _LARGEST),
    **dict.fromkeys(
        ("id", "number", "photo_id", "reading_id", "corrects", "leaf", "lesion", "position"),
        Limits(1, HIGHEST_NUMBER),
    ),
    **dict.fromkeys(("row", "place", "width_px", "height_px"), Limits(1, HIGHEST_NUMBER)),
}
_BY_TABLE: Mapping[tuple[str, str], Limits] = {
    ("corrections", "pattern"): Limits(words=("spot", "blight", "none", "other")),
    ("corrections", "blight_kind"): Limits(words=("early", "late", "")),
    ("finds", "kind"): Limits(words=get_args(FindKind)),
}
_BY_KIND: Mapping[str, Limits] = {
    "integer": Limits(0, HIGHEST_NUMBER),
    "number": Limits(-_LARGEST, _LARGEST),
}
_BY_UNIT: Mapping[str, Limits] = {
    "%": Limits(0, 100),
    "1": Limits(0, 1),
    **dict.fromkeys(("px", "px2", "mm/px"), Limits(0, _LARGEST)),
}


def limits_of(table: str, name: str, kind: str, unit: str) -> Limits:
    """Return what a column's values may be.

    Parameters
    ----------
    table, name : str
        Of the journal's tables.
    kind : str
        Of its values: ``integer``, ``number``, or another one.
    unit : str
        As in ``models.journal.tables``.
    """
    usual = _BY_KIND.get(kind, ANY)
    return _BY_TABLE.get((table, name)) or _BY_NAME.get(name) or _BY_UNIT.get(unit) or usual
