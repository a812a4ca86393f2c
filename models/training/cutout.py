"""The cutout network: mask, and centre, offset and boundary to tell pieces apart."""
import torch
import torch.nn.functional as F
from torch import nn

from lite0 import Lite0

SIDE = 320
MEAN, SPREAD = (0.485, 0.456, 0.406), (0.229, 0.224, 0.225)  # of ImageNet, as the general mask network expects its input
WIDE, FINE = 48, 16  # channels of the pyramid from 1/32 to 1/4 of the side, and at 1/2
LEVELS = [(6, 320), (4, 112), (2, 40), (1, 24)]  # stages of the backbone at 1/32, 1/16, 1/8, 1/4 and their channels


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
    """A feature pyramid (Lin et al. 2017) over the backbone: the pieces at 1/4 of the side, the mask at 1/2."""

    def __init__(self, backbone):
        super().__init__()
        self.backbone = backbone
        self.across = nn.ModuleList([nn.Conv2d(inputs, WIDE, 1) for _, inputs in LEVELS])
        self.everywhere = nn.Conv2d(LEVELS[0][1], WIDE, 1)  # what the whole photo is of
        self.mixed = nn.ModuleList([nn.Sequential(separable(WIDE, WIDE), separable(WIDE, WIDE)) for _ in LEVELS])
        self.pieces = nn.Sequential(separable(WIDE, WIDE), nn.Conv2d(WIDE, 4, 1))
        self.narrow, self.fine = nn.Conv2d(WIDE, FINE, 1), nn.Conv2d(16, FINE, 1)
        self.edge = nn.Sequential(separable(FINE, FINE), separable(FINE, FINE), nn.Conv2d(FINE, 1, 3, 1, 1))

    def train(self, mode=True):
        super().train(mode)
        self.backbone.eval()  # batch statistics stay as published
        return self

    def forward(self, x):
        """`x`: [n, 3, SIDE, SIDE], RGB from -1 to 1. Logits of the mask at 1/2; centre, offset (2) and boundary at 1/4."""
        stages = self.backbone.trunk(x)
        y = self.everywhere(stages[6].mean((2, 3), keepdim=True))
        for k, ((stage, _), across, mixed) in enumerate(zip(LEVELS, self.across, self.mixed)):
            y = mixed((double(y) if k else y) + across(stages[stage]))
        mask = self.edge(double(self.narrow(y)) + self.fine(stages[0]))
        return mask, self.pieces(y)


class Exported(nn.Module):
    """Probabilities under the names the program asks for; the mask at the input's size, and the rest at 1/4 of it. Expects
    its input as the general network does.
    """

    def __init__(self, net):
        super().__init__()
        self.net = net
        self.register_buffer("mean", torch.tensor(MEAN)[None, :, None, None])
        self.register_buffer("spread", torch.tensor(SPREAD)[None, :, None, None])

    def forward(self, x):
        mask, pieces = self.net((x * self.spread + self.mean) * 2 - 1)
        return torch.sigmoid(double(mask)), torch.sigmoid(pieces[:, :1]), pieces[:, 1:3], torch.sigmoid(pieces[:, 3:])
