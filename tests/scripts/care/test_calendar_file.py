"""The calendar file, parsed by an independent library and imported as a phone would."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import icalendar
import pytest
import recurring_ical_events
from typer.testing import CliRunner

from models.care.records import Task
from models.garden.beds import Garden
from scripts.care.calendar_file import BadCalendarError, calendar_bytes
from scripts.cli import app
from scripts.garden.make import make_garden

ZONE = ZoneInfo("Europe/Berlin")
GARDEN = Garden("Behind the shed", "Europe/Berlin")
NOW = datetime(2026, 10, 1, 12, tzinfo=ZONE)
SPRAY = Task(
    "prevent:1", "prevent", "Spray A1 and A2 with soda; both sides of the leaves. In the morning.",
    "Every 14 days.", ("A1", "A2"), date(2026, 10, 12), "morning",
    cautions=("label", "protect"), repeat_days=14,
)  # fmt: skip
LOOK = Task("night:A1", "night", "Look at A1 with the UV torch.", "Droppings.", ("A1",),
            date(2026, 10, 2), "night")  # fmt: skip


def parsed(data):
    return icalendar.Calendar.from_ical(data)


def events(data):
    return {str(event["uid"]): event for event in parsed(data).walk("VEVENT")}


def occurrences(data, first, last):
    return [e["dtstart"].dt for e in recurring_ical_events.of(parsed(data)).between(first, last)]


class Phone:
    """A calendar that keeps, of each event, the version with the highest number (RFC 5546)."""

    def __init__(self):
        self.kept = {}

    def add(self, data):
        """Import a file."""
        for uid, event in events(data).items():
            held = self.kept.get(uid)
            if held is None or event["sequence"] >= held["sequence"]:
                self.kept[uid] = event
        return self

    def shown(self):
        """Return what the calendar shows, with its first time."""
        held = [e for e in self.kept.values() if e["status"] != "CANCELLED"]
        return {str(event["summary"]): event["dtstart"].dt for event in held}


def test_a_series_stays_at_seven_when_the_clocks_change():
    data = calendar_bytes(GARDEN, [SPRAY], NOW)
    # Clocks go back on 25 October: the second spray is in winter time.
    times = occurrences(data, date(2026, 10, 12), date(2026, 11, 24))
    assert [t.strftime("%Y-%m-%d %H:%M %z") for t in times] == [
        "2026-10-12 07:00 +0200",
        "2026-10-26 07:00 +0100",
        "2026-11-09 07:00 +0100",
        "2026-11-23 07:00 +0100",
    ]


def test_a_series_stays_at_seven_over_the_change_in_spring_and_ends_with_what_is_known():
    spring = replace(SPRAY, day=date(2027, 3, 22))
    times = occurrences(calendar_bytes(GARDEN, [spring], NOW), date(2027, 3, 1), date(2027, 8, 1))
    assert len(times) == 4  # six weeks on, later photos have led to a later plan
    (event,) = events(calendar_bytes(GARDEN, [spring], NOW)).values()
    assert "photo of each plant from the week before" in event["description"]
    assert {t.hour for t in times} == {7}
    assert {t.utcoffset() for t in times} == {timedelta(hours=1), timedelta(hours=2)}


def test_the_time_zone_travels_in_the_file():
    calendar = parsed(calendar_bytes(GARDEN, [SPRAY], NOW))
    (zone,) = calendar.walk("VTIMEZONE")
    assert str(zone["tzid"]) == "Europe/Berlin"
    (event,) = calendar.walk("VEVENT")
    assert event["dtstart"].params["TZID"] == "Europe/Berlin"


def test_each_event_has_what_the_standard_asks_for():
    calendar = parsed(calendar_bytes(GARDEN, [SPRAY, LOOK], NOW))
    assert str(calendar["version"]) == "2.0"
    assert "prodid" in calendar
    assert "method" not in calendar  # it would need an organiser: RFC 5546, 3.2.1
    for event in calendar.walk("VEVENT"):
        assert {"UID", "DTSTAMP", "DTSTART", "SUMMARY"} <= set(event)
        assert event["dtstamp"].dt.tzinfo is not None
        assert len(event["summary"]) <= 70
        assert event.errors == []


def test_lines_are_folded_and_end_as_the_standard_asks_for():
    data = calendar_bytes(GARDEN, [replace(SPRAY, why="ä" * 200)], NOW)
    lines = data.split(b"\r\n")
    assert b"\n" not in b"".join(lines)
    assert max(len(line) for line in lines) <= 75
    (event,) = events(data).values()
    assert "ä" * 200 in event["description"]


def test_cautions_stand_in_the_event():
    (event,) = events(calendar_bytes(GARDEN, [SPRAY], NOW)).values()
    assert "labels, local rules" in event["description"]
    assert "Why: Every 14 days." in event["description"]
    selling = replace(SPRAY, cautions=("selling",))
    (event,) = events(calendar_bytes(GARDEN, [selling], NOW, sells_produce=True)).values()
    assert "may be illegal" in event["description"]


def test_importing_again_moves_an_event_and_doubles_none():
    first = calendar_bytes(GARDEN, [SPRAY, LOOK], NOW)
    moved = replace(SPRAY, day=date(2026, 10, 14))
    second = calendar_bytes(GARDEN, [moved, LOOK], NOW + timedelta(days=1))
    assert events(first).keys() == events(second).keys()
    phone = Phone().add(first).add(second).add(first)  # an old file by mistake, last
    assert len(phone.shown()) == 2
    assert datetime(2026, 10, 14, 7, tzinfo=ZONE) in phone.shown().values()


def test_two_files_of_one_hour_differ_in_their_number():
    numbers = [
        next(iter(events(calendar_bytes(GARDEN, [SPRAY], at)).values()))["sequence"]
        for at in (NOW, NOW + timedelta(seconds=1), NOW + timedelta(days=3650))
    ]
    assert numbers == sorted(set(numbers))
    assert max(numbers) < 2**31


def test_what_is_no_longer_planned_is_cancelled():
    first = calendar_bytes(GARDEN, [SPRAY, LOOK], NOW)
    later = NOW + timedelta(hours=1)
    second = calendar_bytes(GARDEN, [LOOK], later, earlier=[first])
    shown = Phone().add(first).add(second).shown()
    assert list(shown) == ["Look at A1 with the UV torch"]
    # And stays cancelled for someone who imports only the third file.
    third = calendar_bytes(GARDEN, [LOOK], later + timedelta(hours=1), earlier=[second])
    assert list(Phone().add(first).add(third).shown()) == ["Look at A1 with the UV torch"]


def test_what_was_planned_for_this_morning_is_cancelled_at_noon():
    first = calendar_bytes(GARDEN, [replace(SPRAY, day=NOW.date(), repeat_days=None)], NOW)
    second = calendar_bytes(GARDEN, [], NOW.replace(hour=13), earlier=[first])
    (event,) = events(second).values()
    assert str(event["status"]) == "CANCELLED"
    # Also read by a calendar that passes over the status.
    assert str(event["summary"]).startswith("No longer planned: Spray A1 and A2")
    third = calendar_bytes(GARDEN, [], NOW.replace(hour=14), earlier=[second])
    assert str(next(iter(events(third).values()))["summary"]).count("No longer planned") == 1


def test_an_event_never_turns_into_one_for_another_plant():
    """The same task in the plan, for the plant that took the other's place."""
    test = replace(LOOK, key="spot-test:1", kind="spot-test", what="Spot-test A1.")
    other = replace(test, plants=("A2",), what="Spot-test A2.")
    first = calendar_bytes(GARDEN, [test], NOW)
    second = calendar_bytes(GARDEN, [other], NOW + timedelta(hours=1), earlier=[first])
    (uid,) = events(first)
    assert str(events(second)[uid]["status"]) == "CANCELLED"
    assert list(Phone().add(first).add(second).shown()) == ["Spot-test A2"]


