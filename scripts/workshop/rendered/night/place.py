"""Where caterpillars lie: apart, across each other, or touching, and always in the torchlight."""

import cv2
import numpy as np
from numpy.typing import NDArray

from scripts.workshop.rendered.fields import Floats
from scripts.workshop.rendered.night.body import Body, draw_body, moved
from scripts.workshop.rendered.night.scene import NightScene
from scripts.workshop.rendered.ribbon import Ribbon
from scripts.workshop.rendered.shape import Points

__all__ = ["place_bodies", "ribbon_outline"]

_TRIES = 300
_LEAST_LIGHT = 0.3  # of the beam's middle; a body in the dark beyond it could not be counted


def place_bodies(rng: np.random.Generator, scene: NightScene, torch: Floats) -> list[Body]:
    """Return the scene's caterpillars in pixels of the photo, lowest first.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    scene : NightScene
        Gives their number, size, poses and arrangement.
    torch : ndarray of float32, shape (rows, columns)
        The torch's strength.
    """
    taken = np.zeros(torch.shape, np.uint8)
    placed: list[Body] = []
    for number in range(scene.caterpillars):
        body = _place(rng, scene, number, placed, taken, torch)
        gap = int(0.5 * body.width_px) + 6
        _draw(taken, body.ribbon, gap)
        placed.append(body)
    return placed


def _place(
    rng: np.random.Generator,
    scene: NightScene,
    number: int,
    placed: list[Body],
    taken: NDArray[np.uint8],
    torch: Floats,
) -> Body:
    """Draw bodies until one fits; after many tries, smaller ones."""
    close = number == 1 and scene.arrangement != "apart"
    for attempt in range(_TRIES):
        body = draw_body(rng, scene, number)
        if number > 0 and attempt > 50:
            body = _smaller(body, 0.985 ** (attempt - 50))
        if close:
            body = _meet(rng, scene, placed[0], body, torch.shape)
        else:
            body = moved(body, 0.0, rng.uniform((0, 0), torch.shape[::-1]))
        if _fits(body, torch, None if close else taken):
            return body
    raise ValueError(f"There is no room for caterpillar {number + 1} in the photo.")


def _smaller(body: Body, factor: float) -> Body:
    factor = max(factor, 12 / body.ribbon.length_px) if body.ribbon.length_px > 12 else 1.0
    ribbon = Ribbon(body.ribbon.axis * factor, body.ribbon.half_width * factor)
    return Body(ribbon, body.hue, body.glow, body.pose)


def _fits(body: Body, torch: Floats, taken: NDArray[np.uint8] | None) -> bool:
    """Whether the body lies inside the photo, in the light, and on free ground."""
    margin = body.width_px * 0.5 + 3
    x, y = body.ribbon.axis.T
    rows, cols = torch.shape
    if min(x.min(), y.min()) < margin or x.max() > cols - margin or y.max() > rows - margin:
        return False
    spots = np.rint(body.ribbon.axis[::8]).astype(int)
    light = torch[spots[:, 1], spots[:, 0]]
    if light.mean() < _LEAST_LIGHT * 1.3 or light.min() < _LEAST_LIGHT * 0.6:
        return False
    if taken is None:
        return True
    own = np.zeros_like(taken)
    _draw(own, body.ribbon, int(0.5 * body.width_px) + 6)
    return not np.any(own & taken)


def _meet(
    rng: np.random.Generator, scene: NightScene, first: Body, body: Body, shape: tuple[int, ...]
) -> Body:
    if scene.arrangement == "crossing":
        return _across(rng, first, body)
    return _touching(rng, first, body, shape)


def _across(rng: np.random.Generator, first: Body, body: Body) -> Body:
    """Lay a body over the first one, both middles under the crossing, at 50 to 130 degrees."""
    at = int(rng.uniform(0.4, 0.6) * len(first.ribbon.axis))
    own = int(rng.uniform(0.42, 0.58) * len(body.ribbon.axis))
    turn = _heading(first.ribbon, at) - _heading(body.ribbon, own)
    turned = moved(body, turn + np.deg2rad(rng.uniform(50, 130)), np.zeros(2))
    return moved(turned, 0.0, first.ribbon.axis[at] - turned.ribbon.axis[own])


def _heading(ribbon: Ribbon, at: int) -> float:
    dx, dy = ribbon.axis[at + 2] - ribbon.axis[at - 2]
    return float(np.arctan2(dy, dx))


def _touching(rng: np.random.Generator, first: Body, body: Body, shape: tuple[int, ...]) -> Body:
    """Push a body towards the first one until less than 2 px are left between them."""
    free = np.full(shape, 255, np.uint8)
    cv2.fillPoly(free, [_fixed(ribbon_outline(first.ribbon))], 0, cv2.LINE_8, shift=4)
    distance = cv2.distanceTransform(free, cv2.DIST_L2, 5)
    angle = rng.uniform(0, 2 * np.pi)
    way = np.array([np.cos(angle), np.sin(angle)])
    goal = first.ribbon.axis[int(rng.uniform(0.15, 0.85) * len(first.ribbon.axis))]
    reach = first.ribbon.length_px + body.ribbon.length_px
    outline = ribbon_outline(body.ribbon)
    for _ in range(40):
        points = np.rint(outline + goal - reach * way).astype(int)
        inside = np.clip(points, 0, np.array(shape[::-1]) - 1)
        outside = np.hypot(*(points - inside).T)
        room = float((distance[inside[:, 1], inside[:, 0]] + outside).min())
        if room < 2:
            break
        reach -= max(room - 1.2, 0.5)
    return moved(body, 0.0, goal - reach * way)


def ribbon_outline(ribbon: Ribbon) -> Points:
    """Return a ribbon's closed outline, x and y."""
    tangent = np.gradient(ribbon.axis, axis=0)
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
    across = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1) * ribbon.half_width[:, None]
    return np.concatenate([ribbon.axis + across, (ribbon.axis - across)[::-1]])


def _draw(canvas: NDArray[np.uint8], ribbon: Ribbon, gap: int) -> None:
    outline = [_fixed(ribbon_outline(ribbon))]
    cv2.fillPoly(canvas, outline, 255, cv2.LINE_8, shift=4)
    cv2.polylines(canvas, outline, True, 255, max(1, gap), cv2.LINE_8, shift=4)


def _fixed(points: Points) -> NDArray[np.int32]:
    return np.rint(points * 16).astype(np.int32)
