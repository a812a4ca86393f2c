"""Relief that is the vessel's own and says nothing of its decoration: reeds, rings, basket weave, hammered dimples.

Common things of tableware (common practice, no source); their measures were made up here.
"""
import math

import torch

from decors import COLUMNS, ROWS
from ops import choose, column, smoothstep, uniform

NONE, REEDS, RINGS, WEAVE, DIMPLES = range(5)
SHARES = [0.55, 0.12, 0.13, 0.10, 0.10]


def mouldings(n):
    """Heights [n, 1, ROWS, COLUMNS], 0 to 1, over place along the profile (foot to rim) and around."""
    v, u = torch.meshgrid((torch.arange(ROWS) + 0.5) / ROWS, (torch.arange(COLUMNS) + 0.5) / COLUMNS, indexing="ij")
    v, u = v[None], u[None]
    kind = column(choose(SHARES, n))
    around, up = uniform(12, 56, n, 1, 1).round(), uniform(5, 26, n, 1, 1)
    lean = uniform(-6, 6, n, 1, 1).round() * (uniform(0, 1, n, 1, 1) < 0.3)
    reeds = torch.sin(math.pi * (u * around + v * lean)).abs()
    rings = 0.5 + 0.5 * torch.sin(2 * math.pi * v * up) + 0 * u
    level = (v * up).floor()
    weave = torch.sin(math.pi * (u * around + 0.5 * (level % 2))).abs() * torch.sin(math.pi * v * up).abs() ** 0.5
    x, y = (u * around + 0.5 * (level % 2)) % 1 - 0.5, (v * up) % 1 - 0.5
    dimples = ((x * x + y * y) * 3).clamp(max=1)
    height = torch.zeros(n, ROWS, COLUMNS)
    for k, made in ((REEDS, reeds), (RINGS, rings), (WEAVE, weave), (DIMPLES, dimples)):
        height = torch.where(kind == k, made, height)
    low, high = uniform(-0.6, 0.6, n, 1, 1), uniform(0.5, 1.6, n, 1, 1)
    zone = smoothstep(-0.02, 0.02, v - low) * smoothstep(0.02, -0.02, v - high)
    height = (height * zone * uniform(0.2, 0.8, n, 1, 1))[:, None]
    return height.half() if height.is_cuda else height