def test_an_event_keeps_its_name_whatever_the_order_of_its_plants():
    turned = replace(SPRAY, plants=SPRAY.plants[::-1])
    one, two = (events(calendar_bytes(GARDEN, [task], NOW)).keys() for task in (SPRAY, turned))
    assert one == two


def test_a_plan_made_as_of_an_earlier_time_still_counts():
    """A phone keeps the version with the highest number, not the one that was written last."""
    first = calendar_bytes(GARDEN, [LOOK], NOW)
    moved = replace(LOOK, day=date(2026, 10, 3))
    second = calendar_bytes(GARDEN, [moved], NOW - timedelta(days=3), earlier=[first])
    shown = Phone().add(first).add(second).shown()
    assert list(shown.values()) == [datetime(2026, 10, 3, 22, tzinfo=ZONE)]


def test_a_series_that_has_ended_is_not_cancelled_for_ever():
    first = calendar_bytes(GARDEN, [SPRAY], NOW)
    last = datetime(2026, 10, 12, 12, tzinfo=ZONE) + timedelta(days=3 * SPRAY.repeat_days)
    during = calendar_bytes(GARDEN, [], last, earlier=[first])
    assert [str(e["status"]) for e in events(during).values()] == ["CANCELLED"]
    after = calendar_bytes(GARDEN, [], last + timedelta(days=1), earlier=[during])
    assert events(after) == {}


