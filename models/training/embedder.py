"""The embedding network: one backbone; general, shape and decoration vectors."""
import copy

import torch
import torch.nn.functional as F
from torch import nn

from lite0 import FEATURES

VECTOR = 128
LATE = 5  # stages from here on are copied where the early ones stay as published
TEXTURE_STAGES = [(1, 24, 32), (2, 40, 64), (4, 112, 96)]  # stage, its channels, channels of the learned mixture


def area(mask, side):
    return F.avg_pool2d(mask, mask.shape[-1] // side)


class ShapeHead(nn.Module):
    """Where what is, on a 7 x 7 grid; with `mask`, the silhouette too."""

    def __init__(self, mask):
        super().__init__()
        self.last, self.middle = nn.Conv2d(FEATURES, 32, 1), nn.Conv2d(112, 16, 1)
        channels = 48
        self.outline = None
        if mask:
            widths = [1, 16, 32, 32]
            steps = [nn.Sequential(nn.Conv2d(a, b, 3, 2, 1), nn.BatchNorm2d(b), nn.ReLU()) for a, b in zip(widths, widths[1:])]
            self.outline = nn.Sequential(*steps)
            self.silhouette = nn.Sequential(nn.Linear(28 * 28, 64), nn.ReLU(), nn.Linear(64, VECTOR))
            channels += 32
        self.norm = nn.BatchNorm2d(channels)
        self.spatial, self.pooled = nn.Linear(channels * 49, VECTOR), nn.Linear(FEATURES, VECTOR)

    def forward(self, stages, last, mask):
        maps = [self.last(last), F.avg_pool2d(self.middle(stages[4]), 2)]
        if self.outline is not None:
            maps.append(self.outline(area(mask, 56)))
        grid = F.relu(self.norm(torch.cat(maps, 1)))
        vector = self.spatial(grid.flatten(1)) + self.pooled(last.mean((2, 3)))
        if self.outline is not None:
            vector = vector + self.silhouette(area(mask, 28).flatten(1) - 0.5)
        return vector


class DecorHead(nn.Module):
    """Statistics of the surface, wherever it is; with `mask`, of the piece alone."""

    def __init__(self, mask):
        super().__init__()
        self.masked = mask
        self.mixtures = nn.ModuleList([nn.Conv2d(a, b, 1) for _, a, b in TEXTURE_STAGES]) if mask else None
        width = 2 * sum(a + (b if mask else 0) for _, a, b in TEXTURE_STAGES) + FEATURES
        self.norm = nn.BatchNorm1d(width)
        self.first, self.second = nn.Linear(width, 256), nn.Linear(256, VECTOR)

    def forward(self, stages, last, mask):
        parts = []
        for k, (stage, _, _) in enumerate(TEXTURE_STAGES):
            x = stages[stage].float()
            maps = torch.cat([x, F.relu(self.mixtures[k](x))], 1).float() if self.masked else x
            weight = area(mask, x.shape[-1]) if self.masked else torch.ones_like(x[:, :1])
            parts += self.statistics(maps, weight)
        weight = area(mask, last.shape[-1]) if self.masked else torch.ones_like(last[:, :1])
        parts.append(self.statistics(last.float(), weight)[0])
        return self.second(F.relu(self.first(self.norm(torch.cat(parts, 1)))))

    @staticmethod
    def statistics(maps, weight):
        weight = weight.float() + 1e-4
        total = weight.sum((2, 3))
        mean = (maps * weight).sum((2, 3)) / total
        spread = ((maps * maps * weight).sum((2, 3)) / total - mean * mean).clamp(min=1e-6).sqrt()
        return [mean, spread]


class Heads(nn.Module):
    def __init__(self, mask):
        super().__init__()
        self.shape, self.decor = ShapeHead(mask), DecorHead(mask)

    def forward(self, stages, last, mask):
        return self.shape(stages, last, mask), self.decor(stages, last, mask)


class Embedder(nn.Module):
    """`frozen`: the backbone stays as published. `branch`: its late stages are copied, and the
    copy is tuned for shape and decoration while the general vector stays as published.
    `tuned`: all of it is tuned.
    """

    def __init__(self, backbone, mode, heads):
        super().__init__()
        self.mode = mode
        self.backbone = backbone if mode == "branch" else copy.deepcopy(backbone)
        if mode == "branch":
            self.late = nn.Sequential(*copy.deepcopy(backbone.stages[LATE:]), copy.deepcopy(backbone.head))
        self.heads = nn.ModuleDict(heads)

    def tuned_parameters(self):
        return {"frozen": [], "branch": list(self.late.parameters()) if self.mode == "branch" else [], "tuned": list(self.backbone.parameters())}[
            self.mode
        ]

    def features(self, x):
        """General vector, stages for the heads, last map for the heads. `x`: RGB from -1 to 1."""
        with torch.set_grad_enabled(self.mode == "tuned" and torch.is_grad_enabled()):
            stages = self.backbone.trunk(x)
            last = self.backbone.head(stages[-1])
        pool = last.mean((2, 3))
        if self.mode == "branch":
            last = self.late(stages[LATE - 1].detach())
        return pool, stages, last

    def forward(self, x):
        """`x`: [n, 4, 224, 224], RGB from -1 to 1 and the mask from 0 to 1. Vectors by head."""
        pool, stages, last = self.features(x[:, :3])
        return pool, {name: head(stages, last, x[:, 3:]) for name, head in self.heads.items()}


class Exported(nn.Module):
    """One head's vectors under the names the program asks for."""

    def __init__(self, net, head):
        super().__init__()
        self.net, self.head = net, head

    def forward(self, x):
        pool, stages, last = self.net.features(x[:, :3])
        shape, decor = self.net.heads[self.head](stages, last, x[:, 3:])
        return pool, F.normalize(shape, dim=1), F.normalize(decor, dim=1)
