"""Store the numbers of an ONNX network in 16 bits: half the file, the same to a thousandth.

OpenCV turns them back into 32 bits as it loads them.
"""

from pathlib import Path

import numpy as np
import onnx
from onnx import numpy_helper

__all__ = ["halve"]


def halve(path: Path) -> None:
    """Rewrite the file in place."""
    model = onnx.load(str(path))
    for at, kept in enumerate(model.graph.initializer):
        values = numpy_helper.to_array(kept)
        if values.dtype == np.float32 and values.size > 1:
            small = numpy_helper.from_array(values.astype(np.float16), kept.name)
            model.graph.initializer[at].CopyFrom(small)
    onnx.save(model, str(path))
