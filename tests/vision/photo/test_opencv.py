"""What is said when OpenCV cannot be loaded."""

import builtins
import sys

import pytest

from vision.opencv import MissingSystemLibrary, require_opencv


@pytest.fixture
def failing_import(monkeypatch):
    """Make the next ``import cv2`` fail with the message given."""

    def fail_with(message, kind=ImportError):
        really = builtins.__import__

        def refusing(name, *args, **kwargs):
            if name == "cv2":
                raise kind(message)
            return really(name, *args, **kwargs)

        monkeypatch.delitem(sys.modules, "cv2", raising=False)
        monkeypatch.setattr(builtins, "__import__", refusing)

    return fail_with


def test_where_opencv_loads_nothing_is_said():
    require_opencv()
    assert "cv2" in sys.modules


@pytest.mark.parametrize("library", ["libGL.so.1", "libgthread-2.0.so.0", "libglib-2.0.so.0"])
def test_a_missing_system_library_is_named_with_the_fix_in_one_sentence(failing_import, library):
    failing_import(f"{library}: cannot open shared object file: No such file or directory")
    with pytest.raises(MissingSystemLibrary) as caught:
        require_opencv()
    sentence = str(caught.value)
    assert library in sentence
    assert "apt install libgl1 libglib2.0-0" in sentence
    assert "pip install opencv-python-headless" in sentence
    assert "\n" not in sentence
    assert sentence.endswith(".")


def test_an_opencv_that_is_not_installed_is_not_called_a_system_library(failing_import):
    failing_import("No module named 'cv2'", ModuleNotFoundError)
    with pytest.raises(ModuleNotFoundError):
        require_opencv()


def test_another_failure_is_passed_on_as_it_is(failing_import):
    failing_import("numpy.core.multiarray failed to import")
    with pytest.raises(ImportError, match="multiarray"):
        require_opencv()
