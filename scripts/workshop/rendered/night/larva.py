"""The caterpillar's surface under UV: what glows, what does not, for each of the two painters."""

import numpy as np

from scripts.workshop.rendered.fields import AnyFloats, Floats, blur, smooth_field, smoothstep
from scripts.workshop.rendered.night.body import Body
from scripts.workshop.rendered.night.scene import NightScene
from scripts.workshop.rendered.night.sheet import Painted, Surface
from scripts.workshop.rendered.ribbon import Ribbon, follow, frame_window, window_size
from scripts.workshop.rendered.shape import Points

__all__ = ["USUAL_GLOW", "larva_colour", "paint_larva"]

# Linear light of the glow, read as "green" by those who saw it; no spectrum is published.
_HUES = np.array([[0.50, 1.0, 0.08], [0.14, 1.0, 0.16], [0.07, 1.0, 0.48], [0.07, 0.92, 0.92]])
_HUE_AT = (0.0, 0.35, 0.7, 1.0)
_DAY_GREEN = np.array([0.18, 0.32, 0.08], np.float32)
USUAL_GLOW = 0.42
"""Green light of a usual body in the middle of the beam, 1 = burnt out."""


def larva_colour(hue: float) -> Floats:
    """Return the linear colour of a glow, its green near 1."""
    return np.array([np.interp(hue, _HUE_AT, _HUES[:, band]) for band in range(3)], np.float32)


def paint_larva(
    rng: np.random.Generator, scene: NightScene, body: Body, shape: tuple[int, int]
) -> Painted:
    """Paint a caterpillar without what may lie over it.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    scene : NightScene
        Gives style, marking and horn.
    body : Body
        The form, in pixels of the photo.
    shape : tuple of int
        Rows and columns of the photo.
    """
    paint = _paint_spline if scene.style == "spline" else _paint_chain
    painted = paint(rng, scene, body, shape)
    return _with_horn(rng, body, painted, shape) if scene.horn else painted


def _surface(
    body: Body, tone: AnyFloats, tint: AnyFloats, violet: AnyFloats, gut: AnyFloats
) -> Surface:
    """Return the material: glow × tone, tinted to yellow (above 0) or blue, reddish in the gut."""
    colour = larva_colour(body.hue) * np.float32(USUAL_GLOW * body.glow)
    tinted = np.stack([1 + 0.5 * tint, 1 + 0 * tint, 1 - 0.5 * tint], axis=-1)
    glow = tone[..., None] * colour * np.clip(tinted, 0.3, 2)
    glow = glow + gut[..., None] * np.array([0.10, -0.04, -0.02], np.float32)
    return Surface(np.maximum(glow, 0).astype(np.float32), violet, tone, _DAY_GREEN)


def _paint_spline(
    rng: np.random.Generator, scene: NightScene, body: Body, shape: tuple[int, int]
) -> Painted:
    """One smooth swath: folds, diagonal stripes, spiracles and gut."""
    swath = follow(body.ribbon, shape)
    if swath is None:
        raise ValueError("The caterpillar lies outside the photo.")
    t, s = swath.along, swath.across
    round_off = np.sqrt(np.clip(1 - 0.92 * s * s, 0, 1))
    tone = 0.25 + 0.75 * round_off ** np.float32(rng.uniform(0.6, 1.4))
    tone = tone * _spline_marks(rng, scene, body, t, s)
    tone = tone * np.exp(0.07 * smooth_field(rng, t.shape, max(0.12 * body.width_px, 1.5), 2))
    tint = 0.25 * scene.marking * smooth_field(rng, t.shape, max(0.5 * body.width_px, 2))
    gut = _gut(rng, t, s)
    gleam = np.exp(-(((s - rng.uniform(-0.5, 0.5)) / 0.18) ** 2)) * smoothstep(
        smooth_field(rng, t.shape, max(0.25 * body.width_px, 2)), 0.8, 1.8
    )
    violet = 0.06 * tone + np.float32(rng.uniform(0, 0.35)) * gleam
    return Painted(swath.window, swath.cover, _surface(body, tone, tint, violet, gut))


