"""What holds of a photo, as shapes and rows of one name: the measured outlines, put right.

The outlines are those of the measuring; people rejected some of what lies in them, and added what
was missed. What was added has no outline, and is drawn as a disc.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import cos, hypot, pi, sin

from models.corrections import CorrectedReading, Mark, SeenLeaf, SeenLesion
from scripts.page.drawing import LAYERS, Drawing, Shape, svg_path

__all__ = ["LAYER_WORDS", "LesionRow", "Outlined", "lesion_rows", "outlined"]

LAYER_WORDS = {
    "leaf": "leaf",
    "halo": "halo: yellow rim",
    "lesion": "lesion: dead",
    "dropping": "dropping",
    "bite": "eaten",
    "caterpillar": "caterpillar",
}
_CORNERS = 24  # of a disc
_STATES = {"measured": "", "redrawn": "", "rejected": ", rejected", "added": ", added by hand"}


@dataclass(frozen=True)
class Outlined:
    """A thing to be drawn.

    Attributes
    ----------
    name : str
        Its name, which is also that of its row.
    words : str
        What it is, for those who do not see it.
    path : str
        Of the drawing, in pixels of the full-size photo.
    layer : str
        One of ``scripts.page.drawing.LAYERS``.
    state : str
        ``measured``, ``rejected``, ``added`` or ``redrawn``.
    place : str
        Its middle as row and column, as a correction names it.
    """

    name: str
    words: str
    path: str
    layer: str
    state: str
    place: str


@dataclass(frozen=True)
class LesionRow:
    """A lesion as a row of the table, in the garden's words."""

    name: str
    size: str
    share: str
    halo: str
    where: str
    state: str
    place: str
    fix: int | None


@dataclass(frozen=True)
class _Thing:
    """Anything of the reading that is looked for among the outlines."""

    layer: str
    name: str
    row_px: float
    col_px: float
    size_px: float
    state: str
    sure: float | None = None


def outlined(drawing: Drawing, reading: CorrectedReading) -> list[Outlined]:
    """Return all that is drawn over a photo, layer by layer."""
    shapes: dict[str, list[Outlined]] = {layer: [] for layer in LAYERS}
    shapes["leaf"] = list(_leaves(drawing, reading.leaves))
    # Of a leaf that is none, or was redrawn, the measured rims are not those that count.
    changed = {leaf.entry.leaf for leaf in reading.leaves if leaf.state != "measured"}
    for layer in ("halo", "bite"):
        kept = [shape for shape in drawing.layer(layer) if shape.leaf not in changed]
        numbered = enumerate(kept, start=1)
        shapes[layer] = [_as_measured(shape, str(number)) for number, shape in numbered]
    for layer in ("lesion", "dropping", "caterpillar"):
        things = [thing for thing in _things(reading) if thing.layer == layer]
        if layer != "lesion" and not things:  # of an earlier release: only how many is known
            numbered = enumerate(drawing.layer(layer), start=1)
            shapes[layer] = [_as_measured(shape, str(number)) for number, shape in numbered]
        else:
            shapes[layer] = list(_matched(drawing.layer(layer), things))
    return [shape for layer in LAYERS for shape in shapes[layer]]


def _things(reading: CorrectedReading) -> Iterator[_Thing]:
    for one in reading.lesions:
        place = (one.row_px, one.col_px, one.size_px)
        yield _Thing("lesion", f"{one.leaf}.{one.number}", *place, one.state)
    for thing in reading.things:
        place = (thing.row_px, thing.col_px, thing.length_px)
        sure = thing.find.confidence if thing.find else None
        yield _Thing(thing.kind, str(thing.number), *place, thing.state, sure)


def _as_measured(shape: Shape, name: str) -> Outlined:
    place = _place(shape.row_px, shape.col_px)
    words = _words(shape.layer, name, "measured", shape.sure)
    return Outlined(name, words, svg_path(shape), shape.layer, "measured", place)


def _words(layer: str, name: str, state: str, sure: float | None = None) -> str:
    what = LAYER_WORDS[layer].split(":")[0]
    chance = f", {100 * sure:.0f} % sure" if sure is not None else ""
    return f"{what} {name}{chance}{_STATES[state]}"


def _place(row_px: float, col_px: float) -> str:
    return f"{row_px:.1f},{col_px:.1f}"


def _leaves(drawing: Drawing, leaves: Sequence[SeenLeaf]) -> Iterator[Outlined]:
    measured = {shape.leaf: shape for shape in drawing.layer("leaf")}
    for leaf in leaves:
        shape = measured.get(leaf.entry.leaf)
        path = _ring(leaf.outline_px) if leaf.outline_px else svg_path(shape) if shape else ""
        row, col = leaf.entry.row_px, leaf.entry.col_px
        place = _place(row, col) if row is not None and col is not None else ""
        name = str(leaf.entry.leaf)
        if path:
            words = _words("leaf", name, leaf.state)
            yield Outlined(name, words, path, "leaf", leaf.state, place)


def _ring(marks: Iterable[Mark]) -> str:
    return f"M{' '.join(f'{mark.col_px:.0f},{mark.row_px:.0f}' for mark in marks)}Z"


def _matched(shapes: Sequence[Shape], things: Iterable[_Thing]) -> Iterator[Outlined]:
    """Yield each thing in the outline whose middle lies nearest; without one, as a disc."""
    free = list(shapes)
    for thing in things:
        near = min(free, key=lambda shape: _apart(shape, thing), default=None)
        path = _disc(thing)
        if near is not None and thing.state != "added" and _apart(near, thing) <= thing.size_px + 2:
            free.remove(near)
            path = svg_path(near)
        words = _words(thing.layer, thing.name, thing.state, thing.sure)
        place = _place(thing.row_px, thing.col_px)
        yield Outlined(thing.name, words, path, thing.layer, thing.state, place)


def _apart(shape: Shape, thing: _Thing) -> float:
    return hypot(shape.row_px - thing.row_px, shape.col_px - thing.col_px)


def _disc(thing: _Thing) -> str:
    radius = max(2.0, thing.size_px / 2)
    turns = (2 * pi * corner / _CORNERS for corner in range(_CORNERS))
    return _ring(
        Mark(thing.row_px + radius * sin(turn), thing.col_px + radius * cos(turn)) for turn in turns
    )


def lesion_rows(lesions: Iterable[SeenLesion], mm_per_px: float | None) -> list[LesionRow]:
    """Return the lesions as rows of a table."""
    return [_lesion_row(lesion, mm_per_px) for lesion in lesions]


def _lesion_row(seen: SeenLesion, mm_per_px: float | None) -> LesionRow:
    lesion = seen.lesion
    known = lesion is not None and lesion.halo_width_px > 0
    halo = _length(lesion.halo_width_px, mm_per_px) if lesion and known else "none"
    return LesionRow(
        name=f"{seen.leaf}.{seen.number}",
        size=_length(seen.size_px, mm_per_px),
        share=f"{lesion.share_of_leaf_pct:.2f} %" if lesion else "",
        halo=halo if lesion else "",
        where=("at the margin" if lesion.at_margin else "inside") if lesion else "",
        state=seen.state,
        place=_place(seen.row_px, seen.col_px),
        fix=seen.fix,
    )


def _length(px: float, mm_per_px: float | None) -> str:
    return f"{px * mm_per_px:.1f} mm" if mm_per_px else f"{px:.0f} px"
