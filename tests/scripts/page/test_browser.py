"""The garden page in Chromium, on the sample season: by hand, by keyboard, on a phone, for all."""

import re
import socket
import time

import pytest

from scripts.page.guard import SCHEME
from tests.scripts.page.conftest import AT, IN_BROWSER, WIDTHS, Served, paint_leaf, run

playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")

pytestmark = IN_BROWSER


def first_photo(page, plant="A1"):
    page.goto(f"/plant/{plant}")
    page.locator("#photos + .strip a").first.click()
    page.wait_for_selector("#photo .l-lesion", state="attached")
    return page


@pytest.mark.parametrize("width", WIDTHS)
def test_a_task_is_ticked_off_with_one_tap_stands_in_the_log_and_is_undone(
    open_page, season, width
):
    page = open_page(width)
    page.goto("/")
    before = run("log", "--garden", season)
    said = page.get_by_role("button", name=re.compile("^Sprayed ")).first.inner_text()
    entry = f"sprayed peroxide: {said.removeprefix('Sprayed ')}"
    page.get_by_role("button", name=said).click()
    page.wait_for_selector(".said")
    assert entry in run("log", "--garden", season)
    page.goto("/log")
    assert page.get_by_text(entry).count() == 1
    page.goto("/")
    assert page.get_by_role("button", name=said).count() == 0
    page.goto("/log")
    page.get_by_role("button", name=re.compile("Take entry .* back")).first.click()
    page.wait_for_selector(".said")
    assert run("log", "--garden", season) == before
    page.goto("/")
    assert page.get_by_role("button", name=said).count() == 1


def test_a_photo_zooms_and_moves_by_keyboard_and_buttons(open_page):
    page = first_photo(open_page())
    photo = page.locator("#photo")
    whole = photo.get_attribute("viewBox")
    page.locator("#sheet").focus()
    page.keyboard.press("+")
    nearer = photo.get_attribute("viewBox")
    page.keyboard.press("ArrowRight")
    moved = photo.get_attribute("viewBox")
    page.keyboard.press("0")
    assert float(nearer.split()[2]) < float(whole.split()[2])
    assert float(moved.split()[0]) > float(nearer.split()[0])
    assert [float(n) for n in photo.get_attribute("viewBox").split()] == [
        float(n) for n in whole.split()
    ]
    page.get_by_role("button", name="Zoom in").click()
    assert float(photo.get_attribute("viewBox").split()[2]) < float(whole.split()[2])


def test_a_photo_zooms_by_wheel_and_moves_by_mouse(open_page):
    page = first_photo(open_page())
    box = page.locator("#sheet").bounding_box()
    page.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
    page.mouse.wheel(0, -300)
    page.wait_for_function(
        "document.getElementById('photo').viewBox.baseVal.width < "
        "document.querySelector('#photo image').width.baseVal.value"
    )
    before = page.locator("#photo").get_attribute("viewBox")
    page.mouse.down()
    page.mouse.move(box["x"] + 20, box["y"] + 20, steps=5)
    page.mouse.up()
    assert page.locator("#photo").get_attribute("viewBox") != before


def test_layers_are_switched_off_and_on(open_page):
    page = first_photo(open_page())
    lesions = page.locator("#photo .l-lesion")
    assert lesions.is_visible()
    page.get_by_role("checkbox", name=re.compile("lesion")).uncheck()
    assert not lesions.is_visible()
    page.get_by_role("checkbox", name=re.compile("lesion")).check()
    assert lesions.is_visible()


@pytest.mark.parametrize("width", WIDTHS)
def test_a_lesion_in_the_table_shows_in_the_picture_and_the_other_way_round(open_page, width):
    page = first_photo(open_page(width))
    page.locator("#lesions th a").nth(2).click()
    name = page.locator("#lesions th a").nth(2).inner_text().replace(".", "-")
    assert "picked" in page.locator(f"#m-lesion-{name}").get_attribute("class")
    other = page.locator("#photo a.mark").nth(0)
    other.focus()
    page.keyboard.press("Enter")
    row = other.get_attribute("href").removeprefix("#")
    assert "picked" in page.locator(f"#{row}").get_attribute("class")
    assert "picked" not in page.locator(f"#m-lesion-{name}").get_attribute("class")


