"""The cutout network: mask, and centre, offset and boundary to tell pieces apart."""
import torch
import torch.nn.functional as F
from torch import nn

from lite0 import Lite0

SIDE = 320
WIDTH, FINE = 48, 16


def separable(inputs, outputs):
    return nn.Sequential(
        nn.Conv2d(inputs, inputs, 3, 1, 1, groups=inputs, bias=False),
        nn.BatchNorm2d(inputs),
        nn.Conv2d(inputs, outputs, 1, bias=False),
        nn.BatchNorm2d(outputs),
        nn.ReLU6(),
    )


def double(x):
    return F.interpolate(x, scale_factor=2, mode="bilinear", align_corners=False)


class Cutout(nn.Module):
    """A feature pyramid over Lite0: 1/32 up to 1/4 for the pieces, 1/2 for the edge."""

    def __init__(self):
        super().__init__()
        self.backbone = Lite0(head=False)
        self.lateral = nn.ModuleList([nn.Conv2d(c, WIDTH, 1) for c in (320, 112, 40, 24)])
        self.overall = nn.Conv2d(320, WIDTH, 1)
        self.mix = nn.ModuleList([nn.Sequential(separable(WIDTH, WIDTH), separable(WIDTH, WIDTH)) for _ in range(4)])
        self.pieces = nn.Sequential(separable(WIDTH, WIDTH), nn.Conv2d(WIDTH, 4, 1))
        self.narrow, self.fine = nn.Conv2d(WIDTH, FINE, 1), nn.Conv2d(16, FINE, 1)
        self.edge = nn.Sequential(separable(FINE, FINE), separable(FINE, FINE), nn.Conv2d(FINE, 1, 3, 1, 1))

    def forward(self, x):
        """`x`: [n, 3, SIDE, SIDE], RGB from -1 to 1. Logits of the mask at 1/2; centre, offset (2) and boundary at 1/4."""
        stages = self.backbone.trunk(x)
        y = self.mix[0](self.lateral[0](stages[6]) + self.overall(stages[6].mean((2, 3), keepdim=True)))
        for k, stage in enumerate((4, 2, 1), 1):
            y = self.mix[k](double(y) + self.lateral[k](stages[stage]))
        return self.edge(double(self.narrow(y)) + self.fine(stages[0])), self.pieces(y)


class Exported(nn.Module):
    """Probabilities under the names the program asks for; the mask at the input's size."""

    def __init__(self, net):
        super().__init__()
        self.net = net

    def forward(self, x):
        mask, pieces = self.net(x)
        return torch.sigmoid(double(mask)), torch.sigmoid(pieces[:, :1]), pieces[:, 1:3], torch.sigmoid(pieces[:, 3:])
