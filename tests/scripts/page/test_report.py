"""The report: one file that needs nothing from outside and says what the commands say."""

import json
import re
import shutil
from datetime import datetime
from itertools import product
from math import sqrt
from pathlib import Path
from zoneinfo import ZoneInfo

import html5lib
import pypdfium2
import pytest

from models.entries import LeafEntry, PhotoEntry
from models.garden.settings import GARDEN_FILE
from models.journal import open_journal
from scripts.care.views import flag_view, plan_view, today_view
from scripts.common.terminal import sample_season
from scripts.page import figures
from scripts.page.changes import STATE
from scripts.trend.read import read_trend
from scripts.trend.words import plant_words
from tests.scripts.page.conftest import AT, paint_leaf, run
from vision.photo.decode import content_hash

ZONE = ZoneInfo("Europe/Berlin")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
POINTS = {"A4": (595, 842), "Letter": (612, 792)}


def in_one_line(text):
    return " ".join(text.split())


def made(folder, *words, at=AT, name="report.html"):
    out = folder.parent / name
    moment = ("--at", at) if at else ()
    run("report", "--garden", folder, "--out", out, "--jobs", "1", *moment, *words)
    return out


def tree(path):
    """Return a page as an HTML parser reads it that refuses every mistake."""
    text = path.read_text(encoding="utf-8")
    return html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(text)


def words_of(path):
    body = tree(path).find("body")
    return in_one_line(" ".join(body.itertext()))


@pytest.fixture(scope="module")
def whole(built_garden, tmp_path_factory):
    """Return the report of a garden that no test changes."""
    folder = tmp_path_factory.mktemp("whole") / "garden"
    shutil.copytree(built_garden, folder)
    return made(folder), folder


@pytest.mark.parametrize("words", [(), ("--plant", "A1")], ids=["garden", "clinic"])
def test_the_file_is_whole_html_and_needs_nothing_from_outside(folder, words):
    page = tree(made(folder, *words))
    for one in page.iter():
        assert str(one.tag).rpartition("}")[2] not in ("script", "link", "iframe", "object", "form")
        for name, value in one.attrib.items():
            assert not str(name).startswith("on")
            if str(name).rpartition("}")[2] in ("href", "src", "srcset", "action", "data"):
                assert value.startswith(("#", "data:image/jpeg;base64,"))
    (style,) = page.iter("style")
    assert "url(" not in style.text
    assert "@import" not in style.text


def test_today_is_told_in_the_words_of_the_command_with_cautions_in_full(whole):
    path, folder = whole
    said = words_of(path)
    tasks, _ = today_view(folder, AT).split("Take care")
    for task in tasks.split("[ ]")[1:]:
        what, why = in_one_line(task).split(": ", 1)[1].split(" Why: ")
        assert what in said
        assert why.split(" Photo: ")[0].split(" Tonight")[0] in said
    for caution in plan_view(folder, 14, AT).split("Take care")[1].split("\n  - ")[1:]:
        assert in_one_line(caution) in said


def test_each_plant_is_told_with_its_status_measurement_rule_and_course(whole):
    path, folder = whole
    said = words_of(path)
    flagged = in_one_line(flag_view(folder, (), AT))
    curves = {
        c.plant: c for c in read_trend(folder, at=datetime(2025, 7, 31, 7, tzinfo=ZONE)).curves
    }
    for plant in ("A1", "A2", "B1"):
        assert in_one_line(" ".join(plant_words(curves[plant]))) in said
    measured = re.findall(r"\w{3} \d+ Jul: \d+\.\d % sick \([^)]*\)", flagged)
    assert len(measured) >= 3
    assert all(words in said for words in measured)


def test_photos_stand_in_the_file_with_what_was_counted_over_them(whole):
    path, _ = whole
    photos = [one for one in tree(path).iter() if one.get("class") == "photo"]
    assert len(photos) == 4 + 3  # of the strips, and of the tiles of the beds
    labels = " ".join(photo.get("aria-label") for photo in photos)
    assert all(f"Photo of {plant}, 2025-07-30" in labels for plant in ("A1", "A2", "B1"))
    lines = [one for photo in photos for one in photo.iter() if one.get("stroke") == "#0072b2"]
    assert len(lines) == len(photos)  # a leaf on each


def lesions_drawn(path):
    """Return how many lesions are outlined on each picture, by its label."""
    found = {}
    for photo in (one for one in tree(path).iter() if one.get("class") == "photo"):
        paths = [one.get("d") for one in photo.iter() if one.get("stroke") == "#ff7a1f"]
        found[photo.get("aria-label").split(":")[0]] = sum(path.count("M") for path in paths)
    return found


