"""What is tapped and typed on the page is written as the commands write it, and undone."""

import re
from html import unescape

from models.journal import open_journal
from tests.scripts.page.conftest import run


def log_of(folder):
    with open_journal(folder) as journal:
        return [(e.kind, e.plants, e.product, e.text) for e in journal.log_entries()]


def forms_of(page, kind):
    """Return the fields of each form that goes to a path."""
    forms = re.findall(rf'<form method="post" action="{kind}".*?</form>', page, re.DOTALL)
    return [
        {n: unescape(v) for n, v in re.findall(r'name="([a-z]+)" value="([^"]*)"', form)}
        for form in forms
    ]


def test_a_tap_on_a_task_writes_what_the_command_would_and_is_undone(client, folder, send):
    before = log_of(folder)
    fields = forms_of(client.get("/").text, "/tick")[0]
    answer = send(client, "/tick", **fields)
    assert answer.status_code == 200  # led back to the page
    (entry,) = [entry for entry in log_of(folder) if entry not in before]
    assert entry[0] in ("spray", "seen", "note", "choice")
    assert "Logged:" in answer.text
    assert entry[1][0] in run("log", "--garden", folder)
    undo = re.search(r'action="(/log/\d+/withdraw)"', answer.text)[1]
    assert "Taken back:" in send(client, undo).text
    assert log_of(folder) == before


def test_a_task_that_is_gone_is_not_ticked_off(client, folder, send):
    before = log_of(folder)
    answer = send(client, "/tick", task="prevent:99", way="0")
    assert "no longer on the plan" in answer.text
    assert log_of(folder) == before


def test_an_entry_is_logged_with_the_words_of_the_command(client, folder, send):
    answer = send(client, "/log", kind="rain", what="5mm", at="2025-07-29 10:00")
    assert "rain 5 mm" in answer.text
    assert "rain 5 mm" in run("log", "--garden", folder)


def test_what_cannot_be_logged_is_refused_with_the_sentence_of_the_command(client, folder, send):
    before = log_of(folder)
    assert "how much rain?" in send(client, "/log", kind="rain", what="much").text.lower()
    assert (
        "no product known here"
        in send(client, "/log", kind="spray", what="perroxide", plants="A1").text
    )
    assert "has no plant" in send(client, "/log", kind="water", plants="Z9").text
    assert log_of(folder) == before


def test_an_entry_is_put_right_and_the_first_one_stays_behind(client, folder, send):
    with open_journal(folder) as journal:
        number = next(e.number for e in journal.log_entries() if e.kind == "rain")
    page = client.get(f"/log?correct={number}").text
    assert "rain 12mm" in page
    send(client, f"/log/{number}/correct", words="rain 20mm", at="2025-07-25 09:00")
    with open_journal(folder) as journal:
        held = [e for e in journal.log_entries() if e.kind == "rain"]
        every = [e for e in journal.log_entries(with_corrected=True) if e.kind == "rain"]
    assert [e.amount for e in held] == [20.0]
    assert sorted(e.amount for e in every) == [12.0, 20.0]


def test_a_note_with_an_apostrophe_is_kept_as_it_was_typed(client, folder, send):
    send(client, "/log", kind="note", what="Don't water it", plants="A1")
    assert ("note", ("A1",), "", "Don't water it") in log_of(folder)
