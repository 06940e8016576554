"""Store the numbers of an ONNX network in fewer bits: half the file, or a quarter of it.

OpenCV turns them back into 32 bits as it loads them.
"""

from pathlib import Path

import numpy as np
import onnx
from onnx import helper, numpy_helper

__all__ = ["halve", "quarter"]

_MOST = 127
_FEW = 1000  # numbers of a layer that are not worth a scale of their own


def halve(path: Path) -> None:
    """Rewrite the file in place, numbers in 16 bits: they stay the same to a thousandth."""
    model = onnx.load(str(path))
    for at, kept in enumerate(model.graph.initializer):
        values = numpy_helper.to_array(kept)
        if values.dtype == np.float32 and values.size > 1:
            small = numpy_helper.from_array(values.astype(np.float16), kept.name)
            model.graph.initializer[at].CopyFrom(small)
    onnx.save(model, str(path))


def quarter(path: Path) -> None:
    """Rewrite the file in place, weights of convolutions in 8 bits, the other numbers in 16.

    Each output of a layer has a scale of its own, so that a weight is off by at most half a 127th
    of that output's largest.
    """
    halve(path)
    model = onnx.load(str(path))
    graph = model.graph
    of_convolutions = {node.input[1] for node in graph.node if node.op_type == "Conv"}
    stored, nodes = [], []
    for kept in graph.initializer:
        values = np.asarray(numpy_helper.to_array(kept), np.float32)
        if kept.name not in of_convolutions or values.size <= _FEW:
            stored.append(kept)
            continue
        scale = np.maximum(np.abs(values).max(axis=(1, 2, 3)), 1e-8) / _MOST
        whole = np.round(values / scale[:, None, None, None]).astype(np.int8)
        parts = {"whole": whole, "scale": scale, "zero": np.zeros(len(scale), np.int8)}
        named = {f"{kept.name}.{name}": part for name, part in parts.items()}
        stored += [numpy_helper.from_array(part, name) for name, part in named.items()]
        nodes.append(helper.make_node("DequantizeLinear", list(named), [kept.name], axis=0))
    rest = list(graph.node)
    del graph.initializer[:], graph.node[:]
    graph.initializer.extend(stored)
    graph.node.extend([*nodes, *rest])
    onnx.save(model, str(path))
