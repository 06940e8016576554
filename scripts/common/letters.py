"""Letters of any script for tags and charts: as type where that is enough, else drawn.

Most names are set as type in a font that comes with Matplotlib. Scripts that run from right to left
or join and reorder their letters are drawn by Pillow, which shapes them as they are written; so are
letters that only another font has. Where no font has them, the page gets a line to write on.
"""

import unicodedata
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from models.garden.settings import GardenError

__all__ = ["BOLD", "REGULAR", "Letters", "families", "legible", "letters_of", "register_type"]

REGULAR, BOLD = "tag", "tag-bold"

_DRAWN_PX = 200  # pixels an em, about 800 an inch on a card
_JOINED = frozenset(("Mn", "Mc", "Me", "Cf"))  # marks and joiners have to be shaped
_RIGHT_TO_LEFT = frozenset(("R", "AL", "AN", "RLE", "RLO", "RLI"))


@dataclass(frozen=True)
class Letters:
    """How a text is put on the page.

    Attributes
    ----------
    text : str
        The text, composed (Unicode's NFC).
    font : Path or None
        Drawn with this font; None: set as type.
    """

    text: str
    font: Path | None = None

    def width_em(self, *, bold: bool) -> float:
        """Return how wide the text is, in sizes of its letters."""
        if self.font is None:
            from reportlab.pdfbase.pdfmetrics import stringWidth

            register_type()
            return float(stringWidth(self.text, BOLD if bold else REGULAR, 1))
        return float(_open(self.font).getlength(self.text)) / _DRAWN_PX

    def parts(self) -> tuple[str, ...]:
        """Return the text in two, at the blank nearest to its middle.

        Without a blank, letters that stand for themselves are parted in the middle, and joined ones
        are not.
        """
        middle = len(self.text) // 2
        blanks = [n for n, sign in enumerate(self.text) if sign == " "]
        if not blanks and (self.font is not None and _is_shaped(self.text)):
            return (self.text,)
        at = min(blanks, key=lambda n: abs(n - middle), default=middle)
        return self.text[:at].strip(), self.text[at:].strip()

    def draw(self, canvas: Any, at: tuple[float, float], size: float, *, bold: bool) -> None:  # noqa: ANN401  reportlab has no types
        """Put the text on a page, from a place on its base line; all in points."""
        if self.font is None:
            register_type()
            canvas.setFillGray(0)
            canvas.setFont(BOLD if bold else REGULAR, size)
            canvas.drawString(*at, self.text)
            return
        from PIL import Image, ImageDraw
        from reportlab.lib.utils import ImageReader

        font = _open(self.font)
        left, top, right, bottom = (round(edge) for edge in font.getbbox(self.text, anchor="ls"))
        picture = Image.new("L", (max(1, right - left), max(1, bottom - top)), 255)
        ImageDraw.Draw(picture).text((-left, -top), self.text, 0, font, anchor="ls")
        point = size / _DRAWN_PX
        canvas.drawImage(
            ImageReader(picture),
            at[0] + left * point,
            at[1] - bottom * point,
            picture.width * point,
            picture.height * point,
        )


def letters_of(text: str, given: Path | None = None) -> Letters | None:
    """Return how a text is put on the page, or None where no font here has its letters.

    Parameters
    ----------
    text : str
        In any script.
    given : Path, optional
        Font to take for what is not set as type.

    Raises
    ------
    GardenError
        When the font that was given cannot be read or lacks letters.
    """
    text = unicodedata.normalize("NFC", text)
    own = _own_font("DejaVuSans-Bold.ttf")
    shaped = _is_shaped(text)
    if not shaped and _has(own, text):
        return Letters(text)
    if shaped and not _can_shape():
        return None
    if given is not None:
        if not _opens(given):
            raise GardenError(f"“{given}” is no font that can be read.")
        if not _has(given, text):
            raise GardenError(f"The font “{given}” lacks letters of “{text}”: name another.")
        return Letters(text, given)
    found = next((f for f in (own, *_system_fonts()) if _has(f, text) and _opens(f)), None)
    return Letters(text, found) if found else None


def families(text: str) -> list[str]:
    """Return the names of fonts for a chart, the usual one first, that together have all letters.

    Parameters
    ----------
    text : str
        All words of the chart that others have written.
    """
    from matplotlib.font_manager import FontProperties, fontManager

    names, own = ["DejaVu Sans"], _own_font("DejaVuSans.ttf")
    missing = {sign for sign in text if not sign.isspace() and not _has(own, sign)}
    for font in _system_fonts() if missing else ():
        had = {sign for sign in missing if _has(font, sign)}
        if had and _opens(font):
            fontManager.addfont(font)
            names.append(FontProperties(fname=font).get_name())
            missing -= had
    return names


def legible(text: str) -> str:
    """Return a text with escapes for signs that no font here has, never an empty box for them."""
    own = _own_font("DejaVuSans.ttf")
    return "".join(
        sign
        if sign.isspace() or _has(own, sign) or any(_has(font, sign) for font in _system_fonts())
        else sign.encode("unicode_escape").decode("ascii")
        for sign in unicodedata.normalize("NFC", text)
    )


def _is_shaped(text: str) -> bool:
    """Say whether letters have to be joined, reordered or run from right to left."""
    return any(
        unicodedata.category(sign) in _JOINED or unicodedata.bidirectional(sign) in _RIGHT_TO_LEFT
        for sign in text
    )


def _can_shape() -> bool:
    from PIL import features

    return bool(features.check("raqm"))


@cache
def _has(font: Path, text: str) -> bool:
    signs = {ord(sign) for sign in text if not sign.isspace()}
    return signs <= _signs_of(font)


@cache
def _signs_of(font: Path) -> frozenset[int]:
    """Return the signs that a font can show; none where it cannot be read."""
    from matplotlib.ft2font import FT2Font

    try:
        return frozenset(FT2Font(str(font)).get_charmap())
    except (OSError, RuntimeError):
        return frozenset()


def _opens(font: Path) -> bool:
    """Say whether Pillow can draw with a font; it cannot with coloured pictures of one size."""
    try:
        _open(font)
    except (OSError, ValueError):
        return False
    return True


@cache
def _open(font: Path) -> Any:  # noqa: ANN401  Pillow's font
    from PIL import ImageFont

    return ImageFont.truetype(str(font), _DRAWN_PX)


@cache
def _system_fonts() -> tuple[Path, ...]:
    """Return the machine's fonts, bold ones first, but for those that show any sign as a box."""
    from matplotlib.font_manager import findSystemFonts

    fonts = sorted(Path(name) for name in findSystemFonts())
    kept = [font for font in fonts if "lastresort" not in font.stem.lower().replace("-", "")]
    return tuple(sorted(kept, key=lambda font: "bold" not in font.stem.lower()))


def _own_font(name: str) -> Path:
    """Return a font with the letters of most alphabets; it comes with Matplotlib."""
    import matplotlib as mpl

    return Path(mpl.get_data_path()) / "fonts" / "ttf" / name


@cache
def register_type() -> None:
    """Make the fonts of what is set as type known to the PDF writer."""
    from reportlab.pdfbase.pdfmetrics import registerFont
    from reportlab.pdfbase.ttfonts import TTFont

    registerFont(TTFont(REGULAR, _own_font("DejaVuSans.ttf")))
    registerFont(TTFont(BOLD, _own_font("DejaVuSans-Bold.ttf")))
