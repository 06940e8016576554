"""Devices of the home network come in with the code, once, and nobody guesses it."""

import re

import pytest
from starlette.testclient import TestClient

from scripts.page.app import garden_app
from scripts.page.door import CODE_DIGITS, MOST_WRONG, Door
from scripts.page.guard import SCHEME
from scripts.page.serve import qr_lines
from tests.scripts.page.conftest import HOME, NETWORK, PORT


class Clock:
    """A clock that goes on when it is told to."""

    def __init__(self):
        self.now = 0.0

    def __call__(self):
        """Return the time."""
        return self.now


@pytest.fixture
def shown():
    return []


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def door(tmp_path, shown, clock):
    made = Door(tmp_path / "devices.json", shown.append, clock)
    made.open()
    return made


def wrong(code):
    return f"{(int(code) + 1) % 10**CODE_DIGITS:0{CODE_DIGITS}}"


def test_a_code_lets_one_device_in_and_is_then_another(door, shown):
    first = shown[-1]
    answer = door.give(first)
    assert answer.what == "in"
    assert door.knows(answer.token)
    assert shown[-1] != first
    assert door.give(first).what == "wrong"


def test_blanks_between_the_digits_do_not_matter(door, shown):
    code = shown[-1]
    assert door.give(f" {code[:4]} {code[4:]} ").what == "in"


def test_a_device_is_known_after_a_restart_and_its_token_is_not_stored(door, shown, tmp_path):
    token = door.give(shown[-1]).token
    assert Door(tmp_path / "devices.json").knows(token)
    assert token not in (tmp_path / "devices.json").read_text()


def test_a_thousand_guesses_are_slowed_and_the_door_is_shut(door, shown, clock):
    looked_at = 0
    for number in range(1000):
        answer = door.give(wrong(shown[-1]))
        looked_at += answer.what in ("wrong", "in") or answer.wait_s == 15 * 60
        clock.now += 0.05
        assert answer.what != "in", number
    assert looked_at <= MOST_WRONG


def test_even_a_patient_guesser_gets_ten_tries_to_a_code(door, shown, clock):
    codes, tries = {shown[-1]}, 0
    for _ in range(1000):
        answer = door.give(wrong(shown[-1]))
        clock.now += answer.wait_s
        codes.add(shown[-1])
        tries += 1
    assert tries / len(codes) <= MOST_WRONG
    assert clock.now > 20 * 3600


def test_while_the_door_waits_even_the_right_code_is_not_looked_at(door, shown, clock):
    door.give(wrong(shown[-1]))
    assert door.give(shown[-1]).what == "wait"
    clock.now += 1
    assert door.give(shown[-1]).what == "in"


@pytest.fixture
def page(desk, door):
    return garden_app(desk, hosts={HOME, NETWORK}, port=PORT, door=door)


@pytest.fixture
def phone(page):
    with TestClient(page, base_url=f"{SCHEME}://{NETWORK}", client=("192.168.7.31", 9)) as browser:
        yield browser


def enter(phone, code):
    asked = phone.get("/").text
    token = re.search(r'name="csrf" value="([0-9a-f]+)"', asked)[1]
    return phone.post("/enter", data={"csrf": token, "code": code})


def test_a_phone_sees_nothing_of_the_garden_before_it_gave_the_code(phone, folder):
    for path in ("/", "/beds", "/plant/A1", "/log", "/add", "/plan.ics", "/arrivals.json"):
        asked = phone.get(path)
        assert asked.url.path == "/enter"
        assert "A1" not in asked.text
        assert "garden.toml" not in asked.text


def test_a_phone_with_the_code_sees_the_garden_and_need_not_give_it_again(phone, shown):
    assert enter(phone, shown[-1]).url.path == "/"
    assert "A1" in phone.get("/beds").text


def test_a_wrong_code_is_said_and_tried_again_too_soon_is_not_looked_at(phone, shown):
    code = shown[-1]
    assert enter(phone, wrong(code)).status_code == 403
    soon = enter(phone, code)
    assert soon.status_code == 429
    assert int(soon.headers["retry-after"]) >= 1
    assert phone.get("/beds").url.path == "/enter"


def test_a_thousand_wrong_codes_by_the_page_let_nobody_in(phone, shown):
    token = re.search(r'name="csrf" value="([0-9a-f]+)"', phone.get("/").text)[1]
    answers = {
        phone.post("/enter", data={"csrf": token, "code": f"{number:08}"}).status_code
        for number in range(1000)
    }
    assert answers <= {403, 429}
    assert phone.get("/beds").url.path == "/enter"


def test_this_computer_needs_no_code(page):
    with TestClient(page, base_url=f"{SCHEME}://{HOME}", client=("127.0.0.1", 9)) as browser:
        assert browser.get("/beds").url.path == "/beds"


def test_a_device_that_only_says_it_is_this_computer_stays_outside(page):
    with TestClient(page, base_url=f"{SCHEME}://{HOME}", client=("192.168.7.31", 9)) as browser:
        assert browser.get("/beds").url.path == "/enter"


def test_without_phones_no_code_opens(desk):
    page = garden_app(desk, hosts={HOME}, port=PORT)
    with TestClient(page, base_url=f"{SCHEME}://{HOME}", client=("192.168.7.31", 9)) as browser:
        answer = browser.get("/enter", follow_redirects=False)
        assert answer.headers["location"] == "/"
        assert browser.get("/beds", follow_redirects=False).headers["location"] == "/enter"


def test_a_calendar_is_read_with_its_key_and_nothing_else_is(phone, page, shown):
    with TestClient(page, base_url=f"{SCHEME}://{HOME}", client=("127.0.0.1", 9)) as browser:
        text = browser.get("/calendar").text
    key = re.search(r"key=([0-9a-f]{32})", text)[1]
    assert phone.get(f"/plan.ics?key={key}").headers["content-type"].startswith("text/calendar")
    assert phone.get(f"/plan.ics?key={key[::-1]}").url.path == "/enter"
    assert phone.get(f"/beds?key={key}").url.path == "/enter"


def test_the_qr_code_is_drawn_with_a_light_edge():
    lines = list(qr_lines(f"{SCHEME}://192.168.7.20:8440/enter?code=12345678"))
    assert len({len(line) for line in lines}) == 1
    assert set("".join(lines)) == {" ", "▀", "▄", "█"}
    assert set(lines[0]) == {"█"}
