"""Trains what the embedding network says of details: `python3 train_details.py --embedder embedder.pt --out DIR`.

The rest of the network stays as it is exported; its maps are only looked at. Two sets of places are as like as each
place's best match in the other set, so the loss is asked of that and not of any one place.
"""
import argparse
import math
import pathlib
import time

import torch
import torch.nn.functional as F
from torch import nn

import run
from embedder import DETAIL, DETAILS
from export import load_embedder
from photo import CROP
from train_embedder import BLOCK, GRID, contrast_of, decorations, render_blocks, vary

SEED = 29
ALL_GREY = 0.4  # share of the batches without colour
RATE = 1.5e-3
CLIP = 2.0


def likeness(vectors, weights):
    """Of every two sets, -1 to 1: the best match of each place, the mean by weight, both ways."""
    n = len(vectors)
    flat = vectors.reshape(n * DETAILS, DETAIL)
    with run.half_precision():
        cosines = (flat @ flat.t()).view(n, DETAILS, n, DETAILS)
    forth = (cosines.amax(3).float() * weights[:, :, None]).sum(1)
    return (forth + forth.t()) / 2


def look(net, pictures):
    """What is told of details of a batch; nothing but their head learns."""
    with torch.no_grad(), run.half_precision():
        stages = [stage.detach() for stage in net.backbone.trunk(pictures[:, :3])]
    with run.half_precision():
        return net.details(stages, pictures[:, 3:])


def train(net, pool, truth, steps, seconds, batch):
    """AdamW with a short warm-up and a cosine; leaves the mean of the weights over the last fifth."""
    scale = nn.Parameter(torch.tensor(2.3))  # logarithm of one over the temperature
    learned = [*net.details.parameters(), scale]
    optimiser = torch.optim.AdamW(learned, lr=RATE, weight_decay=0.02)
    _, plain, base = truth
    count = len(pool) // BLOCK
    batch, order = min(batch, count), torch.empty(0, dtype=torch.long)
    average, averaged, begun = None, 0, time.time()
    net.eval()
    net.details.train()
    for step in range(steps):
        share = max(step / steps, (time.time() - begun) / seconds)
        if share >= 1:
            break
        optimiser.param_groups[0]["lr"] = RATE * min(1, step / 50 + 0.02) * (0.5 + 0.5 * math.cos(math.pi * share))
        if len(order) < batch:
            order = torch.randperm(count)
        blocks, order = order[:batch], order[batch:]
        pictures = vary(pool.view(count, BLOCK, 4, CROP, CROP)[blocks].flatten(0, 1), ALL_GREY)
        decor, alike = decorations(blocks, plain, base)
        loss = contrast_of(likeness(*look(net, pictures)) * scale.exp(), decor, alike)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_(learned, CLIP)
        optimiser.step()
        if share > 0.8 and step % 4 == 0:
            average, averaged = run.running_mean(average, net.details.state_dict(), averaged), averaged + 1
        if step % 200 == 0:
            run.note(f"step {step}: {loss.item():.2f}")
    run.note(f"{step + 1} steps, {(step + 1) * batch * BLOCK / (time.time() - begun):.0f} crops/s")
    if average is not None:
        net.details.load_state_dict(average)
    net.eval()


@torch.no_grad()
def crossed_recall(net, pool):
    """R@1 on renders not trained on, of the decoration among other shapes."""
    x = pool.float() / 255
    sets = [look(net, torch.cat([p[:, :3] * 2 - 1, p[:, 3:]], 1)) for p in x.split(256)]
    place = torch.arange(len(pool))
    shape, decor = place // BLOCK * GRID + place % BLOCK // GRID, place // BLOCK * GRID + place % GRID
    alike = likeness(*(torch.cat(part).float() for part in zip(*sets))).masked_fill(shape[:, None] == shape[None], -9)
    return round((decor[alike.argmax(1)] == decor).float().mean().item(), 3)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    run.common_arguments(parser)
    parser.add_argument("--embedder", type=pathlib.Path, required=True, help="weights from train_embedder.py")
    parser.add_argument("--seconds", type=float, default=620, help="all of it, rendering included")
    arguments = parser.parse_args()
    run.begin(arguments, SEED)
    tiny = arguments.tiny
    side, chunk = (96, 1) if tiny else (256, 16)
    held, _ = render_blocks(1 if tiny else 16, 60, side, chunk)
    pool, truth = render_blocks(2 if tiny else 3600, arguments.seconds * 0.42, side, chunk)
    run.free()
    net = load_embedder(arguments.embedder, arguments.backbone).to(**run.layout(arguments))
    steps, batch = (2, 1) if tiny else (6600, 8)
    train(net, pool, truth, steps, max(10, run.remaining(arguments) - 12), batch)
    run.save(net.details, arguments.out / "details.pt")
    run.note(f"held out, decoration across shapes {crossed_recall(net, held)}")


if __name__ == "__main__":
    main()