@pytest.mark.parametrize(
    "what",
    [
        "Spray all plants with the preventive soda mix, over the top and on the undersides.",
        "Photograph " + ", ".join(f"A{n}" for n in range(1, 40)) + " and B1: three leaves of each.",
        "Photograph the plant of the extraordinarily long and well-known name A17 and B1 and B2.",
    ],
)
def test_a_long_title_ends_with_a_whole_word(what):
    (event,) = events(calendar_bytes(GARDEN, [replace(LOOK, what=what)], NOW)).values()
    title = str(event["summary"])
    words = title.removesuffix("…")
    assert len(title) <= 70
    assert title != words
    assert what.startswith(words)
    assert not what[len(words)].isalnum()
    assert words.split()[-1] != "and"


def test_what_is_over_is_left_as_it_was():
    first = calendar_bytes(GARDEN, [LOOK], NOW)
    second = calendar_bytes(GARDEN, [], NOW + timedelta(days=30), earlier=[first])
    assert events(second) == {}


def test_a_file_with_events_of_others_is_not_replaced():
    other = b"\r\n".join([
        b"BEGIN:VCALENDAR", b"VERSION:2.0", b"PRODID:x", b"BEGIN:VEVENT", b"UID:dentist",
        b"DTSTAMP:20261001T000000Z", b"DTSTART:20301001T080000Z", b"END:VEVENT", b"END:VCALENDAR",
        b"",
    ])  # fmt: skip
    with pytest.raises(BadCalendarError, match="not of a plan"):
        calendar_bytes(GARDEN, [LOOK], NOW, earlier=[other])


def test_gardens_do_not_share_events():
    other = replace(GARDEN, name="Allotment")
    ours, theirs = (events(calendar_bytes(g, [SPRAY], NOW)).keys() for g in (GARDEN, other))
    assert not ours & theirs


def test_a_locked_task_begins_when_its_lock_ends():
    at = datetime(2026, 10, 3, 9, 30, tzinfo=ZONE)
    task = replace(LOOK, key="burn-check:4", part="morning", day=at.date(), not_before=at)
    (event,) = events(calendar_bytes(GARDEN, [task], NOW)).values()
    assert event["dtstart"].dt.astimezone(UTC) == at.astimezone(UTC)


def test_a_file_that_is_no_calendar_is_not_replaced_silently():
    with pytest.raises(BadCalendarError):
        calendar_bytes(GARDEN, [LOOK], NOW, earlier=[b"notes: buy soda"])


def test_the_plan_command_writes_a_calendar_and_replaces_it(tmp_path):
    make_garden(tmp_path / "garden", ["North=A1,A2"], time_zone="Europe/Berlin")
    words = ["plan", "--garden", str(tmp_path / "garden"), "--ics", str(tmp_path / "plan.ics")]
    found = []
    for at in ("2026-06-01 06:00", "2026-06-01 06:30"):
        result = CliRunner().invoke(app, [*words, "--at", at])
        assert result.exit_code == 0, result.output
        found.append(events((tmp_path / "plan.ics").read_bytes()))
    assert found[0]
    assert found[0].keys() == found[1].keys()
    # Another file, and a bed that was taken out: the garden knows what went out before.
    settings = tmp_path / "garden" / "garden.toml"
    settings.write_text(settings.read_text("utf-8").replace('"A2"', '""'), "utf-8")
    words[-1] = str(tmp_path / "other.ics")
    result = CliRunner().invoke(app, [*words, "--at", "2026-06-01 06:45"])
    assert result.exit_code == 0, result.output
    other = events((tmp_path / "other.ics").read_bytes())
    gone = [uid for uid, event in other.items() if event["status"] == "CANCELLED"]
    assert gone
    assert set(gone) <= set(found[1])
    assert all("A2" not in e["summary"] for uid, e in other.items() if uid not in gone)
    words[-1] = str(tmp_path / "plan.ics")
    (tmp_path / "plan.ics").write_text("my notes")
    refused = CliRunner().invoke(app, [*words, "--at", "2026-06-01 07:00"])
    assert (refused.exit_code, len(refused.stderr.splitlines())) == (1, 1)
    assert (tmp_path / "plan.ics").read_text() == "my notes"
