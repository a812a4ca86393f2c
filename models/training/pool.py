"""Rendered crops to learn from: made as the training goes, and varied each time they are seen.

Blocks of 8 shapes x 8 decorations are rendered as full grids, so that the same
decoration on another shape is a confuser for the shape, and the reverse.
"""
import random
import time

import torch
import torch.nn.functional as F

import run
from decors import LOOK, luma, make_decors
from ops import arange, chance, joined, rand, randn, tensor, uniform
from photo import CROP, crops
from render import render
from shapes import SILHOUETTE, make_shapes

GRID = 8  # shapes and decorations of a block
BLOCK = GRID * GRID
MIXED = -1  # kind of a block of several kinds


class Pool:
    """Blocks of crops (8 bit) and what is true of them; once it is full, the oldest make room for new ones."""

    def __init__(self, blocks, chunk, side=256):
        self.chunk, self.side, self.made = chunk, side, 0
        self.pictures = torch.empty(blocks, BLOCK, 4, CROP, CROP, dtype=torch.uint8)
        self.silhouettes = torch.empty(blocks, GRID, SILHOUETTE, SILHOUETTE)
        self.plain, self.base, self.kinds = torch.empty(blocks, GRID), torch.empty(blocks, GRID, 3), [MIXED] * blocks
        self.looks = torch.empty(blocks, GRID, LOOK, dtype=torch.float16)

    def __len__(self):
        return min(self.made, len(self.pictures))

    @torch.no_grad()
    def renew(self):
        """One chunk of new blocks; in every third each block is of one kind of ware."""
        turn, n = self.made // self.chunk, self.chunk
        one_kind = turn % 3 == 2
        shapes = make_shapes(n * GRID, (1, 2, 4)[turn // 3 % 3], GRID if one_kind else 1)
        decors = make_decors(n * GRID, (2, 4, 1, 4)[turn % 4])
        at = arange(n * BLOCK)
        si, di = at // GRID, at // BLOCK * GRID + at % GRID
        first = self.made % len(self.pictures)
        flat = self.pictures[first : first + n].flatten(0, 1)
        for k in range(0, n * BLOCK, 4 * BLOCK):
            part = slice(k, min(n * BLOCK, k + 4 * BLOCK))
            seen = crops(*render(shapes, decors, si[part], di[part], self.side))
            flat[part] = (seen.clamp(0, 1) * 255).round().byte()
        rows = slice(first, first + n)
        self.silhouettes[rows] = shapes["silhouette"].view(n, GRID, SILHOUETTE, SILHOUETTE)
        self.plain[rows], self.base[rows] = decors["plain"].view(n, GRID), decors["base"].view(n, GRID, 3)
        self.looks[rows] = decors["look"].view(n, GRID, LOOK).half()
        self.kinds[rows] = shapes["kind"][::GRID].tolist() if one_kind else [MIXED] * n
        self.made += n

    def fill(self, blocks):
        begun, before = time.time(), self.made
        while self.made - before < blocks:
            self.renew()
        run.note(f"rendered {blocks * BLOCK} crops, {blocks * BLOCK / (time.time() - begun):.0f}/s")

    def draw(self, count):
        """Places of `count` blocks at random; where the first drawn is of one kind, all of that kind, so that near forms meet."""
        have = range(len(self))
        kind = self.kinds[random.choice(have)]
        mine = [k for k in have if self.kinds[k] == kind]
        if kind == MIXED or len(mine) < count:
            mine = have
        return tensor(random.sample(mine, min(count, len(mine))))


def of_shape(blocks):
    """Which shape each picture of some blocks shows."""
    return (blocks[:, None] * GRID + arange(BLOCK) // GRID).flatten()


def decorations(pool, blocks, colourless=False):
    """Which decoration each picture of some blocks has, and the pairs that are not to be told apart: plain glazes of
    nearly one colour; without colour, of any that is not much lighter."""
    decor = (blocks[:, None] * GRID + arange(BLOCK) % GRID).flatten()
    bare, ground = pool.plain.flatten()[decor] > 0, pool.base.flatten(0, 1)[decor]
    if colourless:
        ground = luma(ground)[:, None]
    return decor, bare[:, None] & bare[None] & ((ground[:, None] - ground[None]).norm(dim=-1) < 0.3)


def printed(rgb, mask):
    """Without colour, as films and papers have it: colours weigh differently, the tones are bent, paper and ink not quite white and black.

    RGB -0.5 to 0.5; the ground outside the mask stays as it is.
    """
    n = len(rgb)
    weighs = torch.softmax(tensor([[0.3, 0.59, 0.11]]).log() + 0.5 * randn(n, 3), 1)
    tone = (rgb * weighs[:, :, None, None]).sum(1, keepdim=True)
    bent = (tone + 0.5).clamp(0, 1) ** torch.exp(0.3 * randn(n, 1, 1, 1))
    ink, paper = uniform(0, 0.15, n, 1, 1, 1), uniform(0.75, 1, n, 1, 1, 1)
    bent = ink + (paper - ink) * bent
    toned = 1 - chance(0.15, n, 1, 1, 1) * rand(n, 3, 1, 1) * tensor([0.1, 0.2, 0.4])[None, :, None, None]
    return tone + (bent * toned - 0.5 - tone) * mask.clamp(0, 1)


@joined
def vary(pictures, colourless):
    """Small turns, shifts and scales, mirroring, noise; 8 bit to RGB -1 to 1 and mask 0 to 1.

    A share of `colourless` (a tensor) is as photos and prints without colour are.
    """
    n, x = len(pictures), pictures.float() / 255
    turn, scale, mirror = randn(n) * 0.06, uniform(0.92, 1.1, n), chance(0.5, n) * 2 - 1
    rows = [
        torch.stack([turn.cos() * scale * mirror, -turn.sin() * scale, uniform(-0.05, 0.05, n)], 1),
        torch.stack([turn.sin() * scale * mirror, turn.cos() * scale, uniform(-0.05, 0.05, n)], 1),
    ]
    places = F.affine_grid(torch.stack(rows, 1), x.shape, align_corners=False)
    ground = tensor([0.5, 0.5, 0.5, 0.0])[None, :, None, None]
    x = F.grid_sample(x - ground, places, align_corners=False)
    rgb, mask = x[:, :3], x[:, 3:]
    rgb = torch.where(rand(n, 1, 1, 1) < colourless, printed(rgb, mask), rgb)
    rgb = rgb + torch.randn_like(rgb) * 0.02 * chance(0.3, n, 1, 1, 1)
    return torch.cat([rgb * 2, mask], 1).contiguous(memory_format=torch.channels_last)


def draw_batch(pool, count, all_grey, some_grey):
    """Varied pictures of `count` blocks, their places, and whether all are without colour: a share of `all_grey` of the
    batches; in the others `some_grey` of the pictures."""
    blocks, colourless = pool.draw(count), random.random() < all_grey
    share = tensor(1.0 if colourless else some_grey)
    return vary(pool.pictures[blocks].flatten(0, 1), share), blocks, colourless
