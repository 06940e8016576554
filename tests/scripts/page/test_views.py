"""Each page says what the commands say, in the same words."""

import json
from datetime import timedelta
from urllib.parse import quote

import pytest
from icalendar import Calendar
from markupsafe import escape
from starlette.testclient import TestClient

from models.care.burn_log import entry_of
from models.care.records import BurnVerdict
from models.entries import LogEntry
from models.garden.settings import GARDEN_FILE, garden_text
from models.journal import open_journal
from scripts.care.views import flag_view, today_view
from scripts.page.app import garden_app
from scripts.page.guard import SCHEME
from scripts.page.standing import Desk
from scripts.page.templating import in_two
from tests.scripts.page.conftest import AT, HOME, PORT, hashes_in, run
from vision.flags import FLAGS

VIEWS = (
    *(
        "/",
        "/beds",
        "/plant/A1",
        "/plant/B1",
        "/night",
        "/log",
        "/mix",
        "/mix?recipe=soda&water=2l",
    ),
    *("/weather", "/calendar", "/add", "/add?plant=A1", "/log?plants=A1"),
)


def in_one_line(text):
    return " ".join(text.split())


def plain(page):
    """Return a page's words as they are read."""
    import html5lib

    tree = html5lib.parse(page.text, namespaceHTMLElements=False)
    return in_one_line(" ".join(tree.find("body").itertext()))


@pytest.mark.parametrize("path", VIEWS)
def test_each_view_is_whole_html_without_script_of_its_own(client, path):
    import html5lib

    page = client.get(path)
    assert page.status_code == 200
    html5lib.HTMLParser(strict=True).parse(page.text)
    assert "<script>" not in page.text
    assert " style=" not in page.text
    assert "onclick" not in page.text


def test_today_says_the_tasks_reasons_and_cautions_of_the_command(client, folder):
    said = plain(client.get("/"))
    told = today_view(folder, AT)
    tasks = [part.split("[ ]")[-1] for part in told.split("Take care")[0].split("\n  [ ]")[1:]]
    assert tasks
    for task in tasks:
        reason = in_one_line(task).split("Why: ")[1].split(" Photo: ")[0]
        assert reason in said
    for caution in told.split("Take care")[1].split("\n  - ")[1:]:
        assert in_one_line(caution) in said


def test_each_bed_shows_its_plants_with_the_status_and_severity_of_the_command(client, folder):
    said = plain(client.get("/beds"))
    told = flag_view(folder, (), AT)
    for plant in ("A1", "A2", "B1"):
        line = next(line for line in told.split("\n") if f" {plant} " in line[:12])
        status = line[12:31].strip()
        assert f"{status}" in said.split(plant)[1]
    assert said.index("North") < said.index("A1") < said.index("A2") < said.index("South")


def test_a_plant_shows_what_its_status_rests_on_its_photos_and_what_was_done(client):
    page = client.get("/plant/A1")
    said = plain(page)
    assert "Tied up." in said
    assert "rain" in said
    assert len(hashes_in(page.text)) == 2
    assert "2, newest first" in said


def test_a_photo_shows_each_lesion_of_the_record_as_an_outline_and_as_a_row(client, folder):
    sha256 = hashes_in(client.get("/plant/A1").text)[0]
    page = client.get(f"/photo/{sha256}").text
    marks = page.count('id="m-lesion-')
    assert marks == page.count('id="r-lesion-') > 3
    assert page.count('href="#m-lesion-1-1"') == page.count('href="#r-lesion-1-1"') == 1
    assert 'id="show-leaf"' in page


def test_a_picture_is_a_jpeg_no_larger_than_its_size(client):
    sha256 = hashes_in(client.get("/plant/A1").text)[0]
    small = client.get(f"/picture/small/{sha256}.jpg")
    assert small.headers["content-type"] == "image/jpeg"
    assert small.content[:2] == b"\xff\xd8"
    assert len(small.content) < len(client.get(f"/picture/large/{sha256}.jpg").content)


def test_every_flag_of_a_photo_is_said_in_words(client, desk):
    standing = desk.standing()
    flagged = [photo for photo in standing.entries(standing.told.photos) if photo.flags]
    assert flagged
    said = plain(client.get(f"/photo/{flagged[0].sha256}"))
    for name in flagged[0].flags:
        assert FLAGS[name].sentence in said


def test_the_calendar_holds_the_tasks_of_the_plan(client, desk):
    page = client.get("/calendar").text
    address = page.split('id="address" value="')[1].split('"')[0]
    data = client.get(address.replace("&amp;", "&")).content
    events = Calendar.from_ical(data).walk("VEVENT")
    assert len(events) == len(desk.standing().plan.tasks) > 0


