"""The story of a painted night photo: foliage, things that glow, caterpillars, torch, camera."""

from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.fields import Floats
from scripts.workshop.rendered.night.body import Body
from scripts.workshop.rendered.night.camera import expose_night, through_night_lens
from scripts.workshop.rendered.night.decoys import lay_decoy
from scripts.workshop.rendered.night.foliage import foliage_material, lay_foliage
from scripts.workshop.rendered.night.hiding import lay_over
from scripts.workshop.rendered.night.larva import USUAL_GLOW, paint_larva
from scripts.workshop.rendered.night.place import place_bodies
from scripts.workshop.rendered.night.scene import NightScene
from scripts.workshop.rendered.night.sheet import VIOLET, Painted, Sheet, ambient_light, torch_light
from scripts.workshop.rendered.night.thicket import lay_thicket
from scripts.workshop.rendered.night.truth import CaterpillarTruth, DecoyTruth, RenderedNight

__all__ = ["render_night"]

_LEAST_CONTRAST = 4.0  # green of a body ÷ green of the foliage behind it
_LEAST_LIGHT = 0.03  # green of a body in the photo, 1 = burnt out


@dataclass(eq=False)
class _Labels:
    """What is topmost at each pixel."""

    numbers: NDArray[np.uint8]
    decoys: NDArray[np.uint8]
    whole_px: list[int] = field(default_factory=list)


def render_night(scene: NightScene, seed: int, *, torch_off: bool = False) -> RenderedNight:
    """Paint a night scene.

    Parameters
    ----------
    scene : NightScene
        What is painted.
    seed : int
        Fixes everything that the scene leaves to chance.
    torch_off : bool
        Whether the torch-off frame is made too; it leaves the photo as it is.

    Returns
    -------
    RenderedNight
        The photo with its exact truth. The same scene and seed give the same photo.

    Raises
    ------
    ValueError
        If the caterpillars find no room in the photo.
    """
    rng = np.random.default_rng(seed)
    shape = (scene.height_px, scene.width_px)
    torch = torch_light(rng, scene)
    bodies = place_bodies(rng, scene, torch)
    sheet = Sheet.dark(scene)
    labels = _Labels(np.zeros(shape, np.uint8), np.zeros(shape, np.uint8))
    material = foliage_material(rng, scene)
    lay = lay_foliage if scene.style == "spline" else lay_thicket
    lay(rng, scene, sheet, material)
    keep_free = _keep_free(bodies, shape)
    for number, kind in enumerate(scene.decoys, start=1):
        seen = lay_decoy(rng, scene, sheet, material, kind, keep_free)
        labels.decoys[seen] = number
    behind = sheet.glow[..., 1].copy()
    if not scene.trouble:
        bodies = [_countable(scene, body, behind, torch) for body in bodies]
    for number, body in enumerate(bodies, start=1):
        _lay_body(sheet, labels, paint_larva(rng, scene, body, shape), number)
    if scene.hiding and bodies:
        hidden = lay_over(rng, scene, sheet, material, bodies[0], labels.numbers)
        labels.numbers[hidden] = 0
        labels.decoys[hidden] = 0
    stray = ambient_light(sheet, scene)
    photo = _photograph(rng, scene, sheet, torch, stray)
    off = _photograph_torch_off(rng, scene, stray) if torch_off else None
    truths = tuple(_caterpillars(bodies, labels, sheet, behind))
    decoys = tuple(_decoys(scene, labels))
    for array in (photo, photo if off is None else off, labels.numbers, labels.decoys):
        array.flags.writeable = False
    return RenderedNight(photo, off, labels.numbers, labels.decoys, truths, decoys, scene, seed,
                         scene.px_per_mm)  # fmt: skip