def _spline_marks(
    rng: np.random.Generator, scene: NightScene, body: Body, t: Floats, s: Floats
) -> Floats:
    """Return the factor of folds, stripes, spiracles and head on the glow."""
    m = np.float32(scene.marking)
    segments = int(rng.integers(11, 14))
    phase = t * segments
    fold = np.exp(-(((phase - np.rint(phase)) / 0.16) ** 2))
    tone = 1 - m * np.float32(rng.uniform(0.2, 0.6)) * fold
    slant = np.float32(rng.choice((-1, 1)) * rng.uniform(0.5, 1.1))
    lean = phase + slant * np.abs(s)
    stripe = np.exp(-(((lean - np.rint(lean)) / 0.13) ** 2)) * smoothstep(np.abs(s), 0.25, 0.5)
    tone = tone * (1 + m * np.float32(rng.uniform(-0.5, 0.7)) * stripe)
    middle = phase - np.floor(phase) - 0.5
    spiracle = np.exp(-((middle / 0.16) ** 2) - (((np.abs(s) - 0.62) / 0.14) ** 2))
    tone = tone * (1 - m * np.float32(rng.uniform(0.2, 0.7)) * spiracle)
    head = smoothstep(-t, -0.07, -0.05)
    ends = 1 + np.float32(rng.uniform(-0.5, 0.15)) * head
    slope = 1 + np.float32(rng.normal(0, 0.15)) * (t - 0.5)
    return np.asarray(np.clip(tone, 0.12, 2) * ends * slope, np.float32)


def _gut(rng: np.random.Generator, t: Floats, s: Floats) -> Floats:
    """Return where food shows through, reddish from its chlorophyll: often not at all."""
    strength = max(0.0, float(rng.normal(-0.3, 0.7)))
    line = np.exp(-((s / 0.3) ** 2)) * smoothstep(t, 0.12, 0.3) * smoothstep(-t, -0.95, -0.8)
    return np.asarray(np.float32(min(strength, 1)) * line, np.float32)


