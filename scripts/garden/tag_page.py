"""The page of stake tags: cards in rows, to be printed at their true size and cut out."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from io import BytesIO
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from models.garden.beds import Garden, Plant, free_tags
from models.garden.settings import GARDEN_FILE, GardenError, read_garden, settings_text, with_tags
from scripts.common.files import write_whole
from scripts.common.letters import Letters, letters_of
from scripts.common.which_garden import known_plant
from vision.photo.find import printable
from vision.tag.card import (
    CARD_MM,
    CELL_MM,
    GREY_MM,
    INK_GREY,
    NAME_MM,
    SIDE_MM,
    WHITE_MM,
    Box,
    marker_cells,
)

__all__ = ["PAPERS_MM", "card_places", "make_tags", "tag_pages"]

PAPERS_MM = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height of the papers."""

_PT = 72 / 25.4  # PDF points a millimetre
_COLUMNS, _ROWS = 4, 3
_TOP_MM = 27.0  # above the cards: what to do
_BELOW_MM = 33.0  # from the ruler to the foot of the page
_RULER_MM, _INCH_MM = 100.0, 25.4
_NAME_PT, _LEAST_NAME_PT = 18.0, 9.0
_FRAME_MM = 0.3  # of the white patch


def make_tags(
    folder: Path, names: Sequence[str], out: Path, paper: str = "", font: Path | None = None
) -> str:
    """Write the page of some plants' tags, and their numbers into the garden's settings.

    Parameters
    ----------
    folder : Path
        The garden's.
    names : sequence of str
        Plants; all when empty.
    out : Path
        The PDF.
    paper : {"A4", "Letter", ""}
        Empty: Letter where the garden's units are US, else A4.
    font : Path, optional
        For letters that the page's own font lacks.

    Returns
    -------
    str
        What was done, for people.

    Raises
    ------
    GardenError
        When there is no such plant, no plant at all, no number left, or the font does not serve.
    CannotWriteError
        When a file cannot be written.
    """
    garden = read_garden(folder)
    wanted = [known_plant(garden, name) for name in dict.fromkeys(names)]
    wanted = list(dict.fromkeys(wanted)) or [plant.name for plant in garden.plants]
    if not wanted:
        raise GardenError(f"“{garden.name}” has no plants yet: write them into {GARDEN_FILE}.")
    try:
        new = free_tags(garden, wanted)
    except ValueError as error:
        raise GardenError(str(error)) from error
    plants = [replace(p, tag=new.get(p.name, p.tag)) for p in garden.plants if p.name in wanted]
    paper = paper or ("Letter" if garden.units == "US" else "A4")
    files = {out: tag_pages(garden, plants, paper, font)}
    settings = folder / GARDEN_FILE
    if new:
        files[settings] = with_tags(settings_text(settings), new).encode()
    write_whole(files)
    by_hand = [plant.name for plant in plants if letters_of(plant.name, font) is None]
    return "\n".join([_told(out, paper, len(plants), len(new), settings), *_by_hand(by_hand)])


