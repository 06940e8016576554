"""Networks learn: the loss falls, the running mean is kept, and smaller files see the same."""

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="only learning needs PyTorch: the train extra")
pytest.importorskip("onnx", reason="only learning needs it: the train extra")

from scripts.workshop.learn.convolutions import Pyramid, learn_for, write_onnx  # noqa: E402
from scripts.workshop.learn.leaf_network import RECIPE, LeafNetwork  # noqa: E402
from scripts.workshop.learn.smaller_onnx import halve, quarter  # noqa: E402
from vision.day.leaf_network import see_leaves  # noqa: E402

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")


def test_a_network_learns_what_it_is_shown():
    torch.manual_seed(1)
    pictures = torch.rand(4, 1, 32, 32)
    wanted = torch.nn.functional.avg_pool2d(pictures, 2)
    losses = []

    def loss_of_next(network):
        loss = (network(pictures)[0] - wanted).square().mean()
        losses.append(float(loss.detach()))
        return loss

    network = learn_for(Pyramid(1, (8, 8), (1,), 1), loss_of_next, 3)
    assert not network.training
    assert losses[-1] < 0.5 * losses[0]


def test_numbers_stored_in_half_the_file_see_the_same(tmp_path):
    torch.manual_seed(1)
    network = LeafNetwork().eval()
    whole, half = tmp_path / "whole.onnx", tmp_path / "half.onnx"
    for path in (whole, half):
        write_onnx(
            network, path, 64, outputs=RECIPE.outputs, smaller=halve if path == half else None
        )
    overview = np.random.default_rng(1).integers(0, 256, (64, 96, 3)).astype(np.uint8)
    one, other = see_leaves(overview, whole), see_leaves(overview, half)
    assert half.stat().st_size < 0.6 * whole.stat().st_size
    np.testing.assert_allclose(other.leaf, one.leaf, atol=1e-2)


def test_numbers_stored_in_a_quarter_of_the_file_see_nearly_the_same(tmp_path):
    torch.manual_seed(1)
    network = LeafNetwork().eval()
    whole, small = tmp_path / "whole.onnx", tmp_path / "quarter.onnx"
    write_onnx(network, whole, 64, outputs=RECIPE.outputs)
    write_onnx(network, small, 64, outputs=RECIPE.outputs, smaller=quarter)
    overview = np.random.default_rng(1).integers(0, 256, (64, 96, 3)).astype(np.uint8)
    one, other = see_leaves(overview, whole), see_leaves(overview, small)
    assert small.stat().st_size < 0.3 * whole.stat().st_size
    assert np.abs(other.leaf - one.leaf).mean() < 0.02 * np.abs(one.leaf).mean()