def test_the_first_view_is_light(client):
    """Everything but pictures that the start page loads."""
    page = client.get("/")
    loaded = [page, client.get("/static/looks.css")]
    assert sum(len(one.content) for one in loaded) < 150_000
    assert "<script" not in page.text


def test_a_mix_is_that_of_the_command(client):
    said = plain(client.get("/mix?recipe=peroxide&water=2l&bottle=3%25"))
    told = run("mix", "peroxide", "--water", "2l", "--bottle", "3%")
    for line in told.split("- ")[1:]:
        assert in_one_line(line) in said
    assert in_one_line(told.split("measure")[1].split("\n")[0]) in said


def test_a_mix_that_must_not_be_is_refused_with_the_sentence_of_the_command(client):
    said = plain(client.get("/mix?recipe=peroxide&water=2l&bottle=12%25"))
    assert "3 %" in said
    assert "measure" not in said


def test_a_plant_that_is_not_there_is_named(client):
    page = client.get("/plant/Z9")
    assert page.status_code == 409
    assert "has no plant “Z9”" in page.text


def test_pages_follow_the_record_at_once(client, folder):
    before = plain(client.get("/plant/A1"))
    run("log", "note", "Seen by the owl.", "A1", "--at", "2025-07-30 20:00", "--garden", folder)
    after = plain(client.get("/plant/A1"))
    assert "Seen by the owl." not in before
    assert "Seen by the owl." in after


def test_the_look_that_is_chosen_stays(client, send):
    assert 'data-look="night"' not in client.get("/").text
    send(client, "/look", look="night", back="/beds")
    assert 'data-look="night"' in client.get("/").text
    send(client, "/look", look="light", back="/beds")
    assert 'data-look="light"' in client.get("/").text


def test_the_night_round_is_dark_unless_another_look_is_chosen(client, send):
    assert 'data-look="night"' in client.get("/night").text
    send(client, "/look", look="light", back="/night")
    assert 'data-look="light"' in client.get("/night").text


def test_rain_is_said_in_the_gardens_units(client, folder):
    settings = folder / "garden.toml"
    settings.write_text(
        settings.read_text("utf-8").replace('units = "metric"', 'units = "US"'), "utf-8"
    )
    assert "0.47 in" in plain(client.get("/plant/A1"))


def test_arrivals_are_a_list_for_the_pages_module(client):
    assert json.loads(client.get("/arrivals.json").content) == []


def test_a_photo_of_a_burn_check_shows_its_verdict_with_before_and_after(client, folder):
    with open_journal(folder) as journal:
        before, after = sorted(journal.photos(plant="A1"), key=lambda p: p.taken_at)
        sprayed_at = before.taken_at + timedelta(days=1)
        number = journal.log(LogEntry(0, "spray", sprayed_at, ("A1",), product="peroxide"))
        verdict = BurnVerdict(
            *("burned", "A1", number, after.taken_at, {"new_pct": 4.0}),
            *((before.photo,), (after.photo,), "Bleached patches where the spray dried."),
        )
        journal.log(entry_of(verdict))
    page = client.get(f"/photo/{after.sha256}").text
    pair = page.split("Burn check: burned. Bleached patches where the spray dried.")[1]
    shown = [pair.index(f"/picture/large/{one.sha256}.jpg") for one in (before, after)]
    assert shown == sorted(shown)


@pytest.mark.parametrize("name", ["طماطم-١", "עגבניה", "🍅🌿", "Urgrossmutters-" * 4])
def test_a_plant_of_any_name_has_its_tile_and_its_page(tmp_path, name):
    """A name that is written from the right leaves the words beside it in their order."""
    text = garden_text("Names", "Europe/Berlin", beds={"North": [["A1", name]]})
    (tmp_path / GARDEN_FILE).write_text(text, "utf-8")
    page = garden_app(Desk(tmp_path, AT, keeps_days=True), hosts={HOME}, port=PORT)
    with TestClient(page, base_url=f"{SCHEME}://{HOME}", client=("127.0.0.1", 5000)) as browser:
        for path in ("/", "/night", "/log", "/calendar"):
            assert browser.get(path).status_code == 200
        for path in ("/beds", f"/plant/{quote(name)}"):
            assert f"<bdi>{name}</bdi>" in browser.get(path).text


def test_a_long_reason_is_folded_after_its_first_sentence_and_whole_without_script(client, desk):
    page = client.get("/").text
    for task in (t for t in desk.standing().plan.tasks if t.day == desk.standing().season.today):
        first, rest = in_two(task.why)
        assert in_one_line(first) in plain(client.get("/"))
        assert not rest or f"<p>{escape(rest)}</p></details>" in page
    assert in_two("Short. And to the point.") == ("Short. And to the point.", "")
    assert in_two(f"One plant first. {'Then the others. ' * 20}")[0] == "One plant first."