def test_what_people_put_right_holds_in_the_pictures_too(folder):
    photo = folder / "photos" / "A1" / "2025-07-30_A1.jpg"
    with open_journal(folder) as journal:
        lesion = journal.corrected(content_hash(photo)).lesions[0]
    before = lesions_drawn(made(folder))["Photo of A1, 2025-07-30"]
    place = f"{lesion.row_px:.0f},{lesion.col_px:.0f}"
    run("fix", photo, "--not-lesion", place, "--garden", folder)
    out = made(folder)
    assert lesions_drawn(out)["Photo of A1, 2025-07-30"] == before - 1
    assert "By hand: 1 rejected." in words_of(out)
    run("fix", photo, "--undo", "--garden", folder)
    again = made(folder)
    assert lesions_drawn(again)["Photo of A1, 2025-07-30"] == before
    assert "By hand" not in words_of(again)


def test_a_photo_that_is_gone_changed_or_damaged_is_named_and_the_rest_is_told(folder):
    photos = folder / "photos"
    (photos / "A1" / "2025-07-20_A1.jpg").unlink()
    paint_leaf(photos / "A2" / "2025-07-30_A2.jpg", 99, 7)
    (photos / "B1" / "2025-07-30_B1.jpg").write_bytes(b"no photo")
    out = made(folder)
    said = words_of(out)
    for name in ("A1/2025-07-20_A1.jpg", "A2/2025-07-30_A2.jpg", "B1/2025-07-30_B1.jpg"):
        assert f"not there any more, or is another one now: photos/{name}" in said
    assert "A1 2025-07-30" not in said
    assert len([one for one in tree(out).iter() if one.get("class") == "photo"]) == 2


def test_photos_outside_the_gardens_folder_are_shown_too(folder, tmp_path):
    shutil.move(folder / "photos", tmp_path / "elsewhere")
    settings = (folder / GARDEN_FILE).read_text(encoding="utf-8")
    run("new", tmp_path / "second", "--bed", "North=A1,A2", "--bed", "South=B1")
    (tmp_path / "second" / GARDEN_FILE).write_text(settings, encoding="utf-8")
    photo = tmp_path / "elsewhere" / "A1" / "2025-07-30_A1.jpg"
    entry = PhotoEntry(
        "../elsewhere/A1/2025-07-30_A1.jpg", content_hash(photo),
        datetime(2025, 7, 30, 9, tzinfo=ZONE), plant="A1",
        leaves=(LeafEntry(1, 1e4, 3, 9.0, 0.0, 9.0, 8.0, 10.0),), severity_pct=9.0,
    )  # fmt: skip
    with open_journal(tmp_path / "second") as journal:
        journal.file_reading(entry)
    page = tree(made(tmp_path / "second"))
    assert len([one for one in page.iter() if one.get("class") == "photo"]) == 2


def test_names_and_notes_of_others_stay_words(folder):
    evil = '"><script>alert(1)</script><img src=x onerror=alert(2)>'
    settings = folder / GARDEN_FILE
    text = settings.read_text(encoding="utf-8")
    settings.write_text(re.sub(r'name = "garden"', f"name = '{evil}'", text), encoding="utf-8")
    run("log", "note", f"{evil} & more", "A1", "--at", "2025-07-29 09:00", "--garden", folder)
    run("log", "spray", "<svg onload=x>", "A1", "--other",
        "--at", "2025-07-28 07:00", "--garden", folder)  # fmt: skip
    for words in ((), ("--plant", "A1")):
        out = made(folder, *words)
        page = tree(out)
        assert not [one for one in page.iter() if str(one.tag) in ("script", "img")]
        said = words_of(out)
        assert f"{evil} & more" in said
        assert "<svg onload=x>" in said
        assert evil in page.find("head").find("title").text


def test_what_changed_since_the_last_report_is_told(folder):
    first = words_of(made(folder, at="2025-07-30 20:00"))
    assert "no report of an earlier day to compare with" in first
    run("log", "note", "Mulched.", "A1", "--at", "2025-07-31 06:00", "--garden", folder)
    run("log", "seen", "gone", "A2", "--at", "2025-07-31 06:10", "--garden", folder)
    for _ in range(2):  # made again on the same day, it compares with the same one
        said = words_of(made(folder, at="2025-07-31 07:00"))
        changed = said.split("What changed since the report of Wed 30 Jul 2025")[1]
        assert "2 entries of the log" in changed
        assert "Mulched." in changed
        assert re.search(r"A2 \w[\w ]* → no status", changed)
    later = words_of(made(folder, at="2025-08-01 07:00"))
    assert "No photo and no log entry is new." in later


