"""The general mask network in PyTorch (Qin et al. 2020, "U2-Net", small version): the cutout starts from its weights.

Only what is shipped is built: six nested stages down and four up again, without the last and dearest one at the
input's own resolution. The published weights are read out of `mask.onnx`, where batch normalisation is part of the
convolutions already.
"""
import numpy as np
import onnx
import torch
import torch.nn.functional as F
from onnx import numpy_helper
from torch import nn

MIDDLE, WIDE = 16, 64
MEAN, SPREAD = (0.485, 0.456, 0.406), (0.229, 0.224, 0.225)  # of ImageNet, as the published network expects them


class Conv(nn.Module):
    """3 x 3 convolution and ReLU."""

    def __init__(self, inputs, outputs, dilation=1):
        super().__init__()
        self.conv = nn.Conv2d(inputs, outputs, 3, 1, dilation, dilation)

    def forward(self, x):
        return F.relu(self.conv(x))


def halve(x):
    return F.max_pool2d(x, 2, 2, ceil_mode=True)


def like(x, other):
    """`x` at the size of `other`."""
    return F.interpolate(x, size=other.shape[2:], mode="bilinear", align_corners=False)


class Stage(nn.Module):
    """A small U within a stage: `depth` levels, or, if `flat`, dilation in place of pooling."""

    def __init__(self, inputs, depth, flat=False):
        super().__init__()
        self.flat = flat
        self.first = Conv(inputs, WIDE)
        rates = [2**k if flat else 1 for k in range(depth - 1)]
        self.down = nn.ModuleList([Conv(MIDDLE if k else WIDE, MIDDLE, rate) for k, rate in enumerate(rates)])
        self.bottom = Conv(MIDDLE, MIDDLE, 2 ** (depth - 1) if flat else 2)
        self.up = nn.ModuleList([Conv(2 * MIDDLE, MIDDLE if k else WIDE, rate) for k, rate in reversed(list(enumerate(rates)))])

    def forward(self, x):
        x = self.first(x)
        levels, y = [], x
        for k, conv in enumerate(self.down):
            y = conv(y if self.flat or not k else halve(y))
            levels.append(y)
        y = self.bottom(y)
        for conv, level in zip(self.up, reversed(levels)):
            y = conv(torch.cat([y if y.shape == level.shape else like(y, level), level], 1))
        return y + x


class Nested(nn.Module):
    """`whole`: the network of `mask.onnx`, logits of its mask at the input's size. Else all of it at half the side: features
    at 1/2 and at 1/4 of the input, and its guess (logits) at 1/4.
    """

    def __init__(self, whole=False):
        super().__init__()
        self.whole = whole
        depths = [(7, False), (6, False), (5, False), (4, False), (4, True), (4, True)]
        self.down = nn.ModuleList([Stage(WIDE if k else 3, *depth) for k, depth in enumerate(depths)])
        if not whole:
            self.stem = nn.Conv2d(3, WIDE, 6, 2, 2)
            self.down[0].first = nn.ReLU()
        self.up = nn.ModuleList([Stage(2 * WIDE, *depth) for depth in depths[4:0:-1]])
        # From the deepest stage to the shallowest.
        self.guesses = nn.ModuleList([nn.Conv2d(WIDE, 1, 3, 1, 1) for _ in range(5 if whole else 1)])
        self.fuse = nn.Conv2d(6, 1, 1) if whole else None

    def forward(self, x):
        levels, y = [], x if self.whole else self.stem(x)
        for k, stage in enumerate(self.down):
            y = stage(halve(y) if k else y)
            levels.append(y)
        found = [y]
        for stage, level in zip(self.up, reversed(levels[:-1])):
            y = stage(torch.cat([like(y, level), level], 1))
            found.append(y)
        if not self.whole:
            return levels[0], y, self.guesses[0](y)
        guesses = [like(guess(y), x) for guess, y in zip(self.guesses, found)]
        # The guess of the shallowest stage stands for that of the stage left out, too.
        return self.fuse(torch.cat([guesses[-1], *guesses[::-1]], 1))

    def load_published(self, file):
        """Weights of `mask.onnx`. Without the last stage its first convolution, on a picture of half the side, is the stem."""
        graph = onnx.load(file).graph
        place = torch.get_default_device()
        values = {w.name: torch.as_tensor(np.array(numpy_helper.to_array(w)), device=place).float() for w in graph.initializer}
        convs = [[values[name] for name in node.input[1:3]] for node in graph.node if node.op_type == "Conv"]
        guesses, convs = [c for c in convs if len(c[0]) == 1], [c for c in convs if len(c[0]) > 1]
        own = [m for stage in [*self.down, *self.up] for m in stage.modules() if isinstance(m, nn.Conv2d)]
        if self.whole:
            own, convs = [*own, *self.guesses, self.fuse], [*convs, *guesses]
        else:
            (weight, bias), *convs = convs
            own, convs = [*own, self.guesses[0]], [*convs[: len(own)], guesses[4]]
            # The mean of 2 x 2 pixels, and their scaling from -1..1 to what the network expects, folded in.
            mean, spread = (torch.tensor(v)[None, :, None, None] for v in (MEAN, SPREAD))
            self.stem.bias.data = bias + (weight * (0.5 - mean) / spread).sum((1, 2, 3))
            self.stem.weight.data = (weight * 0.5 / spread / 4).repeat_interleave(2, 2).repeat_interleave(2, 3)
        for m, (weight, bias) in zip(own, convs, strict=True):
            if m.weight.shape != weight.shape:
                raise ValueError(f"{file}: a convolution is {tuple(weight.shape)}, expected {tuple(m.weight.shape)}")
            m.weight.data, m.bias.data = weight, bias
        return self


def as_published(x):
    """RGB 0 to 1 as the published network expects it: over the brightest value, less the mean, over the spread."""
    mean, spread = (torch.tensor(v)[None, :, None, None] for v in (MEAN, SPREAD))
    return (x / x.amax((1, 2, 3), keepdim=True).clamp(min=1e-3) - mean) / spread