def _told(out: Path, paper: str, count: int, new: int, settings: Path) -> str:
    pages = -(-count // (_COLUMNS * _ROWS))
    said = [
        f"{_several(count, 'tag')} on {_several(pages, 'page')} ({paper}): {out}",
        f"Print at 100 %, without “fit to page”, and check that the line is {_RULER_MM:.0f} mm "
        "long.",
    ]
    if new:
        said.append(f"{_several(new, 'number')} went into {settings}.")
    return "\n".join(said)


def _by_hand(names: Sequence[str]) -> Iterator[str]:
    """Say which names the page has a line for instead."""
    if names:
        named = ", ".join(f"“{printable(name)}”" for name in names)
        yield (
            f"No font here has the letters of {named}: there is a line to write on. Or name a font "
            "with --font FILE."
        )


def _several(number: int, thing: str) -> str:
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def tag_pages(
    garden: Garden, plants: Sequence[Plant], paper: str, font: Path | None = None
) -> bytes:
    """Return the PDF of some plants' tags.

    Parameters
    ----------
    garden : Garden
        Gives its name to the page.
    plants : sequence of Plant
        Each with its tag.
    paper : str
        A key of ``PAPERS_MM``.
    font : Path, optional
        For letters that the page's own font lacks.

    Raises
    ------
    GardenError
        When that font cannot be read or lacks letters.
    """
    from reportlab.pdfgen.canvas import Canvas

    out = BytesIO()
    width, height = PAPERS_MM[paper]
    canvas = Canvas(out, pagesize=(width * _PT, height * _PT), invariant=True)
    canvas.setTitle(f"Stake tags of {garden.name}")
    canvas.setCreator("Spotlamp")
    places = card_places(paper)
    for first in range(0, len(plants), len(places)):
        draw = _Pen(canvas, height)
        _head(draw, garden, width, font)
        for plant, place in zip(plants[first:], places, strict=False):
            _card(replace(draw, origin=place), plant, letters_of(plant.name, font))
        _ruler(draw, width, height, paper)
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def card_places(paper: str) -> list[tuple[float, float]]:
    """Return where the black squares' upper left corners lie on a page, (x, y) in mm."""
    card_width, card_height = CARD_MM[2] - CARD_MM[0], CARD_MM[3] - CARD_MM[1]
    left = (PAPERS_MM[paper][0] - _COLUMNS * card_width) / 2
    return [
        (left + column * card_width - CARD_MM[0], _TOP_MM + row * card_height - CARD_MM[1])
        for row in range(_ROWS)
        for column in range(_COLUMNS)
    ]


@dataclass(frozen=True)
class _Pen:
    """Draws in mm from a place on the page, y down, as the card is measured."""

    canvas: Any
    page_mm: float
    origin: tuple[float, float] = (0.0, 0.0)

    def box(self, box: Box, grey: float) -> None:
        """Fill a box with a grey, 0 black to 1 white."""
        x, y = self.at(box[0], box[3])
        self.canvas.setFillGray(grey)
        self.canvas.rect(x, y, (box[2] - box[0]) * _PT, (box[3] - box[1]) * _PT, stroke=0, fill=1)

    def line(self, start: tuple[float, float], end: tuple[float, float], width: float) -> None:
        """Draw a black line, its width in points."""
        self.canvas.setStrokeGray(0)
        self.canvas.setLineWidth(width)
        self.canvas.line(*self.at(*start), *self.at(*end))

    def outline(self, box: Box) -> None:
        """Draw a box in fine grey dashes."""
        x, y = self.at(box[0], box[3])
        self.canvas.saveState()
        self.canvas.setStrokeGray(0.6)
        self.canvas.setLineWidth(0.4)
        self.canvas.setDash(2, 2)
        self.canvas.rect(x, y, (box[2] - box[0]) * _PT, (box[3] - box[1]) * _PT, stroke=1, fill=0)
        self.canvas.restoreState()

    def text(
        self, x: float, y: float, text: str | Letters, size: float, *, bold: bool = False
    ) -> None:
        """Write a line of text from a place on its base line."""
        letters = Letters(text) if isinstance(text, str) else text
        letters.draw(self.canvas, self.at(x, y), size, bold=bold)

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Return PDF points, which count from the lower left."""
        return (self.origin[0] + x) * _PT, (self.page_mm - self.origin[1] - y) * _PT


def _head(draw: _Pen, garden: Garden, width: float, font: Path | None) -> None:
    left = (width - _COLUMNS * (CARD_MM[2] - CARD_MM[0])) / 2
    head = "Stake tags · "
    draw.text(left, 12, head, 13, bold=True)
    if name := letters_of(garden.name, font):
        draw.text(left + 13 * Letters(head).width_em(bold=True) / _PT, 12, name, 13, bold=True)
    draw.text(left, 18, "Print at 100 % on plain matt paper, and check the line below.", 9)
    draw.text(
        left, 22.5, "Cut along the dashes. Photograph the tag whole, flat and beside the leaf.", 9
    )


def _card(draw: _Pen, plant: Plant, name: Letters | None) -> None:
    draw.outline(CARD_MM)
    draw.box((0.0, 0.0, SIDE_MM, SIDE_MM), 0)
    for box in _white_boxes(marker_cells(plant.tag or 0)):
        draw.box(box, 1)
    frame = (WHITE_MM[0] - _FRAME_MM, WHITE_MM[1] - _FRAME_MM,
             WHITE_MM[2] + _FRAME_MM, WHITE_MM[3] + _FRAME_MM)  # fmt: skip
    draw.box(frame, INK_GREY)
    draw.box(WHITE_MM, 1)
    draw.box(GREY_MM, INK_GREY)
    if name is None:
        base = NAME_MM[3] - 1.0
        draw.line((NAME_MM[0], base), (NAME_MM[2], base), 0.6)
    else:
        _write_name(draw, name)
    draw.text(NAME_MM[0], CARD_MM[3] - 1.0, str(plant.tag), 5)


def _white_boxes(cells: NDArray[np.bool_]) -> Iterator[Box]:
    """Yield the white runs along rows and along columns; they overlap, so no seam is left."""
    for line, row in enumerate(cells):
        for start, end in _runs(row):
            yield start * CELL_MM, line * CELL_MM, end * CELL_MM, (line + 1) * CELL_MM
    for line, column in enumerate(cells.T):
        for start, end in _runs(column):
            yield line * CELL_MM, start * CELL_MM, (line + 1) * CELL_MM, end * CELL_MM


def _runs(cells: NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    start = 0
    for white, run in groupby(cells.tolist()):
        end = start + len(list(run))
        if white:
            yield start, end
        start = end


def _write_name(draw: _Pen, name: Letters) -> None:
    """Write the name as large as it fits, in two lines where one would be too small."""
    lines = [name]
    if _fitting_pt(lines) < _LEAST_NAME_PT:
        lines = [replace(name, text=part) for part in name.parts()]
    size = _fitting_pt(lines)
    step = (NAME_MM[3] - NAME_MM[1]) / len(lines)
    for number, line in enumerate(lines, start=1):
        base = NAME_MM[1] + number * step - 0.28 * size / _PT
        draw.text(NAME_MM[0], base, line, size, bold=True)


def _fitting_pt(lines: Sequence[Letters]) -> float:
    room = (NAME_MM[2] - NAME_MM[0]) * _PT
    widest = max(line.width_em(bold=True) for line in lines)
    tall = (NAME_MM[3] - NAME_MM[1]) * _PT / len(lines)
    return float(min(_NAME_PT, room / max(widest, 1e-6), 0.9 * tall))


def _ruler(draw: _Pen, width: float, height: float, paper: str) -> None:
    left = (width - _COLUMNS * (CARD_MM[2] - CARD_MM[0])) / 2
    top = height - _BELOW_MM
    _graduated(draw, left, top, _RULER_MM, 10.0)
    draw.text(left + _RULER_MM + 4, top + 1, f"{_RULER_MM:.0f} mm from end to end", 9)
    if paper == "Letter":
        top += 8.5
        _graduated(draw, left, top, 4 * _INCH_MM, _INCH_MM)
        draw.text(left + 4 * _INCH_MM + 4, top + 1, "4 inches from end to end", 9)
    note = "Wrong length? Print without “fit to page”: these tags would give wrong millimetres."
    draw.text(left, top + 8.5, note, 9)


def _graduated(draw: _Pen, left: float, top: float, length: float, step: float) -> None:
    draw.line((left, top), (left + length, top), 0.6)
    for number in range(round(length / step) + 1):
        end = number in (0, round(length / step))
        x = left + number * step
        draw.line((x, top - (3.0 if end else 1.5)), (x, top + (3.0 if end else 0)), 0.6)
