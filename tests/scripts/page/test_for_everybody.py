"""Every view of the garden page in Chromium: for all eyes and fingers, at every width and look."""

import pytest

from tests.scripts.page.conftest import IN_BROWSER, LOOKS, WIDTHS, views

pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
axe_core = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is missing")

pytestmark = IN_BROWSER


@pytest.mark.parametrize("width", WIDTHS)
def test_no_view_is_wider_than_its_window(open_page, width):
    page = open_page(width)
    too_wide = []
    for path in views(page):
        page.goto(path)
        if page.evaluate("document.documentElement.scrollWidth") > width:
            too_wide.append(path)
    assert too_wide == []


@pytest.mark.parametrize("look", LOOKS)
def test_axe_finds_nothing_serious_in_any_view(open_page, look):
    page = open_page(360, look)
    found = []
    for path in views(page):
        page.goto(path)
        result = axe_core.Axe().run(page)
        found += [
            (path, one["id"], [node["target"] for node in one["nodes"]][:3])
            for one in result.response["violations"]
            if one["impact"] in ("serious", "critical")
        ]
    assert found == []


def test_nothing_of_the_night_look_is_white(open_page):
    page = open_page(360, "night")
    bright = []
    for path in views(page):
        page.goto(path)
        bright += page.evaluate(
            """() => [...document.querySelectorAll("body, body *")].flatMap((one) => {
                const style = getComputedStyle(one);
                return ["color", "backgroundColor", "borderTopColor"].flatMap((name) => {
                    const parts = (style[name].match(/[\\d.]+/g) ?? []).map(Number);
                    const [red, green, blue, alpha = 1] = parts;
                    const seen = alpha > 0 && (green > 110 || blue > 110);
                    return seen ? [`${one.tagName}.${one.className} ${name} ${style[name]}`] : [];
                });
            })"""
        )
    assert bright == []


@pytest.mark.parametrize("width", WIDTHS)
def test_all_that_is_pressed_is_44_px_high(open_page, width):
    page = open_page(width)
    small = []
    for path in views(page):
        page.goto(path)
        small += page.evaluate(
            """() => [...document.querySelectorAll(
                "button, .button, summary, .ways a, .tile, .strip a, select, label.choice"
            )].filter((one) => one.offsetParent && one.getBoundingClientRect().height < 43.5)
              .map((one) => `${location.pathname} ${one.outerHTML.slice(0, 80)}`)"""
        )
    assert small == []
