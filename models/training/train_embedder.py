"""Trains the embedding network on renders: `python3 train_embedder.py --out DIR`.

Blocks of 8 shapes x 8 decorations are rendered as full grids, so that the same
decoration on another shape is a confuser for the shape, and the reverse.
"""
import argparse
import math
import time

import torch
import torch.nn.functional as F

import run
from decors import luma, make_decors
from embedder import Embedder
from lite0 import Lite0
from ops import chance, uniform
from photo import CROP, crops
from render import render
from shapes import make_shapes

SEED = 11
GRID = 8  # shapes and decorations of a block
BLOCK = GRID * GRID
TEMPERATURE = 0.1
FORM_WEIGHT = 0.5  # of the loss on likeness of form
FORM_SHARPNESS = 0.06  # in overlap of side silhouettes


@torch.no_grad()
def render_blocks(count, seconds, side, chunk):
    """Crops [count * BLOCK, 4, CROP, CROP] (8 bit) and what is true of them; fewer if time is up."""
    pool, truth, done, begun = torch.empty(count * BLOCK, 4, CROP, CROP, dtype=torch.uint8), [], 0, time.time()
    while done < count and (not done or time.time() - begun < seconds):
        blocks = min(chunk, count - done)
        shapes = make_shapes(blocks * GRID, family=(1, 2, 4)[done // chunk % 3])
        decors = make_decors(blocks * GRID, family=(2, 4, 1, 4)[done // chunk % 4])
        first = torch.arange(blocks).repeat_interleave(BLOCK) * GRID
        si = first + torch.arange(GRID).repeat_interleave(GRID).repeat(blocks)
        di = first + torch.arange(GRID).repeat(GRID).repeat(blocks)
        for k in range(0, len(si), 2 * BLOCK):
            part = slice(k, k + 2 * BLOCK)
            pictures = crops(*render(shapes, decors, si[part], di[part], side))
            at = done * BLOCK + k
            pool[at : at + len(pictures)] = (pictures.clamp(0, 1) * 255).round().byte()
        truth.append((shapes["silhouette"], decors["plain"], decors["base"]))
        done += blocks
    run.note(f"rendered {done * BLOCK} crops, {done * BLOCK / (time.time() - begun):.0f}/s")
    return pool[: done * BLOCK], [torch.cat(column) for column in zip(*truth)]


def printed(rgb, mask):
    """Without colour, as films and papers have it: colours weigh differently, the tones are bent, paper and ink not quite white and black.

    RGB -0.5 to 0.5; the ground outside the mask stays as it is.
    """
    n = len(rgb)
    weighs = torch.softmax(torch.tensor([[0.3, 0.59, 0.11]]).log() + 0.5 * torch.randn(n, 3), 1)
    tone = (rgb * weighs[:, :, None, None]).sum(1, keepdim=True)
    bent = (tone + 0.5).clamp(0, 1) ** torch.exp(0.3 * torch.randn(n, 1, 1, 1))
    ink, paper = uniform(0, 0.15, n, 1, 1, 1), uniform(0.75, 1, n, 1, 1, 1)
    bent = ink + (paper - ink) * bent
    toned = 1 - chance(0.15, n, 1, 1, 1) * torch.rand(n, 3, 1, 1) * torch.tensor([0.1, 0.2, 0.4])[None, :, None, None]
    return tone + (bent * toned - 0.5 - tone) * mask.clamp(0, 1)


def vary(pictures, colourless=0.05, prints=False):
    """Small turns, shifts and scales, mirroring, noise; 8 bit to RGB -1 to 1 and mask 0 to 1.

    A share of `colourless` has no colour; with `prints` as photos and prints without colour are.
    """
    n, x = len(pictures), pictures.float() / 255
    turn, scale, mirror = torch.randn(n) * 0.06, uniform(0.92, 1.1, n), chance(0.5, n) * 2 - 1
    rows = [
        torch.stack([turn.cos() * scale * mirror, -turn.sin() * scale, uniform(-0.05, 0.05, n)], 1),
        torch.stack([turn.sin() * scale * mirror, turn.cos() * scale, uniform(-0.05, 0.05, n)], 1),
    ]
    places = F.affine_grid(torch.stack(rows, 1), x.shape, align_corners=False)
    ground = torch.tensor([0.5, 0.5, 0.5, 0.0])[None, :, None, None]
    x = F.grid_sample(x - ground, places, align_corners=False)
    rgb, mask = x[:, :3], x[:, 3:]
    grey = chance(colourless, n, 1, 1, 1)
    rgb = rgb * (1 - grey) + (printed(rgb, mask) if prints else rgb.mean(1, keepdim=True)) * grey
    rgb = rgb + torch.randn_like(rgb) * 0.02 * chance(0.3, n, 1, 1, 1)
    return torch.cat([rgb * 2, mask], 1).contiguous(memory_format=torch.channels_last)


def contrast(vectors, labels, ignored=None):
    """Supervised contrastive loss (Khosla et al. 2020); `ignored` pairs are no negatives."""
    z = F.normalize(vectors.float(), dim=1)
    return contrast_of(z @ z.t() / TEMPERATURE, labels, ignored)


def contrast_of(likeness, labels, ignored=None):
    """The same of pairwise likeness, divided by its temperature."""
    same = torch.eye(len(likeness), dtype=torch.bool)
    positive = (labels[:, None] == labels[None]) & ~same
    likeness = likeness.masked_fill(same if ignored is None else same | (ignored & ~positive), -1e4)
    log_share = likeness - torch.logsumexp(likeness, 1, keepdim=True)
    return -(log_share * positive).sum(1).div(positive.sum(1)).mean()


def form_likeness(vectors, silhouettes):
    """Cross entropy to the overlap of the true side silhouettes: near forms shall lie near, whatever the view."""
    flat = silhouettes.flatten(1)
    both = flat @ flat.t()
    size = flat.sum(1)
    overlap = both / (size[:, None] + size[None] - both).clamp(min=1)
    z = F.normalize(vectors.float(), dim=1)
    same = torch.eye(len(z), dtype=torch.bool)
    wanted = torch.softmax((overlap / FORM_SHARPNESS).masked_fill(same, -1e4), 1)
    return -(wanted * torch.log_softmax((z @ z.t() / TEMPERATURE).masked_fill(same, -1e4), 1)).sum(1).mean()


def decorations(blocks, plain, base, colourless=False):
    """Which decoration each picture of some blocks has, and the pairs that are not to be told apart: plain glazes of
    nearly one colour; without colour, of any that is not much lighter."""
    decor = (blocks[:, None] * GRID + torch.arange(BLOCK) % GRID).flatten()
    bare, ground = plain[decor] > 0, base[decor]
    if colourless:
        ground = luma(ground)[:, None]
    return decor, bare[:, None] & bare[None] & ((ground[:, None] - ground[None]).norm(dim=-1) < 0.3)


def step_loss(net, pictures, blocks, truth):
    silhouettes, plain, base = truth
    shape = (blocks[:, None] * GRID + torch.arange(BLOCK) // GRID).flatten()
    decor, alike = decorations(blocks, plain, base)
    with run.half_precision():
        of_shape, of_decor = net(pictures)
    parts = contrast(of_shape, shape), contrast(of_decor, decor, alike)
    return sum(parts) + FORM_WEIGHT * form_likeness(of_shape, silhouettes[shape]), parts


def train(net, pool, truth, steps, seconds, batch, rates):
    """AdamW with a short warm-up and a cosine; returns the mean of the weights over the last fifth."""
    backbone_rate, head_rate = rates
    tuned = list(net.backbone.parameters())
    groups = [
        dict(params=[p for p in tuned if p.ndim > 1], lr=backbone_rate, weight_decay=0.01),
        dict(params=[p for p in tuned if p.ndim <= 1], lr=backbone_rate, weight_decay=0.0),
        dict(params=list(net.heads.parameters()), lr=head_rate, weight_decay=0.01),
    ]
    torch.backends.cudnn.benchmark = True
    optimiser, rates = torch.optim.AdamW(groups), [group["lr"] for group in groups]
    count = len(pool) // BLOCK
    batch, order = min(batch, count), torch.empty(0, dtype=torch.long)
    seeing, average, averaged, begun = run.compiled(net), None, 0, time.time()
    for step in range(steps):
        share = max(step / steps, (time.time() - begun) / seconds)
        if share >= 1:
            break
        for group, rate in zip(optimiser.param_groups, rates):
            group["lr"] = rate * min(1, step / 50 + 0.02) * (0.5 + 0.5 * math.cos(math.pi * share))
        if len(order) < batch:
            order = torch.randperm(count)
        blocks, order = order[:batch], order[batch:]
        pictures = vary(pool.view(count, BLOCK, 4, CROP, CROP)[blocks].flatten(0, 1))
        net.eval()  # batch statistics of the backbone stay as published
        net.heads.train()
        loss, parts = step_loss(seeing, pictures, blocks, truth)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_([p for group in groups for p in group["params"]], 5.0)
        optimiser.step()
        if step == 0:  # the clock begins when the network is compiled
            begun, seconds = time.time(), max(1, seconds - (time.time() - begun))
        if share > 0.8 and step % 4 == 0:
            average, averaged = run.running_mean(average, net.state_dict(), averaged), averaged + 1
        if step % 100 == 0:
            run.note(f"step {step}: shape {parts[0].item():.2f}, decor {parts[1].item():.2f}")
    run.note(f"{step + 1} steps, {(step + 1) * batch * BLOCK / (time.time() - begun):.0f} crops/s")
    if average is not None:
        net.load_state_dict(average)
    return net.eval()


@torch.no_grad()
def crossed_recall(net, pool):
    """R@1 on renders not trained on: of the shape among other decorations, of the decoration among other shapes."""
    torch.backends.cudnn.benchmark = False
    x = pool.float() / 255
    found = {}
    vectors = [net(torch.cat([p[:, :3] * 2 - 1, p[:, 3:]], 1)) for p in x.split(256)]
    place = torch.arange(len(pool))
    shape = place // BLOCK * GRID + place % BLOCK // GRID
    decor = place // BLOCK * GRID + place % GRID
    for k, (name, wanted, other) in enumerate((("shape", shape, decor), ("decor", decor, shape))):
        z = F.normalize(torch.cat([v[k] for v in vectors]).float(), dim=1)
        likeness = (z @ z.t()).masked_fill(other[:, None] == other[None], -9)
        found[name] = round((wanted[likeness.argmax(1)] == wanted).float().mean().item(), 3)
    return found


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    run.common_arguments(parser)
    parser.add_argument("--seconds", type=float, default=820, help="all of it, rendering included")
    arguments = parser.parse_args()
    run.begin(arguments, SEED)
    tiny = arguments.tiny
    side, chunk = (96, 1) if tiny else (256, 16)
    held, _ = render_blocks(1 if tiny else 32, 60, side, chunk)
    run.sheet(held[: 2 * BLOCK, :3], arguments.out / "crops.png", GRID)
    run.free()
    pool, truth = render_blocks(2 if tiny else 3600, arguments.seconds * 0.38, side, chunk)
    run.free()
    torch.manual_seed(SEED + 1)
    net = Embedder(Lite0().load_imagenet(arguments.backbone)).to(**run.layout(arguments))
    steps, batch = (2, 1) if tiny else (5200, 8)
    train(net, pool, truth, steps, max(10, run.remaining(arguments) - 12), batch, (1.2e-4, 1.5e-3))
    run.save(net, arguments.out / "embedder.pt")
    run.note(f"held out, across the other factor {crossed_recall(net, held)}")


if __name__ == "__main__":
    main()
