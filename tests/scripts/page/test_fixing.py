"""What is put right on the page counts at once, beside the measurement, and is undone."""

import re

import pytest

from models.journal import open_journal
from scripts.page.views.fix import BadMarksError, marks_in
from tests.scripts.page.conftest import hashes_in, run, token_of


@pytest.fixture
def sha256(client):
    return hashes_in(client.get("/plant/A1").text)[0]


@pytest.fixture
def fix(client, sha256):
    """Send a correction as the page would; return the page that follows."""

    def send(what="", **fields):
        form = {"csrf": token_of(client), "what": what, "seen": edition(client, sha256), **fields}
        return client.post(f"/photo/{sha256}/fix", data=form)

    return send


def edition(client, sha256):
    return re.search(r'name="seen" value="([^"]*)"', client.get(f"/photo/{sha256}").text)[1]


def reading(folder, sha256):
    with open_journal(folder) as journal:
        return journal.corrected(sha256)


def undo(client, page):
    path = re.search(r'action="(/photo/[0-9a-f]{64}/undo/\d+)"', page.text)[1]
    return client.post(path, data={"csrf": token_of(client)})


def test_a_rejected_lesion_no_longer_counts_and_counts_again_when_undone(
    client, folder, sha256, fix
):
    before = reading(folder, sha256).photo
    button = re.search(r'value="(not_lesion@[^"]+)"', client.get(f"/photo/{sha256}").text)[1]
    page = fix(tap=button)
    after = reading(folder, sha256).photo
    assert after.lesion_count == before.lesion_count - 1
    assert after.severity_pct < before.severity_pct
    assert 'class="rejected"' in page.text
    assert "Put right: no lesion at" in page.text
    assert "Taken back" in undo(client, page).text
    assert reading(folder, sha256).photo == before


def test_a_missed_lesion_is_added_where_it_was_tapped(client, folder, sha256, fix):
    before = reading(folder, sha256).photo
    page = fix("lesion", marks="180,110")
    after = reading(folder, sha256).photo
    assert after.lesion_count == before.lesion_count + 1
    assert after.severity_pct > before.severity_pct
    assert page.text.count("added by hand") == 1


def test_an_outline_that_was_redrawn_is_measured_anew(client, folder, sha256, fix):
    before = reading(folder, sha256).photo
    page = fix("outline", marks="100,150;100,330;260,330;260,150")
    after = reading(folder, sha256)
    assert "outline redrawn with 4 points" in page.text
    assert after.photo.leaves[0].area_px < before.leaves[0].area_px
    assert after.photo.severity_pct != before.severity_pct
    assert after.measured.severity_pct == before.severity_pct


def test_a_pattern_that_was_changed_leads_to_another_status_and_plan(client, folder, fix):
    before = run("flag", "A1", "--at", "2025-07-31 07:00", "--garden", folder)
    page = fix("pattern", value="blight late")
    after = run("flag", "A1", "--at", "2025-07-31 07:00", "--garden", folder)
    assert "isolate" in after
    assert "isolate" not in before
    assert "isolate" in client.get("/beds").text
    assert "Isolate A1" in client.get("/").text
    undo(client, page)
    assert run("flag", "A1", "--at", "2025-07-31 07:00", "--garden", folder) == before
    assert "Isolate A1" not in client.get("/").text


def test_a_photo_that_is_not_to_be_used_counts_nowhere_until_that_is_undone(client, folder, fix):
    before = client.get("/beds").text
    page = fix("unused", reason="My thumb is on it.")
    assert "is not to be used" in page.text
    assert "My thumb is on it." in page.text
    assert client.get("/beds").text != before
    undo(client, page)
    assert client.get("/beds").text == before


def test_a_photo_that_was_taken_out_is_hidden_listed_and_taken_in_again(client, sha256, fix):
    page = fix("removed")
    assert sha256 not in client.get("/plant/A1").text
    assert sha256 in client.get("/beds").text.split("Taken out of the record")[1]
    assert client.get(f"/picture/small/{sha256}.jpg").status_code == 200
    undo(client, page)
    assert sha256 in client.get("/plant/A1").text


def test_a_photo_is_moved_to_its_plant_and_its_date_put_right(client, folder, sha256, fix):
    fix("plant", value="A2")
    assert sha256 in client.get("/plant/A2").text
    fix("taken", value="2025-07-28 09:00")
    assert "Mon 28 Jul 09:00" in client.get(f"/photo/{sha256}").text


def test_of_two_people_the_second_is_asked_to_look_again(client, folder, sha256, fix):
    seen = edition(client, sha256)
    fix("lesion", marks="180,110")
    held = reading(folder, sha256).photo
    form = {"csrf": token_of(client), "what": "lesion", "marks": "200,300", "seen": seen}
    answer = client.post(f"/photo/{sha256}/fix", data=form)
    assert "since you looked at it" in answer.text
    assert reading(folder, sha256).photo == held


@pytest.mark.parametrize(
    ("what", "fields", "said"),
    [
        ("not_lesion", {"marks": "1,1"}, "No lesion that was counted lies there"),
        ("lesion", {"marks": "-5,20"}, "outside the photo"),
        ("lesion", {"marks": "1e999,20"}, "could not be read"),
        ("lesion", {"marks": "here"}, "could not be read"),
        ("outline", {"marks": "1,1;2,2"}, "An outline has 3"),
        ("plant", {"value": "Z9"}, "has no plant"),
        ("taken", {"value": "soon"}, "is no time"),
        ("pattern", {"value": "<script>"}, "is no pattern"),
        ("everything", {}, "Nothing of that kind"),
    ],
)
def test_what_cannot_be_put_right_is_said_and_changes_nothing(
    folder, sha256, fix, what, fields, said
):
    before = reading(folder, sha256)
    page = fix(what, **fields)
    assert said in page.text
    assert "<script>" not in page.text
    assert reading(folder, sha256).photo == before.photo


def test_the_same_is_done_by_the_command(client, folder, sha256, fix):
    fix("not_leaf")
    said = run("fix", reading(folder, sha256).photo.photo, "--garden", folder)
    assert "no leaf" in said


@pytest.mark.parametrize("text", ["1", "1,2,3,4", "nan,2", "1,2;x"])
def test_places_that_are_none_are_refused(text):
    with pytest.raises(BadMarksError):
        marks_in(text)
