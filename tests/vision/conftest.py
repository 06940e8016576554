"""What the tests of measuring share."""

import cv2
import pytest
from threadpoolctl import threadpool_limits


@pytest.fixture(scope="session", autouse=True)
def _one_thread():
    """Measure in one thread, as scoring does: on layers so small, several are far slower."""
    cv2.setNumThreads(1)
    with threadpool_limits(1, "blas"):
        yield
