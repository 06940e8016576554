"""Whether OpenCV can be loaded here; if not, one sentence that says what to install."""

import re

from vision.errors import SpotlampError

__all__ = ["MissingSystemLibrary", "require_opencv"]

_LIBRARY = re.compile(r"\blib[\w.+-]*\.so[\w.]*")


class MissingSystemLibrary(SpotlampError):  # noqa: N818  it says what is the matter
    """OpenCV needs a library that this system lacks; the message is one sentence for people."""


def require_opencv() -> None:
    """Load OpenCV, or say which system library is missing and how to get it.

    Bare servers and containers often come without the libraries for windows, which OpenCV's
    usual package asks for although we open no window.

    Raises
    ------
    MissingSystemLibrary
        When OpenCV is installed but a shared library that it needs is not.
    ImportError
        When OpenCV cannot be loaded for another reason, such as not being installed.
    """
    try:
        import cv2  # noqa: F401
    except ImportError as error:
        missing = _LIBRARY.search(str(error))
        if missing is None:
            raise
        raise MissingSystemLibrary(_sentence(missing.group())) from error


def _sentence(library: str) -> str:
    return (
        f"OpenCV cannot be loaded because the system library {library} is missing: install it "
        "(on Debian or Ubuntu: apt install libgl1 libglib2.0-0), or use the OpenCV package that "
        "needs no window system (pip uninstall opencv-python, then "
        "pip install opencv-python-headless)."
    )
