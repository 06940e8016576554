"""What every pixel of a night scene is made of, and the light that leaves it.

A surface under a UV torch sends back three things: its own glow (fluorescence), the violet light
that the torch lets through besides its UV, and whatever other light there is. A ``Sheet`` holds
the three for every pixel; painters lay surfaces over it from the farthest to the nearest.
"""

from dataclasses import dataclass

import numpy as np

from scripts.workshop.rendered.fields import AnyFloats, Floats, blur, smooth_field
from scripts.workshop.rendered.night.scene import NightScene
from scripts.workshop.rendered.ribbon import Window

__all__ = ["VIOLET", "Painted", "Sheet", "Surface", "ambient_light", "torch_light"]

VIOLET = np.array([0.42, 0.05, 1.0], np.float32)
"""What a phone makes of light of about 400 nm: its red filter passes some of it [practice]."""
_DUSK = np.array([0.8, 0.95, 1.2], np.float32)


@dataclass(frozen=True, eq=False)
class Surface:
    """Material of a part of the frame.

    Attributes
    ----------
    glow : ndarray of float, broadcast to (rows, columns, 3)
        Linear light of the glow in the middle of the beam, 1 = burnt out.
    violet : ndarray of float, broadcast to (rows, columns)
        Share of the torch's violet light that is sent back; above 1 where it gleams.
    day : ndarray of float, broadcast to (rows, columns)
        Brightness in other light, a factor on ``day_colour``.
    day_colour : ndarray of float32, shape (3,)
        Reflectance of red, green and blue in other light.
    """

    glow: AnyFloats
    violet: AnyFloats
    day: AnyFloats
    day_colour: Floats


@dataclass(frozen=True, eq=False)
class Painted:
    """A thing's part of the frame.

    Attributes
    ----------
    window : tuple of slice
        Rows and columns.
    cover : ndarray of float32, shape of the window
        Share of each pixel that it covers.
    surface : Surface
        Its material.
    """

    window: Window
    cover: Floats
    surface: Surface


@dataclass(eq=False)
class Sheet:
    """The scene's materials so far, changed in place by ``lay``.

    Attributes
    ----------
    glow : ndarray of float32, shape (rows, columns, 3)
        See ``Surface``.
    violet : ndarray of float32, shape (rows, columns)
        See ``Surface``.
    day : ndarray of float32, shape (rows, columns, 3), or None
        Reflectance in other light; None where there is none.
    """

    glow: Floats
    violet: Floats
    day: Floats | None

    @classmethod
    def dark(cls, scene: NightScene) -> "Sheet":
        """Return a frame in which nothing sends back light."""
        shape = (scene.height_px, scene.width_px)
        day = np.zeros((*shape, 3), np.float32) if scene.stray > 0 else None
        return cls(np.zeros((*shape, 3), np.float32), np.zeros(shape, np.float32), day)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.violet.shape[0], self.violet.shape[1]

    def lay(self, painted: Painted, shadow: float = 0.0, soft_px: float = 2.0) -> None:
        """Lay a thing over the frame, with its shadow around it.

        The torch stands a little beside the camera, so that shadows are narrow.
        """
        window, cover, surface = painted.window, painted.cover, painted.surface
        if shadow > 0:
            self._shade(window, np.float32(shadow) * blur(cover, soft_px))
        wide = cover[..., None]
        self.glow[window] += wide * (surface.glow - self.glow[window])
        if self.day is not None:
            own = np.asarray(surface.day)[..., None] * surface.day_colour
            self.day[window] += wide * (own - self.day[window])
        self.violet[window] += cover * (surface.violet - self.violet[window])

    def _shade(self, window: Window, dark: Floats) -> None:
        left = 1 - dark
        self.glow[window] *= left[..., None]
        self.violet[window] *= left


def torch_light(rng: np.random.Generator, scene: NightScene) -> Floats:
    """Return the torch's strength over the frame, 1 in the middle of the beam.

    A core with soft edges, a wide skirt, faint rings from the reflector, and a floor from light
    that other leaves throw back.
    """
    longest = max(scene.width_px, scene.height_px)
    y = (np.arange(scene.height_px, dtype=np.float32) / longest)[:, None]
    x = (np.arange(scene.width_px, dtype=np.float32) / longest)[None, :]
    dx = x - np.float32(scene.beam_x * scene.width_px / longest)
    dy = y - np.float32(scene.beam_y * scene.height_px / longest)
    tilt, squeeze = rng.uniform(0, np.pi), rng.uniform(0.8, 1.0)
    u = dx * np.float32(np.cos(tilt)) + dy * np.float32(np.sin(tilt))
    v = (dy * np.float32(np.cos(tilt)) - dx * np.float32(np.sin(tilt))) * np.float32(squeeze)
    radius = np.hypot(u, v) / np.float32(scene.beam_radius)
    core = 1 / (1 + radius ** np.float32(rng.uniform(2.2, 5.0)))
    rings = 1 + np.float32(rng.uniform(0, 0.06)) * np.sin(radius * np.float32(rng.uniform(8, 20)))
    uneven = 1 + 0.05 * smooth_field(rng, (scene.height_px, scene.width_px), 0.2 * longest)
    floor = np.float32(scene.beam_floor)
    return np.asarray((floor + (1 - floor) * core * rings) * uneven, np.float32)


def ambient_light(sheet: Sheet, scene: NightScene) -> Floats:
    """Return the light that reaches the camera with the torch off."""
    if sheet.day is None:
        return np.zeros((*sheet.shape, 3), np.float32)
    return np.asarray(sheet.day * (_DUSK * np.float32(8 * scene.stray)), np.float32)
