"""The embedding network: a tuned backbone with a shape and a decoration vector; and the published one's general vector."""
import torch
import torch.nn.functional as F
from torch import nn

from lite0 import FEATURES

VECTOR = 128
HIDDEN = 256  # between the shape head's maps and its vector
TEXTURE_STAGES = [(1, 24, 32), (2, 40, 64), (4, 112, 96)]  # stage, its channels, channels of the learned mixture


def area(mask, side):
    return F.avg_pool2d(mask, mask.shape[-1] // side)


class ShapeHead(nn.Module):
    """Where what is, on a grid of 14 x 14 brought to 7 x 7, and the silhouette."""

    def __init__(self):
        super().__init__()
        self.fine, self.middle, self.last = nn.Conv2d(40, 24, 1), nn.Conv2d(112, 48, 1), nn.Conv2d(FEATURES, 64, 1)
        widths = [1, 16, 32]
        steps = [nn.Sequential(nn.Conv2d(a, b, 3, 2, 1), nn.BatchNorm2d(b), nn.ReLU()) for a, b in zip(widths, widths[1:])]
        self.outline, self.silhouette = nn.Sequential(*steps), nn.Linear(28 * 28, HIDDEN)
        self.norm = nn.BatchNorm2d(24 + 48 + 32)
        self.down = nn.Sequential(nn.Conv2d(24 + 48 + 32, 96, 3, 2, 1), nn.BatchNorm2d(96))
        self.last_norm = nn.BatchNorm2d(64)
        self.spatial, self.pooled, self.hidden = nn.Linear(160 * 49, HIDDEN), nn.Linear(FEATURES, HIDDEN), nn.BatchNorm1d(HIDDEN)
        self.out, self.straight = nn.Linear(HIDDEN, VECTOR), nn.Linear(FEATURES, VECTOR)

    def forward(self, stages, last, mask):
        maps = [F.avg_pool2d(self.fine(stages[2]), 2), self.middle(stages[4]), self.outline(area(mask, 56))]
        maps = self.down(F.relu(self.norm(torch.cat(maps, 1))))
        maps = F.relu(torch.cat([maps, self.last_norm(self.last(last))], 1))
        pool = last.mean((2, 3))
        hidden = self.spatial(maps.flatten(1)) + self.pooled(pool) + self.silhouette(area(mask, 28).flatten(1) - 0.5)
        return self.out(F.relu(self.hidden(hidden))) + self.straight(pool)


class DecorHead(nn.Module):
    """Statistics of the piece's surface, wherever on it."""

    def __init__(self):
        super().__init__()
        self.mixtures = nn.ModuleList([nn.Conv2d(a, b, 1) for _, a, b in TEXTURE_STAGES])
        width = 2 * sum(a + b for _, a, b in TEXTURE_STAGES) + FEATURES
        self.norm = nn.BatchNorm1d(width)
        self.first, self.second = nn.Linear(width, 256), nn.Linear(256, VECTOR)

    def forward(self, stages, last, mask):
        parts = []
        for k, (stage, _, _) in enumerate(TEXTURE_STAGES):
            x = stages[stage].float()
            maps = torch.cat([x, F.relu(self.mixtures[k](x))], 1).float()
            parts += self.statistics(maps, area(mask, x.shape[-1]))
        parts.append(self.statistics(last.float(), area(mask, last.shape[-1]))[0])
        return self.second(F.relu(self.first(self.norm(torch.cat(parts, 1)))))

    @staticmethod
    def statistics(maps, weight):
        weight = weight.float() + 1e-4
        total = weight.sum((2, 3))
        mean = (maps * weight).sum((2, 3)) / total
        spread = ((maps * maps * weight).sum((2, 3)) / total - mean * mean).clamp(min=1e-6).sqrt()
        return [mean, spread]


class Embedder(nn.Module):
    def __init__(self, backbone):
        super().__init__()
        self.backbone, self.heads = backbone, nn.ModuleDict(dict(shape=ShapeHead(), decor=DecorHead()))

    def forward(self, x):
        """Shape and decoration vector. `x`: [n, 4, 224, 224], RGB from -1 to 1 and the mask from 0 to 1."""
        stages = self.backbone.trunk(x[:, :3])
        last = self.backbone.head(stages[-1])
        return tuple(head(stages, last, x[:, 3:]) for head in self.heads.values())


class Exported(nn.Module):
    """Its vectors of unit length, `shape` and `decor`."""

    def __init__(self, net):
        super().__init__()
        self.net = net

    def forward(self, x):
        return tuple(F.normalize(vector, dim=1) for vector in self.net(x))


class General(nn.Module):
    """What the published backbone says of everything at once, `pool`. `x`: [n, 3, 224, 224], RGB from -1 to 1."""

    def __init__(self, backbone):
        super().__init__()
        self.backbone = backbone

    def forward(self, x):
        return (self.backbone.head(self.backbone.trunk(x)[-1]).mean((2, 3)),)
