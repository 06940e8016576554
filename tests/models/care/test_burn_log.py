"""A burn check's verdict goes into the log and comes back whole."""

from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest

from models.care import BadVerdictError, BurnVerdict, entry_of, verdict_of
from models.entries import LogEntry

BERLIN = ZoneInfo("Europe/Berlin")
SEEN = BurnVerdict(
    "no burn seen",
    "A3",
    12,
    datetime(2026, 6, 2, 8, 5, tzinfo=BERLIN),
    {"new_pale_pct": 0.1, "unsprayed_pct": 0.2},
    ("A3/before.jpg",),
    ("A3/after.jpg",),
    "No new pale tissue – 0.1 %.",
)


@pytest.mark.parametrize("verdict", ["burned", "no burn seen", "cannot tell"])
def test_each_verdict_comes_back_from_the_log_as_it_was(verdict):
    seen = replace(SEEN, verdict=verdict)
    assert verdict_of(entry_of(seen)) == seen
    assert entry_of(seen).kind == "burn_check"
    assert entry_of(seen).plants == ("A3",)


@pytest.mark.parametrize(
    "text", ["", "looked fine", "{}", "[]", '{"verdict": "safe", "spray": 1}', '{"spray": "x"}']
)
def test_an_entry_without_a_verdict_is_refused_by_its_number(text):
    entry = LogEntry(7, "burn_check", SEEN.checked_at, ("A3",), text=text)
    with pytest.raises(BadVerdictError, match="Log entry 7"):
        verdict_of(entry)
