"""The network for droppings learns, and OpenCV sees what it saw when it learned."""

import numpy as np
import pytest

torch = pytest.importorskip("torch", reason="only learning needs PyTorch: the train extra")
pytest.importorskip("onnx", reason="only learning needs it: the train extra")

from scripts.workshop.learn.convolutions import write_onnx  # noqa: E402
from scripts.workshop.learn.dropping_lessons import lesson_of  # noqa: E402
from scripts.workshop.learn.dropping_network import learn, loss_of  # noqa: E402
from vision.droppings import network as seeing  # noqa: E402

pytestmark = pytest.mark.filterwarnings("ignore::DeprecationWarning")


def lessons():
    rng = np.random.default_rng(1)
    for _ in range(4):
        pixels = rng.integers(190, 220, (260, 260, 3)).astype(np.uint8)
        truth = np.zeros((260, 260), np.uint16)
        for number in range(1, 7):
            row, col = rng.integers(20, 220, 2)
            truth[row : row + 20, col : col + 24] = number
        pixels[truth > 0] = 25
        yield lesson_of("droppings", pixels, truth, 95)


def test_dark_boxes_are_learned_and_opencv_sees_them_too(tmp_path, monkeypatch):
    shown = list(lessons())
    network = learn(shown, 3, ((40, 2e-3),))
    write_onnx(network, tmp_path / "net.onnx", 96)
    monkeypatch.setattr(seeing, "NET_PATH", tmp_path / "net.onnx")
    seeing.load_network.cache_clear()
    try:
        seen = seeing.see(shown[0].pixels[:, :230])
    finally:
        seeing.load_network.cache_clear()
    inside = shown[0].truth[::2, :230:2] > 0
    assert seen.inside[inside].mean() > seen.inside[~inside].mean() + 1
    wide = np.pad(shown[0].pixels[:, :230], ((0, 28), (0, 26), (0, 0)), mode="symmetric")
    photo = (wide.astype(np.float32) / 255 - seeing.GREY) / seeing.CONTRAST
    with torch.no_grad():
        outputs = network(torch.from_numpy(photo.transpose(2, 0, 1)[None]))[0].numpy()
    np.testing.assert_allclose(seen.middle, outputs[0, :130, :115], atol=1e-3)


def test_being_right_costs_less_than_being_wrong():
    targets = torch.zeros(1, 5, 8, 8)
    targets[:, 4] = 1
    targets[0, :3, 4, 4] = 1
    targets[0, 3, 3:6, 3:6] = 1
    right, wrong = torch.full((2, 1, 3, 8, 8), -6.0)
    right[0, 0, 4, 4], right[0, 1, 3:6, 3:6], right[0, 2] = 6, 6, 1
    wrong[0, 0, 0, 0] = 6
    assert loss_of(right, targets) < 0.1 * loss_of(wrong, targets)


def test_what_is_no_matter_costs_nothing():
    targets = torch.zeros(1, 5, 8, 8)
    assert loss_of(torch.full((1, 3, 8, 8), 5.0), targets) == 0