def _keep_free(bodies: list[Body], shape: tuple[int, int]) -> NDArray[np.uint8]:
    """Return 255 where no decoy may lie: on the caterpillars and just beside them."""
    canvas = np.zeros(shape, np.uint8)
    for body in bodies:
        points = np.rint(body.ribbon.axis * 16).astype(np.int32)
        wide = int(1.9 * body.width_px) + 8
        cv2.polylines(canvas, [points], False, 255, wide, cv2.LINE_8, shift=4)
    return canvas


def _countable(scene: NightScene, body: Body, behind: Floats, torch: Floats) -> Body:
    """Let a body glow at least as much as a patient person needs to find it in the photo."""
    spots = np.rint(body.ribbon.axis[::4]).astype(int)
    ground = float(behind[spots[:, 1], spots[:, 0]].mean())
    light = float(torch[spots[:, 1], spots[:, 0]].mean()) * scene.exposure
    small = 2.0 if body.ribbon.length_px < 40 else 1.0
    least = max(_LEAST_CONTRAST * ground, small * _LEAST_LIGHT / light)
    return replace(body, glow=max(body.glow, least / USUAL_GLOW))


def _lay_body(sheet: Sheet, labels: _Labels, painted: Painted, number: int) -> None:
    sheet.lay(painted, 0.3)
    own = painted.cover >= 0.5
    labels.numbers[painted.window][own] = number
    labels.decoys[painted.window][own] = 0
    labels.whole_px.append(int(np.count_nonzero(own)))


def _photograph(
    rng: np.random.Generator, scene: NightScene, sheet: Sheet, torch: Floats, stray: Floats
) -> NDArray[np.uint8]:
    light = sheet.glow + sheet.violet[..., None] * (VIOLET * np.float32(scene.leak))
    light = light * torch[..., None] + stray
    return expose_night(rng, scene, through_night_lens(rng, scene, light))


def _photograph_torch_off(
    rng: np.random.Generator, scene: NightScene, stray: Floats
) -> NDArray[np.uint8]:
    """Return the scene in other light alone, the hand a little aside."""
    angle = rng.uniform(0, 2 * np.pi)
    dx, dy = scene.off_shift_px * np.cos(angle), scene.off_shift_px * np.sin(angle)
    move = np.array([[1, 0, dx], [0, 1, dy]], np.float32)
    moved = cv2.warpAffine(stray, move, stray.shape[1::-1], borderMode=cv2.BORDER_REPLICATE)
    return expose_night(rng, scene, through_night_lens(rng, scene, np.asarray(moved, np.float32)))


def _caterpillars(
    bodies: list[Body], labels: _Labels, sheet: Sheet, behind: Floats
) -> list[CaterpillarTruth]:
    found = []
    for number, body in enumerate(bodies, start=1):
        own = (labels.numbers == number).astype(np.uint8)
        rows, cols = np.nonzero(own)
        around = cv2.dilate(own, np.ones((15, 15), np.uint8)) > own
        around &= (labels.numbers == 0) & (labels.decoys == 0)
        ground = max(float(behind[around].mean()), 1e-4)
        found.append(
            CaterpillarTruth(
                number=number,
                row_px=float(rows.mean()),
                col_px=float(cols.mean()),
                length_px=body.ribbon.length_px,
                width_px=body.width_px,
                area_px=len(rows),
                visible_share=len(rows) / labels.whole_px[number - 1],
                pieces=cv2.connectedComponents(own, connectivity=8)[0] - 1,
                axis=body.ribbon.axis,
                pose=body.pose,
                hue=body.hue,
                contrast=float(sheet.glow[rows, cols, 1].mean()) / ground,
            )
        )
    return found


def _decoys(scene: NightScene, labels: _Labels) -> list[DecoyTruth]:
    found = []
    for number, kind in enumerate(scene.decoys, start=1):
        rows, cols = np.nonzero(labels.decoys == number)
        if len(rows):
            middle = float(rows.mean()), float(cols.mean())
            found.append(DecoyTruth(number, kind, *middle, len(rows)))
    return found
