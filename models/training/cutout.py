"""The cutout network: mask, and centre, offset and boundary to tell pieces apart."""
import torch
import torch.nn.functional as F
from torch import nn

from nested import MEAN, SPREAD, WIDE, Nested

SIDE = 320
FINE = 16


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
    """Heads over a trunk: the pieces at 1/4 of the side, the edge at 1/2."""

    def __init__(self):
        super().__init__()
        self.trunk = Nested()
        self.pieces = nn.Sequential(separable(WIDE, WIDE), nn.Conv2d(WIDE, 4, 1))
        self.narrow, self.fine = nn.Conv2d(WIDE, FINE, 1), nn.Conv2d(WIDE, FINE, 1)
        self.edge = nn.Sequential(separable(FINE, FINE), separable(FINE, FINE), nn.Conv2d(FINE, 1, 3, 1, 1))
        # The edge begins as what the trunk guesses.
        nn.init.zeros_(self.edge[-1].weight)
        nn.init.zeros_(self.edge[-1].bias)

    def forward(self, x):
        """`x`: [n, 3, SIDE, SIDE], RGB from -1 to 1. Logits of the mask at 1/2; centre, offset (2) and boundary at 1/4."""
        fine, coarse, guess = self.trunk(x)
        mask = self.edge(double(self.narrow(coarse)) + self.fine(fine)) + double(guess)
        # The pieces are read from what the mask needs anyway and have no say in it.
        return mask, self.pieces(coarse.detach())


class Exported(nn.Module):
    """Probabilities under the names the program asks for; the mask at the input's size. Expects its input as the general
    network does (`nested.as_published`).
    """

    def __init__(self, net):
        super().__init__()
        self.net = net
        self.register_buffer("mean", torch.tensor(MEAN)[None, :, None, None])
        self.register_buffer("spread", torch.tensor(SPREAD)[None, :, None, None])

    def forward(self, x):
        mask, pieces = self.net((x * self.spread + self.mean) * 2 - 1)
        return torch.sigmoid(double(mask)), torch.sigmoid(pieces[:, :1]), pieces[:, 1:3], torch.sigmoid(pieces[:, 3:])
