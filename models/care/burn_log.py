"""A burn check's verdict as an entry of the log, and back."""

import json
from datetime import datetime
from typing import get_args

from models.care.records import BurnVerdict, Verdict
from models.entries import LogEntry
from models.plain_json import read_json
from vision.errors import SpotlampError

__all__ = ["BEFORE_DAYS", "BadVerdictError", "entry_of", "verdict_of"]

BEFORE_DAYS = 3
"""Photos of so many days before a spray show what the plant looked like."""

_VERDICTS: dict[str, Verdict] = {verdict: verdict for verdict in get_args(Verdict)}


class BadVerdictError(SpotlampError):
    """A burn check's entry cannot be understood; the message is one sentence for people."""


def entry_of(verdict: BurnVerdict) -> LogEntry:
    """Return the log entry, not yet numbered, that keeps a verdict.

    Examples
    --------
    >>> from datetime import UTC, datetime
    >>> checked_at = datetime(2026, 6, 2, 8, tzinfo=UTC)
    >>> seen = BurnVerdict("burned", "A3", 12, checked_at, {"new_pct": 4.0})
    >>> verdict_of(entry_of(seen)) == seen
    True
    """
    kept = {
        "verdict": verdict.verdict,
        "spray": verdict.spray,
        "checked_at": verdict.checked_at.isoformat(),
        "figures": dict(verdict.figures),
        "before": verdict.before,
        "after": verdict.after,
        "reason": verdict.reason,
    }
    text = json.dumps(kept, ensure_ascii=False, sort_keys=True)
    return LogEntry(0, "burn_check", verdict.checked_at, (verdict.plant,), text=text)


def verdict_of(entry: LogEntry) -> BurnVerdict:
    """Return the verdict that an entry of kind ``burn_check`` keeps.

    Raises
    ------
    BadVerdictError
        When the entry holds no such verdict.
    """
    try:
        kept = read_json(entry.text)
        return BurnVerdict(
            verdict=_VERDICTS[kept["verdict"]],
            plant=entry.plants[0],
            spray=int(kept["spray"]),
            checked_at=datetime.fromisoformat(kept["checked_at"]).astimezone(entry.at.tzinfo),
            figures={str(name): float(value) for name, value in kept["figures"].items()},
            before=tuple(kept["before"]),
            after=tuple(kept["after"]),
            reason=str(kept["reason"]),
        )
    except (ValueError, KeyError, IndexError, TypeError, AttributeError, OverflowError) as error:
        raise BadVerdictError(
            f"Log entry {entry.number} should hold a burn check but cannot be read."
        ) from error