def _with_horn(
    rng: np.random.Generator, body: Body, painted: Painted, shape: tuple[int, int]
) -> Painted:
    """Add the tail's horn: thin, pointed, with less glow than the body."""
    axis, half = body.ribbon.axis, body.ribbon.half_width
    start = axis[-max(3, len(axis) // 14)]
    back = axis[-1] - axis[-6]
    angle = np.arctan2(back[1], back[0]) + rng.uniform(-1.1, 1.1)
    reach = body.width_px * rng.uniform(0.5, 1.0) + 0.5 * half.max()
    u = np.linspace(0, 1, 24)[:, None]
    bend = angle + rng.normal(0, 0.4) * u
    line = start + reach * u * np.concatenate([np.cos(bend), np.sin(bend)], axis=1)
    horn = follow(Ribbon(line, np.linspace(0.09, 0.02, 24) * body.width_px + 0.3), shape)
    if horn is None:
        return painted
    tone = np.full(horn.cover.shape, rng.uniform(0.15, 0.7), np.float32)
    zero = np.zeros_like(tone)
    surface = _surface(body, tone, zero, 0.05 * tone, zero)
    return _join(shape, Painted(horn.window, horn.cover, surface), painted)


def _join(shape: tuple[int, int], below: Painted, above: Painted) -> Painted:
    """Return two painted parts as one."""
    rows = [w.window[0] for w in (below, above)]
    cols = [w.window[1] for w in (below, above)]
    window = (
        slice(min(r.start for r in rows), max(r.stop for r in rows)),
        slice(min(c.start for c in cols), max(c.stop for c in cols)),
    )
    size = window_size(window)
    cover, violet = np.zeros(size, np.float32), np.zeros(size, np.float32)
    glow, day = np.zeros((*size, 3), np.float32), np.zeros(size, np.float32)
    for part in (below, above):
        where = (
            slice(part.window[0].start - window[0].start, part.window[0].stop - window[0].start),
            slice(part.window[1].start - window[1].start, part.window[1].stop - window[1].start),
        )
        own = part.cover > 0
        share = np.maximum(cover[where], part.cover)
        mix = np.where(own, part.cover / np.maximum(share, 1e-6), 0)
        glow[where] += mix[..., None] * (part.surface.glow - glow[where])
        day[where] += mix * (part.surface.day - day[where])
        violet[where] += mix * (part.surface.violet - violet[where])
        cover[where] = share
    return Painted(window, cover, Surface(glow, violet, day, _DAY_GREEN))


def _paint_chain(
    rng: np.random.Generator, scene: NightScene, body: Body, shape: tuple[int, int]
) -> Painted:
    """Overlapping ellipses from tail to head, each a dome of its own, with prolegs and a line."""
    links = _links(rng, body)
    points = np.concatenate([link[:2][None] for link in links])
    window = frame_window(points, body.width_px * 1.3 + 3, shape)
    if window is None:
        raise ValueError("The caterpillar lies outside the photo.")
    size = window_size(window)
    cover, tone, band = (np.zeros(size, np.float32) for _ in range(3))
    contrast = scene.marking * rng.uniform(-0.6, 0.6)
    stretch = rng.uniform(-0.8, 0.8)
    for number, link in enumerate(links):
        strength = 1 + contrast * (number % 2 - 0.5) + rng.normal(0, 0.05)
        _stamp_link(link, (window[1].start, window[0].start), strength, cover, tone, band)
    tone *= np.float32(1) + 0.08 * smooth_field(rng, size, max(0.2 * body.width_px, 1.5))
    line = np.exp(-(((band - stretch) / 0.14) ** 2)) * np.float32(rng.uniform(-0.4, 0.6))
    tone = np.clip(tone * (1 + np.float32(scene.marking) * line), 0.08, 3)
    tint = np.float32(0.35 * scene.marking) * band * np.float32(rng.choice((-1, 0, 1)))
    violet = 0.07 * tone + np.float32(rng.uniform(0, 0.2)) * (band**2 < 0.02)
    gut = np.zeros(size, np.float32)
    return Painted(window, cover, _surface(body, tone, tint, blur(violet, 1.0), gut))


def _links(rng: np.random.Generator, body: Body) -> list[Points]:
    """Return ellipses as x, y, half-length, half-width, angle and brightness, in painting order."""
    axis, half = body.ribbon.axis, body.ribbon.half_width
    count = int(rng.integers(10, 14))
    at = np.linspace(0.035, 0.965, count) * (len(axis) - 1)
    x, y = (np.interp(at, np.arange(len(axis)), axis[:, i]) for i in (0, 1))
    angle = np.arctan2(np.gradient(y), np.gradient(x))
    wide = np.interp(at, np.arange(len(axis)), half)
    long = np.full(count, body.ribbon.length_px / count * rng.uniform(0.8, 1.25))
    bright = np.ones(count)
    bright[0] = rng.uniform(0.5, 1.1)  # the head
    links = list(np.stack([x, y, long, wide, angle, bright], axis=1)[::-1])
    return _prolegs(rng, links, body) + links


def _prolegs(rng: np.random.Generator, links: list[Points], body: Body) -> list[Points]:
    """Return blunt feet on one side of some links, or none when seen from above."""
    if rng.random() < 0.45:
        return []
    side = rng.choice((-1, 1))
    feet = []
    for link in links[1:9:2]:
        across = np.array([-np.sin(link[4]), np.cos(link[4])]) * side
        foot = link.copy()
        foot[:2] += across * link[3] * 0.95
        foot[2:4] = 0.16 * body.width_px, 0.24 * body.width_px
        foot[5] = 0.7
        feet.append(foot)
    return feet


def _stamp_link(
    link: Points,
    corner: tuple[int, int],
    strength: float,
    cover: Floats,
    tone: Floats,
    band: Floats,
) -> None:
    """Lay one ellipse over the chain, in place."""
    x, y, long, wide, angle, bright = link
    reach = max(long, wide) + 2
    local = frame_window(np.array([[x - corner[0], y - corner[1]]]), reach, cover.shape)
    if local is None:
        return
    dy = (np.arange(local[0].start, local[0].stop) + corner[1] - y)[:, None]
    dx = (np.arange(local[1].start, local[1].stop) + corner[0] - x)[None, :]
    u = (dx * np.cos(angle) + dy * np.sin(angle)) / long
    v = (dy * np.cos(angle) - dx * np.sin(angle)) / wide
    radius = np.hypot(u, v)
    edge = np.clip(0.5 + (1 - radius) * min(long, wide), 0, 1).astype(np.float32)
    dome = np.sqrt(np.clip(1 - np.minimum(radius, 1) ** 2 * 0.9, 0, 1))
    own = (0.35 + 0.65 * dome) * strength * bright
    tone[local] += edge * (own.astype(np.float32) - tone[local])
    band[local] += edge * (v.astype(np.float32) - band[local])
    np.maximum(cover[local], edge, out=cover[local])