def test_a_new_photo_shows_as_a_change_of_its_plant_alone(folder):
    made(folder, at="2025-07-30 20:00")
    entry = PhotoEntry(
        "photos/A2/new.jpg", "f" * 64, datetime(2025, 7, 31, 6, tzinfo=ZONE), plant="A2",
        leaves=tuple(LeafEntry(n, 1e4, 3, 20.0 + n, 0.0, 20.0 + n, 18.0, 25.0) for n in (1, 2, 3)),
        severity_pct=21.0,
    )  # fmt: skip
    with open_journal(folder) as journal:
        journal.file_reading(entry)
    said = words_of(made(folder, at="2025-07-31 07:00"))
    changed = said.split("What changed since")[1]
    assert "New: 1 photo." in changed
    assert re.search(r"A2 .*sick: 0\.\d % .*30 Jul → 22\.0 % .*31 Jul", changed)
    assert "As before: A1 and B1" in changed


@pytest.mark.parametrize(
    "state", [b"", b"{", b"[]", b'{"form": 1, "reports": [{"at": "now"}]}', b'{"form": 99}']
)
def test_a_damaged_memory_of_the_last_report_is_passed_over(folder, state):
    (folder / STATE).write_bytes(state)
    assert "no report of an earlier day" in words_of(made(folder))
    assert json.loads((folder / STATE).read_bytes())["reports"]


def test_the_clinics_page_tells_one_plant_and_changes_no_memory(folder):
    run("log", "spray", "soda", "A1", "--at", "2025-07-22 07:00", "--garden", folder)
    run("log", "seen", "low-lesions", "A1", "--at", "2025-07-23 07:00", "--garden", folder)
    out = made(folder, "--plant", "a1")
    assert not (folder / STATE).exists()
    said = words_of(out)
    assert said.startswith("Tomato plant A1: what was seen and done")
    done, seen = said.split("What was done to it")[1].split("What else was seen")
    assert "sprayed soda" in done
    assert "low-lesions" in seen
    assert "Tied up." in seen
    assert "It is not a diagnosis." in said
    assert "What it is:" in said
    assert len(list(tree(out).iter("tr"))) == 1 + 2  # two visits
    labels = [one.get("aria-label") for one in tree(out).iter() if one.get("class") == "photo"]
    assert len(labels) == 2 * 2
    assert all(label.startswith("Photo of A1, ") for label in labels)


def test_an_earlier_season_is_told_as_it_ended(folder):
    before = words_of(made(folder, at="2025-07-30 23:00"))
    run("season", "new", "--at", "2026-03-01", "--garden", folder)
    said = words_of(made(folder, "--season", "2025", at=None))
    assert "The season 2025, as it ended" in said
    assert "What to do today" not in said
    plants = slice(before.index("Plant by plant"), before.index("Rounds by night"))
    told = said[said.index("Plant by plant") : said.index("Rounds by night")]
    assert told == before[plants]
    fresh = made(folder, at="2026-03-02 08:00")
    assert words_of(fresh).count("no measured photo") == 3
    assert not [one for one in tree(fresh).iter() if one.get("class") == "course"]


def test_another_file_is_never_written_over(folder, tmp_path):
    from typer.testing import CliRunner

    from scripts.cli import app

    mine = tmp_path / "mine.html"
    mine.write_text("<p>My own page.</p>", encoding="utf-8")
    (tmp_path / "folder.html").mkdir()
    for out, why in ((mine, "no report of ours"), (tmp_path / "folder.html", "is a folder"),
                     (tmp_path / "report.pdf", "end in .html")):  # fmt: skip
        result = CliRunner().invoke(app, ["report", "--garden", str(folder), "--out", str(out)])
        assert result.exit_code == 1
        assert why in result.output
    assert mine.read_text(encoding="utf-8") == "<p>My own page.</p>"
    made(folder)
    made(folder)  # our own is replaced


def test_pictures_for_which_there_is_no_room_are_left_out_and_named(folder, monkeypatch):
    full = made(folder)
    monkeypatch.setattr(figures, "_LARGEST_BYTES", 30_000)
    small = made(folder, name="small.html")
    assert small.stat().st_size < full.stat().st_size
    said = words_of(small)
    assert "the file would grow too large" in said
    assert "Photo of" not in said.split("the file would grow too large")[-1].split("Rounds")[0]


def test_pictures_of_many_plants_are_smaller_and_the_report_says_so(folder, monkeypatch):
    full = made(folder)
    assert "smaller than usual" not in words_of(full)
    monkeypatch.setattr(figures, "_FULL_SIZE", 2)
    small = made(folder, name="small.html")
    assert "With 3 plants the 4 pictures are smaller than usual" in words_of(small)
    assert sides(small) == [round(side / sqrt(2)) for side in sides(full)]
    assert small.stat().st_size < full.stat().st_size


def sides(report):
    pictures = [one for one in tree(report).iter() if one.get("class") == "photo"]
    strips = [one.get("viewbox") or one.get("viewBox") for one in pictures]
    return [side for box in strips if (side := int(box.split()[2])) > 200]


