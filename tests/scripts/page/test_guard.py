"""Other sites, other names and other folders get nothing, and change nothing."""

import re

import pytest
from starlette.testclient import TestClient

from models.journal import open_journal
from scripts.page.app import garden_app, is_own_path
from scripts.page.guard import SCHEME
from tests.scripts.page.conftest import HOME, PORT, hashes_in, paint_leaf, run, token_of

HOSTILE = '<script>alert("1")</script><img src=x onerror=alert(1)>'
CHANGES = (*("/tick", "/log", "/log/1/withdraw", "/log/1/correct", "/look", "/add", "/enter"),)
ELSEWHERE = f"{SCHEME}://elsewhere.example"


def count_of(folder):
    with open_journal(folder) as journal:
        return len(journal.log_entries(with_corrected=True))


@pytest.mark.parametrize("path", ["/", "/beds", "/static/looks.css", "/add", "/no-such-page"])
def test_every_answer_forbids_what_is_not_ours(client, path):
    headers = client.get(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "script-src 'self'" in policy
    assert "unsafe" not in policy
    assert "frame-ancestors 'none'" in policy
    assert headers["x-content-type-options"] == "nosniff"


def test_cookies_are_kept_from_scripts_and_from_other_sites(client):
    cookie = client.get("/").headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=lax" in cookie


@pytest.mark.parametrize(
    "host", ["elsewhere.example", f"elsewhere.example:{PORT}", "127.0.0.1", "127.0.0.1:1", ""]
)
def test_another_name_for_this_computer_is_refused(client, host):
    answer = client.get("/beds", headers={"host": host})
    assert answer.status_code == 421
    assert "A1" not in answer.text


@pytest.mark.parametrize("path", CHANGES)
@pytest.mark.parametrize(
    "origin", [ELSEWHERE, "null", f"{SCHEME}s://{HOME}", f"{SCHEME}://{HOME}.example"]
)
def test_a_change_that_another_site_asks_for_is_refused(client, folder, path, origin):
    before, token = count_of(folder), token_of(client)
    fields = {"csrf": token, "kind": "rain", "what": "5mm", "task": "x", "words": "rain 5mm"}
    answer = client.post(path, data=fields, headers={"origin": origin})
    assert answer.status_code == 403
    assert count_of(folder) == before


def test_a_browser_that_says_the_form_came_from_elsewhere_is_believed(client, folder):
    before, token = count_of(folder), token_of(client)
    fields = {"csrf": token, "kind": "rain", "what": "5mm"}
    answer = client.post("/log", data=fields, headers={"sec-fetch-site": "cross-site"})
    assert answer.status_code == 403
    assert count_of(folder) == before


@pytest.mark.parametrize("path", CHANGES)
@pytest.mark.parametrize("token", ["", "0" * 64, "é"])
def test_a_change_without_the_forms_token_is_refused(client, folder, path, token):
    before = count_of(folder)
    client.get("/")
    fields = {"csrf": token, "kind": "rain", "what": "5mm", "words": "rain 5mm"}
    assert client.post(path, data=fields).status_code == 403
    assert count_of(folder) == before


def test_the_token_of_another_device_is_refused(client, desk, folder):
    before = count_of(folder)
    page = garden_app(desk, hosts={HOME}, port=PORT)
    with TestClient(page, base_url=f"{SCHEME}://{HOME}", client=("127.0.0.1", 6)) as other:
        stolen = token_of(other)
    client.get("/")
    answer = client.post("/log", data={"csrf": stolen, "kind": "rain", "what": "5mm"})
    assert answer.status_code == 403
    assert count_of(folder) == before


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_ways_to_ask_are_refused(client, method):
    assert client.request(method, "/beds").status_code == 405


@pytest.mark.parametrize(
    "path",
    [
        "/static/../pages.py",
        "/static/%2e%2e/pages.py",
        "/static/..%2f..%2f..%2fgarden.toml",
        "/static//etc/passwd",
        "/picture/small/..%2f..%2fgarden.toml.jpg",
        "/picture/small/" + "0" * 64 + ".jpg",
        "/picture/huge/" + "0" * 64 + ".jpg",
        "/photo/..%2f..%2fgarden.toml",
        "/photo/" + "f" * 64,
        "/plant/..%2f..%2fgarden.toml",
        "/.page/secret",
        "/garden.toml",
        "/journal.sqlite",
    ],
)
def test_no_path_leads_to_a_file_that_is_no_page(client, path):
    answer = client.get(path)
    assert answer.status_code in (404, 409)
    assert "time_zone" not in answer.text
    assert "root:" not in answer.text


def test_a_photo_filed_from_outside_the_garden_is_not_shown(client, folder, tmp_path):
    outside = paint_leaf(tmp_path / "elsewhere" / "A1" / "2025-07-29_A1.jpg", 77, 2)
    run("score", outside, "--out", tmp_path / "out", "--garden", folder)
    with open_journal(folder) as journal:
        entry = next(p for p in journal.photos() if "elsewhere" in p.photo)
    answer = client.get(f"/picture/small/{entry.sha256}.jpg")
    assert answer.status_code == 409
    assert "outside the garden" in answer.text
    assert client.get(f"/photo/{entry.sha256}").status_code == 200


def test_a_link_that_leads_out_of_the_garden_is_not_followed(client, folder, tmp_path):
    with open_journal(folder) as journal:
        entry = journal.photos(plant="B1")[0]
    outside = tmp_path / "moved.jpg"
    (folder / entry.photo).rename(outside)
    (folder / entry.photo).symlink_to(outside)
    assert client.get(f"/picture/small/{entry.sha256}.jpg").status_code == 409


def test_another_photo_under_the_name_of_a_filed_one_is_not_shown(client, folder):
    with open_journal(folder) as journal:
        entry = journal.photos(plant="B1")[0]
    paint_leaf(folder / entry.photo, 99, 1)
    answer = client.get(f"/picture/small/{entry.sha256}.jpg")
    assert answer.status_code == 409
    assert "another photo now" in answer.text


def test_script_in_a_note_is_shown_and_not_run(client, send):
    send(client, "/log", kind="note", what=HOSTILE, plants="A1")
    for path in ("/log", "/plant/A1"):
        page = client.get(path).text
        assert "<script>alert" not in page
        assert "<img src=x" not in page
        assert "&lt;script&gt;" in page


def test_script_in_names_of_garden_bed_and_file_is_shown_and_not_run(client, folder):
    settings = folder / "garden.toml"
    text = settings.read_text("utf-8").replace("[beds.North]", "[beds.\"<b onclick='x'>N</b>\"]")
    settings.write_text(re.sub(r'name = ".*"', f"name = '{HOSTILE}'", text, count=1), "utf-8")
    photo = folder / "photos" / "A2" / "<img src=x onerror=alert(1)>.jpg"
    paint_leaf(photo, 55, 2)
    run("score", photo.parent, "--out", folder / "results", "--garden", folder)
    sha256 = hashes_in(client.get("/plant/A2").text)
    pages = [client.get(path).text for path in ("/", "/beds", "/plant/A2")]
    pages += [client.get(f"/photo/{one}").text for one in sha256]
    assert any("&lt;script&gt;" in page for page in pages)
    for page in pages:
        assert "<script>alert" not in page
        assert "<img src=x" not in page
        assert "<b onclick" not in page


def test_script_in_an_address_is_not_given_back(client):
    for path in ("/plant/<script>alert(1)<", "/log?plants=<script>alert(1)</script>"):
        assert "<script>alert" not in client.get(path).text
    assert "<script>alert" not in client.get("/mix?water=<script>alert(1)</script>").text


@pytest.mark.parametrize(
    "path", ["//elsewhere.example", "/\\elsewhere.example", "elsewhere", "/\n"]
)
def test_nobody_is_led_to_another_site_after_a_change(client, path):
    assert not is_own_path(path)
    fields = {"csrf": token_of(client), "look": "dark", "back": path}
    answer = client.post("/look", data=fields, follow_redirects=False)
    assert answer.headers["location"] == "/"


def test_a_form_that_is_too_large_is_refused_before_it_is_read(client):
    fields = {"csrf": token_of(client), "kind": "note", "what": "x" * 400_000}
    assert client.post("/log", data=fields).status_code == 413


def test_a_form_with_too_many_fields_is_refused(client, folder):
    before = count_of(folder)
    fields = {"csrf": token_of(client)} | {f"f{n}": "x" for n in range(200)}
    assert client.post("/log", data=fields).status_code == 400
    assert count_of(folder) == before


def test_a_garden_that_cannot_be_read_is_said_in_a_sentence_and_the_page_stays_up(client, folder):
    settings = folder / "garden.toml"
    whole = settings.read_bytes()
    settings.write_bytes(b"name = [")
    answer = client.get("/")
    assert answer.status_code == 409
    assert "garden.toml" in answer.text
    assert "Traceback" not in answer.text
    settings.write_bytes(whole)
    assert client.get("/").status_code == 200
