"""From a rendered vessel to what a camera and a cutout make of it."""
import math

import torch
import torch.nn.functional as F

from ops import arange, blur, chance, column, fbm, full, grid, joined, rand, randn, smoothstep, tensor, uniform

CROP = 224  # side of what the embedder sees, pixels
MARGIN = 0.08  # on each side, as a share of the piece's longer side


def muted(n):
    """Colours between a grey and anything, mostly near grey: [n, 3, 1, 1]."""
    grey, pull = rand(n, 1, 1, 1), rand(n, 1, 1, 1) ** 2
    return (grey + (rand(n, 3, 1, 1) - grey) * pull).clamp(0, 1)


def plain_backgrounds(n, side):
    """Gradients, horizons and stains [n, 3, side, side]."""
    y, x = (g / 2 + 0.5 for g in grid(side, side))
    first = muted(n)
    near = chance(0.6, n, 1, 1, 1)
    second = first * near + muted(n) * (1 - near) + near * 0.12 * randn(n, 3, 1, 1)
    lean = uniform(0, 6.28, n, 1, 1)
    t = smoothstep(-0.7, 0.7, (x - 0.5) * lean.cos() + (y - 0.5) * lean.sin())[:, None]
    ground = first * (1 - t) + second * t
    table = chance(0.4, n, 1, 1, 1) * smoothstep(-0.02, 0.02, y - uniform(0.4, 0.8, n, 1, 1))[:, None]
    ground = ground * (1 - table) + muted(n) * table
    stains = fbm(n, side, side, 4, 6, gain=0.7)[:, None] * chance(0.5, n, 1, 1, 1) * uniform(0.02, 0.25, n, 1, 1, 1)
    return (ground + stains * (0.5 + rand(n, 3, 1, 1))).clamp(0, 1)


def cosine_basis():
    k = arange(8).float()
    basis = torch.cos((2 * k[None] + 1) * k[:, None] * math.pi / 16) * 0.5
    basis[0] *= math.sqrt(0.5)
    return basis


def quantise(x, strength):
    """Blocking as JPEG makes it (ITU-T T.81): 8 x 8 cosine transform, steps growing with frequency.

    `strength` [n] is the luma step at the lowest frequency, 8-bit; 0 leaves the picture as it is.
    """
    n, _, height, width = x.shape
    both = torch.kron(cosine_basis(), cosine_basis())  # of the 64 pixels of a block, row by row
    to_ycc = tensor([[0.299, 0.587, 0.114], [-0.169, -0.331, 0.5], [0.5, -0.419, -0.081]])
    to_rgb = tensor([[1, 0, 1.402], [1, -0.344, -0.714], [1, 1.772, 0]])
    ycc = torch.einsum("ij,bjhw->bihw", to_ycc, x * 255)
    blocks = ycc.reshape(n, 3, height // 8, 8, width // 8, 8).permute(0, 1, 2, 4, 3, 5).reshape(n, 3, -1, 64)
    i = arange(8).float()
    growing = (1 + (i[:, None] + i[None]) * 0.35).flatten()
    step = strength[:, None, None, None] * growing * tensor([1.0, 1.8, 1.8])[None, :, None, None] + 1e-3
    blocks = (blocks @ both.t() / step).round() * step @ both
    ycc = blocks.view(n, 3, height // 8, width // 8, 8, 8).permute(0, 1, 2, 4, 3, 5).reshape(n, 3, height, width)
    return (torch.einsum("ij,bjhw->bihw", to_rgb, ycc) / 255).clamp(0, 1)


def develop(x):
    """What a camera does: white balance, tone curve, saturation, blur, noise, compression; some without colour."""
    n = len(x)
    x = (x * (1 + 0.05 * randn(n, 3, 1, 1))).clamp(0, 1) ** torch.exp(0.18 * randn(n, 1, 1, 1))
    grey = x.mean(1, keepdim=True)
    saturation = uniform(0.75, 1.25, n, 1, 1, 1) * (1 - chance(0.04, n, 1, 1, 1))
    x = (grey + (x - grey) * saturation).clamp(0, 1)
    u = rand(n, 1, 1, 1)
    x = torch.where(u < 0.5, x, torch.where(u < 0.8, blur(x, 0.7), blur(x, 1.5)))
    x = x + torch.randn_like(x) * uniform(0, 0.035, n, 1, 1, 1) * chance(0.6, n, 1, 1, 1)
    return quantise(x.clamp(0, 1), uniform(1, 16, n) * chance(0.7, n))


def bounds(hit, positions):
    """First and one past the last true place along dimension 1."""
    low = torch.where(hit, positions[None], full((1, len(positions)), 1e3)).amin(1)
    return low, torch.where(hit, positions[None], full((1, len(positions)), -1.0)).amax(1) + 1


def faulty(cover):
    """The mask a cutout might make of it: grown, shrunk, or with a piece too much or too little."""
    n, _, side, _ = cover.shape
    moved = ((blur(cover, 1.5) - 0.5) * 3 + 0.5 + uniform(-0.7, 0.7, n, 1, 1, 1) * chance(0.6, n, 1, 1, 1)).clamp(0, 1)
    mask = torch.where(chance(0.7, n, 1, 1, 1) > 0, moved, cover)
    y, x = grid(side, side)
    cx, cy = uniform(-0.9, 0.9, n, 1, 1), uniform(-0.9, 0.9, n, 1, 1)
    blob = ((x - cx) / uniform(0.05, 0.25, n, 1, 1)) ** 2 + ((y - cy) / uniform(0.05, 0.25, n, 1, 1)) ** 2
    blob = smoothstep(1.1, 0.9, blob)[:, None]
    bitten = torch.where(chance(0.5, n, 1, 1, 1) > 0, torch.maximum(mask, blob), mask * (1 - blob))
    return torch.where(chance(0.08, n, 1, 1, 1) > 0, bitten, mask)


@joined
def crops(rgb, cover, side=CROP, jitter=0.04):
    """What the embedder sees [n, 4, side, side], 0 to 1: photo on grey, and the mask as the program has it.

    The photo is developed first and cut out afterwards, as in life. One in six is left on its
    background, half of those with a mask that covers everything.
    """
    n, _, size, _ = rgb.shape
    places = arange(size).float()
    y0, y1 = bounds((cover > 0.5).any(2), places)
    x0, x1 = bounds((cover > 0.5).any(1), places)
    square = torch.maximum(y1 - y0, x1 - x0).clamp(min=8) * (1 + 2 * (MARGIN + uniform(-jitter, jitter, n)))
    cy = (y0 + y1) / 2 + uniform(-jitter, jitter, n) * square
    cx = (x0 + x1) / 2 + uniform(-jitter, jitter, n) * square
    gy, gx = (g / 2 for g in grid(side, side))
    x = (column(cx) + gx * column(square)) / size * 2 - 1
    y = (column(cy) + gy * column(square)) / size * 2 - 1
    cut = F.grid_sample(torch.cat([rgb, cover[:, None]], 1), torch.stack([x, y], -1), align_corners=False)
    cover = cut[:, 3:]
    colour = (cut[:, :3] / cover.clamp(min=1e-3)).clamp(0, 1)
    photo = develop(colour * cover + plain_backgrounds(n, side) * (1 - cover))
    mask = faulty(cover)
    uncut = chance(1 / 6, n, 1, 1, 1)
    seen = photo * torch.maximum(mask, uncut) + 0.5 * (1 - torch.maximum(mask, uncut))
    whole = uncut * chance(0.5, n, 1, 1, 1)
    return torch.cat([seen, torch.maximum(mask, whole)], 1)