def test_the_keyboard_reaches_everything_with_a_visible_focus(open_page):
    page = open_page()
    page.goto("/beds")
    seen = []
    for _ in range(30):
        page.keyboard.press("Tab")
        seen.append(
            page.evaluate(
                """() => {
                    const style = getComputedStyle(document.activeElement);
                    return [document.activeElement.className, style.outlineStyle,
                            parseFloat(style.outlineWidth)];
                }"""
            )
        )
    assert sum("tile" in str(name) for name, _, _ in seen) >= 10
    assert all(style != "none" and width >= 2 for _, style, width in seen)


def test_without_script_every_view_is_read(open_page):
    page = open_page(360, java_script_enabled=False)
    for path in ("/", "/beds", "/plant/A1", "/log", "/add", "/night", "/calendar"):
        page.goto(path)
        assert page.locator("h1").count() == 1
    page.goto("/plant/A1")
    page.locator("#photos + .strip a").first.click()
    assert page.locator("#photo .l-lesion a").count() > 10


@pytest.mark.parametrize("width", WIDTHS)
def test_a_photo_is_added_scored_and_seen(open_page, width, tmp_path):
    page = open_page(width)
    page.goto("/add?plant=C2")
    name = f"2025-07-31_C2-{width}.jpg"
    page.locator("#photos").set_input_files(paint_leaf(tmp_path / name, width, 6))
    row = page.locator("#arrivals li", has_text=name)
    row.get_by_role("link", name="See it").click()
    page.wait_for_selector("h1")
    assert page.get_by_role("link", name="C2", exact=True).count() >= 1


def test_a_dropped_file_that_is_no_photo_is_named_with_the_reason(open_page):
    page = open_page()
    page.goto("/add")
    page.evaluate(
        """() => {
            const bag = new DataTransfer();
            bag.items.add(new File(["no picture at all"], "torn.jpg", { type: "image/jpeg" }));
            bag.items.add(new File(["x"], "film.mp4", { type: "video/mp4" }));
            const drop = document.getElementById("drop");
            drop.dispatchEvent(new DragEvent("drop", { dataTransfer: bag, bubbles: true }));
        }"""
    )
    torn = page.locator("#arrivals li", has_text="torn.jpg")
    film = page.locator("#arrivals li", has_text="film.mp4")
    torn.get_by_text("refused:").wait_for()
    film.get_by_text("is no photo by its ending").wait_for()


def severity(page):
    return float(page.locator("strong.number").first.inner_text().split(" %")[0])


def undone(page):
    page.locator(".said").get_by_role("button", name="Undo").click()
    page.get_by_text("Taken back:").wait_for()


@pytest.mark.parametrize("width", WIDTHS)
def test_a_rejected_lesion_changes_the_severity_until_it_is_undone(open_page, width):
    page = first_photo(open_page(width), "A2")
    before = severity(page)
    page.get_by_role("button", name="Reject lesion 1.1", exact=True).click()
    page.get_by_text("Put right: no lesion").wait_for()
    assert severity(page) < before
    assert page.locator("#r-lesion-1-1").get_attribute("class") == "rejected"
    undone(page)
    assert severity(page) == before


@pytest.mark.parametrize("width", WIDTHS)
def test_an_outline_drawn_by_a_stroke_is_measured_anew_until_it_is_undone(open_page, width):
    page = first_photo(open_page(width), "A2")
    before = severity(page)
    page.get_by_role("button", name="Redraw a leaf").click()
    page.locator("#sheet").scroll_into_view_if_needed()
    leaf = page.locator("#photo .l-leaf .shape").first.bounding_box()
    ring = ((0.5, 0.1), (0.85, 0.35), (0.8, 0.8), (0.3, 0.85), (0.15, 0.4), (0.48, 0.12))
    places = [(leaf["x"] + x * leaf["width"], leaf["y"] + y * leaf["height"]) for x, y in ring]
    page.mouse.move(*places[0])
    page.mouse.down()
    for x, y in places[1:]:
        page.mouse.move(x, y, steps=6)
    page.mouse.up()
    page.get_by_role("button", name="Done").click()
    page.get_by_text("Put right: outline redrawn").wait_for()
    assert severity(page) != before
    undone(page)
    assert severity(page) == before


