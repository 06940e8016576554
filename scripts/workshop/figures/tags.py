"""Try the reading of stake tags on painted photos: ``python -m scripts.workshop figures tags``.

Tags of many sizes, tilts and lights, whole, torn, dirty, blurred and in pairs are painted into
photos. The table says how many were read, refused or not seen, and how far the scale was off; the
number that matters most is that of wrong identities.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

import numpy as np
import typer

from scripts.workshop.figures.write import as_table, fill
from scripts.workshop.rendered import PaintedTag, RenderedPhoto, draw_scene, render
from vision.day.measure import measure_day_photo
from vision.records import Photo, TagReading
from vision.tag.card import SIDE_MM
from vision.tag.find import find_tag
from vision.tag.scale import mm_per_px
from vision.tag.white_balance import balanced

__all__ = ["CONDITIONS", "Trial", "app", "as_photo", "true_mm_per_px", "try_tags"]

_AWAY = 3.0  # sides between the tag and the leaf whose scale is asked for


@dataclass(frozen=True)
class Trial:
    """One painted tag and what was read."""

    condition: str
    tag: PaintedTag
    reading: TagReading | None
    error_pct: float | None = None
    away_error_pct: float | None = None

    @property
    def read(self) -> bool:
        """Whether an identity was given, right or wrong."""
        return self.reading is not None and self.reading.number is not None

    @property
    def wrong(self) -> bool:
        """Whether a wrong identity was given."""
        return self.read and self.reading is not None and self.reading.number != self.tag.number

    @property
    def flagged(self) -> bool:
        """Whether a tag was seen and refused."""
        return self.reading is not None and self.reading.number is None


Draw = Callable[[np.random.Generator], tuple[dict[str, Any], dict[str, Any]]]


def _size(rng: np.random.Generator, low: float, high: float) -> dict[str, Any]:
    span = float(np.exp(rng.uniform(np.log(low), np.log(high))))
    return {"span_px": span, "turn_deg": float(rng.uniform(0, 360))}


def _tilt(rng: np.random.Generator, low: float, high: float) -> dict[str, Any]:
    tilt, towards = float(rng.uniform(low, high)), float(rng.uniform(0, 360))
    return {"tilt_deg": tilt, "tilt_towards_deg": towards}


CONDITIONS: dict[str, Draw] = {
    "flat, 80 to 180 px": lambda rng: (_size(rng, 80, 180), {}),
    "flat, 40 to 80 px": lambda rng: (_size(rng, 40, 80), {}),
    "flat, 10 to 40 px": lambda rng: (_size(rng, 10, 40), {}),
    "tilted by up to 35°, 80 px and more": lambda rng: (
        _size(rng, 80, 180) | _tilt(rng, 5, 35), {},
    ),
    "tilted by 50 to 75°": lambda rng: (_size(rng, 60, 260) | _tilt(rng, 50, 75), {}),
    "half in hard shadow": lambda rng: (
        _size(rng, 60, 200) | {"shaded": float(rng.uniform(0.3, 0.7))}, {},
    ),
    "dark, noisy or glaring": lambda rng: (
        _size(rng, 50, 200),
        {"exposure": float(np.exp(rng.uniform(-2.2, 0.7))), "noise": float(rng.uniform(0.3, 1))},
    ),
    "out of focus or shaken": lambda rng: (
        _size(rng, 40, 160),
        {"blur_px": float(rng.uniform(1, 7)), "motion_px": float(rng.uniform(0, 9))},
    ),
    "torn": lambda rng: (_size(rng, 60, 200) | {"torn": float(rng.uniform(0.2, 0.9))}, {}),
    "dirty": lambda rng: (_size(rng, 60, 200) | {"dirt": float(rng.uniform(0.02, 0.4))}, {}),
    "partly behind a leaf": lambda rng: (
        _size(rng, 60, 160) | {"place": tuple(rng.uniform(0.3, 0.7, 2))}, {"leaf_size": 0.95},
    ),
}  # fmt: skip
"""What is tried: each draws the tag and what is special in the scene."""


def as_photo(painted: RenderedPhoto) -> Photo:
    """Return a painted photo as if it had been decoded from a file at full size."""
    rows, columns = painted.pixels.shape[:2]
    taken_at = datetime(2025, 7, 1, 8)
    return Photo(Path("x.jpg"), "x.jpg", "", taken_at, "exif", painted.pixels, columns, rows)


def true_mm_per_px(painted: RenderedPhoto, row_px: float, col_px: float) -> float:
    """Return the true scale of the tag's plane at a place."""
    corners = tuple((y, x) for x, y in painted.tag_corners_px or ())
    return mm_per_px(TagReading(painted.scene.tag.number, corners_px=corners), row_px, col_px)  # type: ignore[union-attr]


