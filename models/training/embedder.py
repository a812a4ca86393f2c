"""The embedding network: a tuned backbone with a shape and a decoration vector and the decoration's details; and the
published one's general vector."""
import torch
import torch.nn.functional as F
from torch import nn

from lite0 import FEATURES

VECTOR = 128
HIDDEN = 256  # between the shape head's maps and its vector
DETAILS, DETAIL = 16, 32  # places that say most about the decoration, numbers of each
CELLS = 14  # the places are cells of a grid of CELLS x CELLS
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


class DetailHead(nn.Module):
    """The places that say most about the decoration: a vector and a weight of each."""

    def __init__(self, width=192):
        super().__init__()
        self.fine, self.middle = nn.Conv2d(24, 32, 4, 4), nn.Conv2d(40, 64, 2, 2)
        self.deep, self.around = nn.Conv2d(112, 96, 1), nn.Conv2d(192, 32, 1)
        self.norm = nn.BatchNorm2d(32 + 64 + 96 + 32)
        self.hidden = nn.Sequential(nn.Conv2d(32 + 64 + 96 + 32, width, 1), nn.BatchNorm2d(width), nn.ReLU())
        self.say, self.value = nn.Conv2d(width, 1, 1), nn.Conv2d(width, DETAIL, 1)

    def forward(self, stages, mask):
        """Unit vectors [n, DETAILS, DETAIL] and weights [n, DETAILS] whose sum is 1."""
        around = self.around(stages[5])
        n, width, side, _ = around.shape
        around = around[:, :, :, None, :, None].expand(-1, -1, -1, 2, -1, 2).reshape(n, width, 2 * side, 2 * side)
        maps = [self.fine(stages[1]), self.middle(stages[2]), self.deep(stages[4]), around]
        hidden = self.hidden(F.relu(self.norm(torch.cat(maps, 1)))).float()
        says = self.say(hidden).float() + (area(mask, CELLS) + 1e-4).log()
        rank = says.detach()
        if self.training:  # others get a chance to show what they are worth
            rank = rank - 0.7 * torch.log(-torch.log(torch.rand_like(rank).clamp(1e-6, 1 - 1e-6)))
        # Of neighbours one is enough, unless there is nothing else.
        rank = rank - 3.0 * (rank < F.max_pool2d(rank, 3, 1, 1)).float()
        places = rank.flatten(1).topk(DETAILS, 1).indices
        values = self.value(hidden).flatten(2).transpose(1, 2).gather(1, places[..., None].expand(-1, -1, DETAIL))
        return F.normalize(values.float(), dim=2), torch.softmax(says.flatten(1).gather(1, places), 1)


class Embedder(nn.Module):
    def __init__(self, backbone):
        super().__init__()
        self.backbone, self.heads = backbone, nn.ModuleDict(dict(shape=ShapeHead(), decor=DecorHead()))
        self.details = DetailHead()

    def forward(self, x):
        """Shape and decoration vector, details. `x`: [n, 4, 224, 224], RGB from -1 to 1 and the mask from 0 to 1."""
        stages, mask = self.backbone.trunk(x[:, :3]), x[:, 3:]
        last = self.backbone.head(stages[-1])
        return *(head(stages, last, mask) for head in self.heads.values()), self.details(stages, mask)


class Exported(nn.Module):
    """Vectors of unit length, `shape` and `decor`; and `details` [n, DETAILS, DETAIL], each as long as it weighs."""

    def __init__(self, net):
        super().__init__()
        self.net = net

    def forward(self, x):
        shape, decor, (vectors, weights) = self.net(x)
        return F.normalize(shape, dim=1), F.normalize(decor, dim=1), vectors * weights[..., None]


class General(nn.Module):
    """What the published backbone says of everything at once, `pool`. `x`: [n, 3, 224, 224], RGB from -1 to 1."""

    def __init__(self, backbone):
        super().__init__()
        self.backbone = backbone

    def forward(self, x):
        return (self.backbone.head(self.backbone.trunk(x)[-1]).mean((2, 3)),)
