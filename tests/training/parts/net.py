"""A light encoder and decoder for pictures of 384 by 288: labels, and offsets to plates' centres.

Inverted residual blocks (Sandler et al., MobileNetV2, 2018) down to a 32nd, lateral connections back up
(Lin et al., Feature Pyramid Networks, 2017). For one CPU core: 0.76 GFLOP, 0.6 million weights.
"""

from __future__ import annotations

import torch
from torch import Tensor, nn
from torch.nn import functional as F

from tests.training.parts.labels import LABELS

STEM, HEAD = 16, 24
STAGES = (
    (24, 3, 2),
    (40, 4, 3),
    (80, 4, 4),
    (128, 4, 3),
)  # channels, expansion, blocks; each halves the size
LATERAL = 48


def _conv(inputs: int, outputs: int, size: int = 1, stride: int = 1, groups: int = 1) -> nn.Sequential:
    return nn.Sequential(
        nn.Conv2d(inputs, outputs, size, stride, size // 2, groups=groups, bias=False),
        nn.BatchNorm2d(outputs),
    )


class Block(nn.Module):
    """Widen, filter each channel, narrow; added to its input where the size stays."""

    def __init__(self, inputs: int, outputs: int, expansion: int, stride: int) -> None:
        super().__init__()
        wide = inputs * expansion
        self.path = nn.Sequential(
            _conv(inputs, wide),
            nn.ReLU(True),
            _conv(wide, wide, 3, stride, wide),
            nn.ReLU(True),
            _conv(wide, outputs),
        )
        self.same = stride == 1 and inputs == outputs

    def forward(self, x: Tensor) -> Tensor:
        return x + self.path(x) if self.same else self.path(x)


class Smooth(nn.Module):
    """A depthwise separable 3 by 3 filter."""

    def __init__(self, inputs: int, outputs: int) -> None:
        super().__init__()
        self.path = nn.Sequential(
            _conv(inputs, inputs, 3, 1, inputs), nn.ReLU(True), _conv(inputs, outputs), nn.ReLU(True)
        )

    def forward(self, x: Tensor) -> Tensor:
        return self.path(x)


class PartNet(nn.Module):
    """From RGB (N, 3, H, W), 0..255, to label scores (N, labels, H/2, W/2) and offsets (N, 2, H/2, W/2)."""

    def __init__(self) -> None:
        super().__init__()
        self.stem = nn.Sequential(_conv(3, STEM, 3, 2), nn.ReLU(True))
        stages, channels = [], STEM
        for outputs, expansion, blocks in STAGES:
            rows = [Block(channels, outputs, expansion, 2)]
            rows += [Block(outputs, outputs, expansion, 1) for _ in range(blocks - 1)]
            stages.append(nn.Sequential(*rows))
            channels = outputs
        self.stages = nn.ModuleList(stages)
        self.lateral = nn.ModuleList([_conv(outputs, LATERAL) for outputs, _, _ in STAGES])
        self.smooth = nn.ModuleList([Smooth(LATERAL, LATERAL) for _ in STAGES[:-1]])
        self.fine = Smooth(LATERAL + STEM, HEAD)
        self.head = nn.Conv2d(HEAD, len(LABELS) + 2, 1)

    def forward(self, rgb: Tensor) -> tuple[Tensor, Tensor]:
        stem = self.stem(rgb / 127.5 - 1)
        levels, x = [], stem
        for stage in self.stages:
            x = stage(x)
            levels.append(x)
        up = self.lateral[-1](levels[-1])
        for k in range(len(levels) - 2, -1, -1):
            up = F.interpolate(up, scale_factor=2.0, mode="nearest")
            up = self.smooth[k](up + self.lateral[k](levels[k]))
        up = F.interpolate(up, scale_factor=2.0, mode="nearest")
        out = self.head(self.fine(torch.cat([up, stem], 1)))
        return out[:, : len(LABELS)], out[:, len(LABELS) :]


class Shipped(nn.Module):
    """The network as exported: label probabilities, then offsets, in one output of labels + 2 channels."""

    def __init__(self, net: PartNet) -> None:
        super().__init__()
        self.net = net

    def forward(self, rgb: Tensor) -> Tensor:
        scores, offsets = self.net(rgb)
        return torch.cat([torch.softmax(scores, 1), offsets], 1)