def try_tags(condition: str, number: int, seed: int, **size: int) -> Iterator[Trial]:
    """Paint and read tags under one condition."""
    for n in range(number):
        rng = np.random.default_rng([seed, n, list(CONDITIONS).index(condition)])
        about_tag, about_scene = CONDITIONS[condition](rng)
        tag = PaintedTag(int(rng.integers(1, 587)), **about_tag)
        fixed = {"leaf_size": 0.5, **size, **about_scene, "tag": tag}
        painted = render(draw_scene(rng, **fixed), n)
        yield _judged(condition, painted, find_tag(as_photo(painted)))


def _judged(condition: str, painted: RenderedPhoto, reading: TagReading | None) -> Trial:
    tag = painted.scene.tag
    assert tag is not None
    trial = Trial(condition, tag, reading)
    if reading is None or reading.number is None:
        return trial
    x, y = np.mean(painted.tag_corners_px or (), axis=0)
    away = y + _AWAY * (tag.span_px or SIDE_MM * painted.px_per_mm)
    errors = [
        100 * (mm_per_px(reading, at, x) / true_mm_per_px(painted, at, x) - 1) for at in (y, away)
    ]
    return replace(trial, error_pct=errors[0], away_error_pct=errors[1])


def _row(condition: str, trials: list[Trial]) -> list[str]:
    read = [trial for trial in trials if trial.read]
    flagged = sum(trial.flagged for trial in trials)
    return [
        condition,
        str(len(trials)),
        str(sum(trial.wrong for trial in trials)),
        str(len(read)),
        str(flagged),
        str(len(trials) - len(read) - flagged),
        _worst([trial.error_pct for trial in read]),
        _worst([trial.away_error_pct for trial in read]),
    ]


def _worst(errors: list[float | None]) -> str:
    return f"{max(abs(e) for e in errors if e is not None):.1f} %" if errors else ""


def cast_misses(strength: float, seed: int, **size: int) -> tuple[float, float]:
    """Return how far severity is off without and with white balance, percentage points.

    Parameters
    ----------
    strength : float
        Natural log of the cast's red gain; blue is turned as far the other way.
    seed : int
        Fixes scene, symptoms, and whether the light is warm or cold.
    **size : int
        ``width_px`` and ``height_px``.
    """
    rng = np.random.default_rng([6, seed])
    warmth, tint = strength * rng.choice((-1, 1)), rng.normal(0, strength / 4)
    cast = tuple(np.exp([warmth, tint, -warmth]).tolist())
    printed = tuple(np.exp(rng.normal(0, 0.03, 3)).tolist())
    tag = PaintedTag(7, span_px=size["width_px"] / 8, tint=printed)
    pattern = ("spot", "blight")[seed % 2]
    scene = draw_scene(
        rng, leaf_size=0.7, cast=cast, exposure=0.85, tag=tag, pattern=pattern, **size
    )
    painted = render(scene, seed)
    photo = as_photo(painted)
    reading = find_tag(photo)
    seen = balanced(photo, reading.white_balance if reading else None)
    truth = painted.severity_pct or 0.0
    plain, corrected = (
        abs((measure_day_photo(one, reading).reading.severity_pct or 0.0) - truth)
        for one in (photo, seen)
    )
    return plain, corrected


def _cast_rows(number: int) -> list[list[str]]:
    rows = []
    for strength in (0.0, 0.12, 0.25, 0.4):
        missed = [cast_misses(strength, n, width_px=800, height_px=600) for n in range(number)]
        plain, corrected = np.mean(missed, axis=0)
        rows.append(
            [f"{100 * np.expm1(strength):.0f} %", str(number), f"{plain:.2f}", f"{corrected:.2f}"]
        )
    return rows


_CAST_HEAD = (
    *("more red and less blue, or the reverse", "number"),
    *("mean miss of severity, points", "with the tag's white balance"),
)
_HEAD = (
    *("tags painted", "number", "wrong", "read", "refused with a flag", "not seen"),
    *("worst scale error", "and three sides away"),
)
app = typer.Typer(add_completion=False)


@app.command()
def main(
    number: Annotated[int, typer.Option(help="Photos for each condition.")] = 60,
    seed: Annotated[int, typer.Option(help="Another seed paints other photos.")] = 1,
    write: Annotated[bool, typer.Option(help="Put the table into the document.")] = False,
) -> None:
    """Paint tags under every condition, read them, and print how it went."""
    rows = [
        _row(name, list(try_tags(name, number, seed, width_px=900, height_px=680)))
        for name in CONDITIONS
    ]
    casts = as_table(_CAST_HEAD, _cast_rows(number))
    again = "`python -m scripts.workshop figures tags` measures this again."
    text = f"{as_table(_HEAD, rows)}\n\nIn coloured light:\n\n{casts}\n\n{again}"
    print(text)
    if write:
        fill("tags", text)


if __name__ == "__main__":
    app()
