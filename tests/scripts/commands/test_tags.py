"""The printed page of stake tags, read back as a camera would, and scored photos with tags."""

import io

import numpy as np
import pypdfium2
import pytest
from fontTools.fontBuilder import FontBuilder
from fontTools.pens.ttGlyphPen import TTGlyphPen
from PIL import Image

from models.garden.beds import Garden, Plant, free_tags
from models.garden.settings import read_garden
from scripts.common.letters import letters_of
from scripts.garden.tag_page import PAPERS_MM, card_places
from scripts.workshop.rendered import PaintedTag, Scene, render
from vision.photo.decode import read_photo
from vision.photo.find import PhotoFile
from vision.tag.card import CARD_MM, GREY_MM, NAME_MM, WHITE_MM
from vision.tag.find import find_tag
from vision.tag.scale import mm_per_px

DPI = 150
PX_PER_MM = DPI / 25.4
BEDS = ["--bed", "North=A1,A2/A3,San Marzano am Kompost hinten", "--bed", "South=Помидор"]


@pytest.fixture
def plot(tmp_path, spotlamp):
    """Return a new garden's folder."""
    spotlamp("new", tmp_path / "plot", *BEDS)
    return tmp_path / "plot"


def pages(path):
    """Return the pages of a PDF as grey pictures of 150 dots an inch."""
    document = pypdfium2.PdfDocument(path)
    shown = [np.asarray(page.render(scale=DPI / 72).to_pil().convert("L")) for page in document]
    document.close()
    return shown


def cut_out(page, place, box=CARD_MM):
    """Return the part of a page that a box of a card covers."""
    left, top, right, bottom = (
        round((value + place[n % 2]) * PX_PER_MM) for n, value in enumerate(box)
    )
    return page[top:bottom, left:right]


def read_back(card, tmp_path):
    """Read a card as a photo."""
    path = tmp_path / "card.png"
    Image.fromarray(card).convert("RGB").save(path)
    return find_tag(read_photo(PhotoFile(path, "card.png")))


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_each_printed_tag_is_read_as_its_plants_number_and_has_its_true_size(
    plot, spotlamp, tmp_path, paper
):
    out = tmp_path / "tags.pdf"
    said = spotlamp("tags", "--garden", plot, "--out", out, "--paper", paper).output
    assert f"5 tags on 1 page ({paper})" in said
    (page,) = pages(out)
    assert page.shape[::-1] == pytest.approx([mm * PX_PER_MM for mm in PAPERS_MM[paper]], abs=1)
    numbers = []
    for place in card_places(paper)[:5]:
        reading = read_back(cut_out(page, place), tmp_path)
        numbers.append(reading.number)
        assert mm_per_px(reading) == pytest.approx(1 / PX_PER_MM, rel=0.005)
        assert reading.white_balance == pytest.approx((1, 1, 1))
    assert numbers == [plant.tag for plant in read_garden(plot).plants]
    assert (cut_out(page, card_places(paper)[5]) > 250).mean() > 0.98


def test_patches_are_grey_and_white_and_a_long_name_stays_on_its_card(plot, spotlamp, tmp_path):
    spotlamp("tags", "--garden", plot, "--out", tmp_path / "tags.pdf", "--paper", "A4")
    (page,) = pages(tmp_path / "tags.pdf")
    for place in card_places("A4")[:5]:
        grey, white = (cut_out(page, place, box)[3:-3, 3:-3] for box in (GREY_MM, WHITE_MM))
        assert np.ptp(grey) <= 1
        assert 120 < grey.mean() < 136
        assert white.min() == 255
        name = cut_out(page, place, NAME_MM)
        beside = cut_out(page, place, (NAME_MM[2] + 0.3, NAME_MM[1], CARD_MM[2] - 0.5, NAME_MM[3]))
        assert (name < 100).any()
        assert beside.min() > 200


