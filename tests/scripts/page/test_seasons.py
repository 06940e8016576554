"""A season that was closed is read on the page as it ended; the new one starts afresh."""

from models.journal import open_journal
from tests.scripts.page.conftest import hashes_in, run


def test_a_new_season_is_begun_by_a_tap_and_taken_back(client, folder, send):
    before = client.get("/beds").text
    assert "Begin a new season" in before
    page = send(client, "/season/new")
    assert "?season=2025" in page.text
    assert page.text.count("no photo") == 3
    assert "2025" in run("season", "--garden", folder)
    send(client, "/season/undo")
    assert client.get("/beds").text == before


def test_the_old_season_stays_to_be_read_as_it_ended(client, folder, send):
    now = client.get("/plant/A1").text
    send(client, "/season/new")
    assert hashes_in(client.get("/plant/A1").text) == []
    then = client.get("/plant/A1?season=2025").text
    assert hashes_in(then) == hashes_in(now)
    assert "season 2025, as it ended" in then
    beds = client.get("/beds?season=2025").text
    assert "/plant/A1?season=2025" in beds
    assert client.get(f"/photo/{hashes_in(then)[0]}").status_code == 200


def test_a_season_that_never_was_is_named(client):
    answer = client.get("/beds?season=1999")
    assert answer.status_code == 409
    assert "1999" in answer.text


def test_nothing_of_the_record_is_changed_by_reading_an_old_season(client, folder, send):
    send(client, "/season/new")
    with open_journal(folder) as journal:
        before = journal.log_entries(with_corrected=True), journal.photos()
    client.get("/beds?season=2025")
    client.get("/plant/B1?season=2025")
    with open_journal(folder) as journal:
        assert (journal.log_entries(with_corrected=True), journal.photos()) == before