def test_a_missed_lesion_is_added_by_keyboard_alone(open_page):
    page = first_photo(open_page(), "A2")
    before = page.locator("#lesions tbody tr").count()
    page.get_by_role("button", name="Missed lesion").focus()
    page.keyboard.press("Enter")
    leaf = page.locator("#photo .l-leaf .shape").first.bounding_box()
    sheet = page.locator("#photo").bounding_box()
    middle = (leaf["x"] + leaf["width"] / 2, leaf["y"] + leaf["height"] * 0.45)
    across = (middle[0] - sheet["x"]) / sheet["width"] - 0.5
    down = (middle[1] - sheet["y"] - sheet["height"] / 2) / sheet["width"]
    for key, share in (("Arrow" + ("Right" if across > 0 else "Left"), abs(across)),
                       ("Arrow" + ("Down" if down > 0 else "Up"), abs(down))):  # fmt: skip
        for _ in range(round(share * 40)):
            page.keyboard.press(key)
    page.keyboard.press("Enter")
    page.get_by_text("Put right: a missed lesion").wait_for()
    assert page.locator("#lesions tbody tr").count() == before + 1
    undone(page)


@pytest.mark.parametrize("width", WIDTHS)
def test_a_pattern_put_right_changes_status_and_plan_until_it_is_undone(open_page, season, width):
    page = open_page(width)
    page.goto("/beds")
    assert "isolate" not in page.locator(".tile", has_text="C2").inner_text()
    first_photo(page, "C2")
    page.get_by_text("Put right", exact=True).first.click()
    page.get_by_label("looks").select_option("blight late")
    page.get_by_role("button", name="Say so").click()
    page.get_by_text("Put right: leaf looks late-blight-like").wait_for()
    photo = page.url
    page.goto("/beds")
    assert "isolate" in page.locator(".tile", has_text="C2").inner_text()
    page.goto("/")
    assert page.locator(".what", has_text="Isolate C2").count() == 1
    assert "isolate" in run("flag", "C2", "--at", AT, "--garden", season)
    page.goto(photo)
    page.get_by_role("button", name=re.compile("Undo: .*late-blight-like")).first.click()
    page.get_by_text("Taken back:").wait_for()
    page.goto("/")
    assert page.locator(".what", has_text="Isolate C2").count() == 0


def network_address():
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(("192.0.2.1", 9))
            return asking.getsockname()[0]
        except OSError:
            return ""


@pytest.mark.skipif(not network_address(), reason="this computer is in no network")
def test_a_second_device_sees_the_garden_only_with_the_code(season, chromium):
    page = Served(season, "--phone")
    try:
        code = None
        for line in page.process.stdout:
            if found := re.search(r"give the code (\d{8})", line):
                code = found[1]
                break
        window = chromium.new_context(base_url=f"{SCHEME}://{network_address()}:{page.port}")
        phone = window.new_page()
        phone.goto("/beds")
        assert phone.url.endswith("/enter")
        assert "A1" not in phone.content()
        phone.get_by_label("Code").fill("00000000" if code != "00000000" else "00000001")
        phone.get_by_role("button", name="Enter").click()
        assert phone.get_by_role("alert").is_visible()
        time.sleep(1.2)
        phone.get_by_label("Code").fill(code)
        phone.get_by_role("button", name="Enter").click()
        phone.goto("/beds")
        assert phone.get_by_role("link", name=re.compile("A1")).count() >= 1
        window.close()
    finally:
        page.end()