@pytest.mark.parametrize("paper", PAPERS_MM)
def test_the_line_on_the_page_is_100_mm_long(plot, spotlamp, tmp_path, paper):
    spotlamp("tags", "--garden", plot, "--out", tmp_path / "tags.pdf", "--paper", paper)
    (page,) = pages(tmp_path / "tags.pdf")
    below = page[round((PAPERS_MM[paper][1] - 36) * PX_PER_MM) :]
    dark = below < 140
    row = dark[int(np.argmax(dark[: round(8 * PX_PER_MM)].sum(axis=1)))]
    breaks = np.flatnonzero(np.diff(np.r_[0, row.astype(int), 0]))
    longest = np.diff(breaks)[::2].max()
    assert longest / PX_PER_MM == pytest.approx(100, abs=0.4)


def test_the_garden_of_a_us_grower_gets_letter_paper(tmp_path, spotlamp):
    spotlamp("new", tmp_path / "us", "--bed", "One=A1", "--units", "US")
    assert (
        "(Letter)"
        in spotlamp("tags", "--garden", tmp_path / "us", "--out", tmp_path / "t.pdf").output
    )


def test_a_tag_printed_again_is_the_same_tag_and_a_new_plant_gets_a_new_number(
    plot, spotlamp, tmp_path
):
    out = tmp_path / "tags.pdf"
    spotlamp("tags", "A2", "--garden", plot, "--out", out)
    assert {p.name: p.tag for p in read_garden(plot).plants if p.tag} == {"A2": 1}
    spotlamp("tags", "--garden", plot, "--out", out)
    before, page = (plot / "garden.toml").read_bytes(), out.read_bytes()
    again = spotlamp("tags", "--garden", plot, "--out", out)
    assert "garden.toml" not in again.output
    assert (plot / "garden.toml").read_bytes() == before
    assert out.read_bytes() == page
    spotlamp("new", plot, "--bed", "East=E1")
    spotlamp("tags", "e1", "--garden", plot, "--out", out)
    tags = {plant.name: plant.tag for plant in read_garden(plot).plants}
    assert tags["A2"] == 1
    assert tags["E1"] == max(tags.values())
    assert len(set(tags.values())) == 6


def test_thirteen_plants_need_a_second_page(tmp_path, spotlamp):
    names = ",".join(f"P{n}" for n in range(13))
    spotlamp("new", tmp_path / "big", "--bed", f"Long={names}")
    said = spotlamp("tags", "--garden", tmp_path / "big", "--out", tmp_path / "t.pdf")
    assert "13 tags on 2 pages" in said.output
    last = pages(tmp_path / "t.pdf")[1]
    assert read_back(cut_out(last, card_places("A4")[0]), tmp_path).number == 13


def write_font(path, signs):
    """Write a font with a filled square for each of some signs, and nothing else."""
    pen = TTGlyphPen(None)
    for step, corner in enumerate([(100, 0), (100, 700), (800, 700), (800, 0)]):
        (pen.moveTo if step == 0 else pen.lineTo)(corner)
    pen.closePath()
    square, names = pen.glyph(), [f"sign{n}" for n in range(len(signs))]
    font = FontBuilder(1000, isTTF=True)
    font.setupGlyphOrder([".notdef", *names])
    font.setupCharacterMap(dict(zip(map(ord, signs), names, strict=True)))
    font.setupGlyf({".notdef": TTGlyphPen(None).glyph()} | dict.fromkeys(names, square))
    font.setupHorizontalMetrics(dict.fromkeys([".notdef", *names], (900, 0)))
    font.setupHorizontalHeader(ascent=800, descent=-200)
    font.setupNameTable({"familyName": "Squares", "styleName": "Bold"})
    font.setupPost()
    font.save(path)
    return path


@pytest.fixture
def no_system_fonts(monkeypatch):
    monkeypatch.setattr("scripts.common.letters._system_fonts", lambda: ())


