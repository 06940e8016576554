"""What the values of an imported row must be beside each other, and beside the rows before."""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from models.care.burn_log import BadVerdictError, verdict_of
from models.care.habits import HABITS
from models.care.signs import SIGNS
from models.corrections import PATTERNS
from models.entries import LogEntry
from models.journal.limits import ANY

__all__ = ["Problem", "row_check"]

Row = Mapping[str, Any]

Problem = tuple[str, str] | None
"""Name of a column, and what its value must be."""


def _log_check() -> Callable[[Row], Problem]:
    def find(row: Row) -> Problem:
        if (row["corrects"] or 0) >= row["number"]:
            return "corrects", "it must be the number of an earlier entry"
        if row["kind"] in _TEXTS_OF and row["text"] not in _TEXTS_OF[row["kind"]]:
            return "text", f"it must be one of {', '.join(sorted(_TEXTS_OF[row['kind']]))}"
        if row["kind"] == "burn_check" and not row["withdrawn"] and not _is_verdict(row):
            return "text", "it must be the verdict of a burn check"
        return None

    return find


_TEXTS_OF: Mapping[str, frozenset[str]] = {
    "seen": frozenset(SIGNS),
    "decline": frozenset(habit.name for habit in HABITS),
}


def _is_verdict(row: Row) -> bool:
    # Its plant stands in another table.
    entry = LogEntry(row["number"], "burn_check", row["at"].replace(tzinfo=UTC), ("A1",))
    try:
        verdict_of(replace(entry, text=row["text"]))
    except BadVerdictError:
        return False
    return True


def _readings_check() -> Callable[[Row], Problem]:
    current: set[int] = set()

    def find(row: Row) -> Problem:
        if row["is_current"] and row["photo_id"] in current:
            return "is_current", "one reading of a photo is the current one"
        current.update([row["photo_id"]] if row["is_current"] else [])
        return None

    return find


def _fixes_check() -> Callable[[Row], Problem]:
    def find(row: Row) -> Problem:
        for name in ("value", "old") if row["what"] == "taken" else ():
            try:
                moment = datetime.fromisoformat(row[name])
            except ValueError:
                return name, "it must be a time"
            if moment.tzinfo is not None or ANY.problem(moment):
                return name, "it must be a time in UTC, without a zone"
        if row["what"] == "pattern" and row["value"] not in PATTERNS:
            return "value", f"it must be one of {', '.join(PATTERNS)}"
        return None

    return find


_ROW_CHECKS: Mapping[str, Callable[[], Callable[[Row], Problem]]] = {
    "log": _log_check,
    "readings": _readings_check,
    "fixes": _fixes_check,
}


def row_check(table: str) -> Callable[[Row], Problem]:
    """Return a function that looks at the rows of a table, one after the other."""
    return _ROW_CHECKS[table]() if table in _ROW_CHECKS else lambda row: None