def test_more_plants_never_make_larger_pictures_nor_leave_less_room():
    shown = [figures.side_px(pictures) for pictures in range(1, 400)]
    assert shown == sorted(shown, reverse=True)
    assert (shown[59], shown[-1]) == (figures.SMALL_PX, 200)
    room = [figures.room_bytes(plants) for plants in range(1, 400)]
    assert room == sorted(room)
    assert room[11] < 4_500_000
    assert room[59] == room[-1] < 14_000_000


def test_a_season_of_twelve_plants_stays_below_five_megabytes(tmp_path):
    source, folder = sample_season(), tmp_path / "garden"
    shutil.copytree(source / "photos", folder / "photos")
    shutil.copy(source / GARDEN_FILE, folder / GARDEN_FILE)
    days = ("2025-06-15", "2025-06-25", "2025-07-05", "2025-07-10", "2025-07-15")
    plants = sorted(path.name for path in (folder / "photos").iterdir())
    with open_journal(folder) as journal:
        for plant, day in product(plants, days):
            path = Path("photos") / plant / f"{day}_{plant}.jpg"
            at = datetime.fromisoformat(day).replace(hour=8, tzinfo=ZONE)
            leaves = tuple(LeafEntry(n, 1e4, 9, 9.0, 0.0, 9.0, 8.0, 10.0) for n in (1, 2, 3))
            journal.file_reading(
                PhotoEntry(path.as_posix(), content_hash(folder / path), at, plant=plant,
                           leaves=leaves, severity_pct=9.0)
            )  # fmt: skip
    out = made(folder, at="2025-07-16 08:00")
    assert len([one for one in tree(out).iter() if one.get("class") == "photo"]) == 12 * 6
    assert 500_000 < out.stat().st_size < 5_000_000


@pytest.fixture
def printed(whole, tmp_path):
    """Print the report as Chromium does, with every request refused; give the pages."""
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")

    opened = []

    def run_browser(paper):
        asked = []
        with playwright.sync_playwright() as started:
            browser = started.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
            page = browser.new_context(offline=True).new_page()
            page.on("request", lambda request: asked.append(request.url))
            complaints = []
            page.on("console", lambda message: complaints.append(message.text))
            page.goto(whole[0].as_uri())
            page.pdf(path=tmp_path / f"{paper}.pdf", format=paper, print_background=True)
            broken = page.evaluate("[...document.images].filter(i => !i.naturalWidth).length")
            browser.close()
        others = [url for url in asked if url != whole[0].as_uri() and not url.startswith("data:")]
        assert (others, complaints, broken) == ([], [], 0)
        opened.append(pypdfium2.PdfDocument(tmp_path / f"{paper}.pdf"))
        return opened[-1]

    yield run_browser
    for document in opened:
        document.close()


@pytest.mark.browser
@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium is installed: apt install chromium")
@pytest.mark.parametrize("width", [360, 1280])
def test_it_is_read_on_a_screen_by_everybody(whole, folder, width):
    """No serious finding of axe, nothing wider than the screen, every place reached by keyboard."""
    playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is missing")
    with playwright.sync_playwright() as started:
        browser = started.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        # The file itself allows no script; axe is one.
        context = browser.new_context(
            viewport={"width": width, "height": 800}, bypass_csp=True, offline=True
        )
        for path in (whole[0], made(folder, "--plant", "A1", name="clinic.html")):
            page = context.new_page()
            page.goto(path.as_uri())
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            found = axe.Axe().run(page).response["violations"]
            serious = [one for one in found if one["impact"] in ("serious", "critical")]
            assert [(one["id"], one["nodes"][0]["html"][:200]) for one in serious] == []
        browser.close()


@pytest.mark.browser
@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium is installed: apt install chromium")
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_opens_offline_and_prints_cleanly(printed, paper):
    pages = printed(paper)
    assert 3 <= len(pages) <= 6
    texts = [in_one_line(page.get_textpage().get_text_bounded()) for page in pages]
    for number, page in enumerate(pages):
        assert [round(side) for side in page.get_size()] == pytest.approx(POINTS[paper], abs=1)
        found = page.get_textpage()
        boxes = [found.get_rect(n) for n in range(found.count_rects())]
        wide, high = page.get_size()
        assert all(x0 > 25 and x1 < wide - 25 for x0, _, x1, _ in boxes)
        assert all(y0 > 15 and y1 < high - 25 for _, y0, _, y1 in boxes)
        assert f"{number + 1} / {len(pages)}" in texts[number]
        ink = page.render(scale=0.3, grayscale=True).to_numpy() < 128
        assert ink.mean() > 0.004  # none is all but empty
    for plant in ("A1", "A2", "B1"):  # none is torn apart
        (at,) = [n for n, text in enumerate(texts) if f"{plant} bed " in text]
        assert " by day." in texts[at].split(f"{plant} bed ")[1]