def named_cards(spotlamp, tmp_path, *names, options=()):
    """Return what is printed where each plant's name belongs, and what was said."""
    garden = tmp_path / "scripts"
    if not garden.exists():
        spotlamp("new", garden, "--bed", f"One={','.join(names)}")
    out = tmp_path / "scripts.pdf"
    said = spotlamp("tags", "--garden", garden, "--out", out, "--paper", "A4", *options).output
    (page,) = pages(out)
    places = card_places("A4")[: len(names)]
    return [cut_out(page, place, NAME_MM) for place in places], " ".join(said.split())


def ink_columns(card):
    return np.flatnonzero((card < 100).any(axis=0))


def test_letters_that_no_font_has_leave_a_line_to_write_on_and_a_sentence(
    spotlamp, tmp_path, no_system_fonts
):
    (chinese, hindi, latin), said = named_cards(spotlamp, tmp_path, "番茄", "टमाटर", "A1")
    assert "No font here has the letters of “番茄”, “टमाटर”: there is a line to write on" in said
    for card in (chinese, hindi):
        rows = np.flatnonzero((card < 140).any(axis=1))
        assert len(rows) <= 3  # one line, no boxes for letters
        assert len(ink_columns(card)) > 0.9 * card.shape[1]
    assert len(np.flatnonzero((latin < 100).any(axis=1))) > 10


def test_a_font_that_is_named_draws_the_letters_that_the_pages_own_lacks(
    spotlamp, tmp_path, no_system_fonts
):
    font = write_font(tmp_path / "squares.ttf", "番茄टमर" + chr(0x93E))
    (chinese, hindi, latin), said = named_cards(
        spotlamp, tmp_path, "番茄", "टमाटर", "A1", options=("--font", font)
    )
    assert "No font" not in said
    # Squares of the font: two in the first name, five in the second, type in the third.
    gaps = [int((np.diff(ink_columns(card)) > 1).sum()) for card in (chinese, hindi)]
    assert gaps == [1, 4]
    assert (chinese < 100).mean() > 0.1
    assert (latin < 100).any()


def test_a_font_of_the_machine_is_found_by_itself(spotlamp, tmp_path, monkeypatch):
    font = write_font(tmp_path / "squares.ttf", "番茄")
    monkeypatch.setattr("scripts.common.letters._system_fonts", lambda: (font,))
    (card,), said = named_cards(spotlamp, tmp_path, "番茄")
    assert "No font" not in said
    assert (card < 100).mean() > 0.1


@pytest.mark.parametrize("kind", ["lacks", "no font"])
def test_a_font_that_does_not_serve_is_refused_in_one_sentence(spotlamp, tmp_path, kind):
    font = write_font(tmp_path / "one.ttf", "番")
    if kind == "no font":
        font.write_bytes(b"nothing")
    garden = tmp_path / "garden"
    spotlamp("new", garden, "--bed", "One=番茄")
    words = ("tags", "--garden", garden, "--out", tmp_path / "t.pdf", "--font", font)
    told = spotlamp(*words, code=2).stderr
    assert told.count("\n") == 1
    assert ("lacks letters" if kind == "lacks" else "no font that can be read") in told
    assert not (tmp_path / "t.pdf").exists()


def test_names_from_right_to_left_are_drawn_joined_and_in_their_order(spotlamp, tmp_path):
    """Joined letters take less room than the same letters apart; the first stands on the right."""
    joined, apart = (letters_of(text).width_em(bold=True) for text in ("طماطم", "ط م ا ط م"))
    assert joined < 0.8 * apart
    # Alef is a thin stroke: as the first letter it stands on the right of the wide ones.
    (first, last), said = named_cards(spotlamp, tmp_path, "ا سسس", "سسس ا")
    assert "No font" not in said
    for card, right in ((first, True), (last, False)):
        tall = np.flatnonzero((card[: card.shape[0] // 3] < 100).any(axis=0))
        columns = ink_columns(card)
        middle = (columns[0] + columns[-1]) / 2
        assert (tall.mean() > middle) == right


def test_numbers_go_on_above_the_highest_and_gaps_are_filled_last():
    plants = (Plant("a", "b", tag=4), Plant("c", "b"), Plant("d", "b"), Plant("e", "b", tag=585))
    garden = Garden("g", "UTC", plants=plants)
    assert free_tags(garden, ["c", "d", "a"]) == {"c": 586, "d": 1}
    full = Garden("g", "UTC", plants=tuple(Plant(f"p{n}", "b", tag=n) for n in range(1, 587)))
    more = Garden("g", "UTC", plants=(*full.plants, Plant("one more", "b")))
    assert free_tags(full, ["p5"]) == {}
    with pytest.raises(ValueError, match="only 586"):
        free_tags(more, ["one more"])


def test_an_unknown_plant_and_a_garden_without_plants_are_told_in_one_sentence(
    plot, spotlamp, tmp_path
):
    told = spotlamp("tags", "A9", "--garden", plot, "--out", tmp_path / "t.pdf", code=2).output
    assert "no plant “A9”" in told
    spotlamp("new", tmp_path / "bare")
    bare = spotlamp("tags", "--garden", tmp_path / "bare", "--out", tmp_path / "t.pdf", code=2)
    assert "has no plants yet" in bare.output
    assert not (tmp_path / "t.pdf").exists()


@pytest.fixture
def tagged(tmp_path):
    """Return a function that writes a painted photo with a tag, and gives its truth."""

    def write(name: str, **tag):
        scene = Scene(
            leaf_size=0.6, pattern="spot", kind="septoria", severity_pct=12, direct=0.4,
            tag=PaintedTag(**tag),
        )  # fmt: skip
        painted = render(scene, 4)
        out = io.BytesIO()
        Image.fromarray(painted.pixels).save(out, "JPEG", quality=92)
        (tmp_path / "walk").mkdir(exist_ok=True)
        (tmp_path / "walk" / name).write_bytes(out.getvalue())
        return painted

    return write


def test_a_scored_photo_with_a_tag_gets_its_plant_and_millimetres(
    plot, spotlamp, tagged, tmp_path, read_table
):
    spotlamp("tags", "--garden", plot, "--out", tmp_path / "tags.pdf")
    painted = tagged("one.jpg", number=3)
    tagged("two.jpg", number=500)
    out = tmp_path / "out"
    for _ in range(2):  # measured, and kept from the first run
        spotlamp("score", tmp_path / "walk", "--garden", plot, "--out", out)
        one, two = read_table(out / "photos.csv")
        leaf = read_table(out / "leaves.csv")[0]
        assert float(one["mm_per_px"]) == pytest.approx(1 / painted.px_per_mm, rel=0.02)
        area = painted.leaf_area_px / painted.px_per_mm**2
        assert float(one["leaf_area_mm2"]) == pytest.approx(area, rel=0.06)
        assert float(leaf["area_mm2"]) == pytest.approx(float(one["leaf_area_mm2"]), rel=1e-4)
        assert float(two["leaf_area_mm2"]) == pytest.approx(area, rel=0.06)
    listed = spotlamp("assign", "--garden", plot).output
    assert "one.jpg" not in listed
    assert "two.jpg" in listed


def test_a_refused_tag_leaves_the_cells_of_millimetres_empty_and_flags_the_photo(
    spotlamp, tagged, tmp_path, read_table
):
    tagged("tilted.jpg", number=3, tilt_deg=58, span_px=120)
    spotlamp("score", tmp_path / "walk", "--out", tmp_path / "out")
    (row,) = read_table(tmp_path / "out" / "photos.csv")
    assert "tag_tilted" in row["flags"].split(";")
    assert row["mm_per_px"] == row["leaf_area_mm2"] == ""
    assert float(row["severity_pct"]) > 0
