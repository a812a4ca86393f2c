"""Trains what the embedding network says of details: `python3 train_details.py --embedder embedder.pt --out DIR`.

The rest of the network stays as it is exported; its maps are only looked at; with `--own`, copies of some
stages are trained for the details alone. Two sets of places are as like as each
place's best match in the other set, so the loss is asked of that and not of any one place.
"""
import argparse
import math
import pathlib
import random
import time

import torch
from torch import nn

import run
from embedder import DETAIL, DETAILS
from export import load_embedder, own_stages, saved
from photo import CROP
from train_embedder import BLOCK, GRID, contrast_of, decorations, render_blocks, vary

SEED = 29
ALL_GREY = 0.35  # share of the batches without colour, as prints are
SOME_GREY = 0.1  # share of the pictures of the others
RATE, BEGUN_RATE, OWN_RATE = 1.5e-3, 8e-4, 2e-4  # of the head, of one begun with, of its copies of stages
CLIP = 2.0


def likeness(vectors, weights):
    """Of every two sets, -1 to 1: the best match of each place, the mean by weight, both ways."""
    n = len(vectors)
    flat = vectors.reshape(n * DETAILS, DETAIL)
    with run.half_precision():
        cosines = (flat @ flat.t()).view(n, DETAILS, n, DETAILS)
    forth = (cosines.amax(3).float() * weights[:, :, None]).sum(1)
    return (forth + forth.t()) / 2


def look(trunk, details, pictures):
    """What is told of details of a batch; nothing but their head learns."""
    with torch.no_grad(), run.half_precision():
        stages = [stage.detach() for stage in trunk(pictures[:, :3])]
    with run.half_precision():
        return details(stages, pictures[:, 3:])


@torch.no_grad()
def begin_with(details, state):
    """Weights of a head that may lack maps of stages of its own: those then count nothing at first."""
    if set(own_stages(state)) - {int(k) for k in details.own}:
        raise ValueError("--begin has stages of its own that --own does not name")
    own = details.state_dict()
    for name, value in state.items():
        if own[name].shape == value.shape:
            own[name].copy_(value)
        elif name == "hidden.0.weight":
            own[name].zero_()
            own[name][:, : value.shape[1]].copy_(value)
        else:
            own[name][: len(value)].copy_(value)


def train(net, pool, truth, steps, seconds, batch, rate):
    """AdamW with a short warm-up and a cosine; leaves the mean of the weights over the last fifth."""
    scale = nn.Parameter(torch.tensor(2.3 if rate == RATE else 2.8))  # logarithm of one over the temperature
    own = list(net.details.own.parameters())
    head = [p for name, p in net.details.named_parameters() if not name.startswith("own.")]
    rates = (rate, OWN_RATE) if own else (rate,)
    groups = [dict(params=[*head, scale]), dict(params=own)][: len(rates)]
    optimiser = torch.optim.AdamW(groups, weight_decay=0.02)
    _, plain, base = truth
    count = len(pool) // BLOCK
    batch, order = min(batch, count), torch.empty(0, dtype=torch.long)
    average, averaged, begun = None, 0, time.time()
    net.eval()
    net.details.train()
    trunk, details = run.compiled(net.backbone.trunk), run.compiled(net.details)
    for step in range(steps):
        share = max(step / steps, (time.time() - begun) / seconds)
        if share >= 1:
            break
        for group, rate in zip(optimiser.param_groups, rates):
            group["lr"] = rate * min(1, step / 50 + 0.02) * (0.5 + 0.5 * math.cos(math.pi * share))
        if len(order) < batch:
            order = torch.randperm(count)
        blocks, order = order[:batch], order[batch:]
        colourless = random.random() < ALL_GREY
        crops = pool.view(count, BLOCK, 4, CROP, CROP)[blocks].flatten(0, 1)
        pictures = vary(crops, 1.0 if colourless else SOME_GREY, prints=True)
        decor, alike = decorations(blocks, plain, base, colourless)
        loss = contrast_of(likeness(*look(trunk, details, pictures)) * scale.exp(), decor, alike)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_([*head, *own, scale], CLIP)
        optimiser.step()
        if step == 0:  # the clock begins when the network is compiled
            begun, seconds = time.time(), max(1, seconds - (time.time() - begun))
        if share > 0.8 and step % 4 == 0:
            average, averaged = run.running_mean(average, net.details.state_dict(), averaged), averaged + 1
        if step % 200 == 0:
            run.note(f"step {step}: {loss.item():.2f}")
    run.note(f"{step + 1} steps, {(step + 1) * batch * BLOCK / (time.time() - begun):.0f} crops/s")
    if average is not None:
        net.details.load_state_dict(average)
    net.eval()


@torch.no_grad()
def crossed_recall(net, pool, grey=False):
    """R@1 on renders not trained on, of the decoration among other shapes."""
    x = pool.float() / 255
    if grey:
        x[:, :3] = x[:, :3].mean(1, keepdim=True)
    sets = [look(net.backbone.trunk, net.details, torch.cat([p[:, :3] * 2 - 1, p[:, 3:]], 1)) for p in x.split(256)]
    place = torch.arange(len(pool))
    shape, decor = place // BLOCK * GRID + place % BLOCK // GRID, place // BLOCK * GRID + place % GRID
    alike = likeness(*(torch.cat(part).float() for part in zip(*sets))).masked_fill(shape[:, None] == shape[None], -9)
    return round((decor[alike.argmax(1)] == decor).float().mean().item(), 3)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    run.common_arguments(parser)
    parser.add_argument("--embedder", type=pathlib.Path, required=True, help="weights from train_embedder.py")
    parser.add_argument("--seconds", type=float, default=620, help="all of it, rendering included")
    parser.add_argument("--own", type=int, nargs="*", default=[], choices=(2, 3), help="stages of which the details have copies of their own")
    parser.add_argument("--begin", type=pathlib.Path, help="details.pt to begin with, at a lower rate; it need have no stages of its own")
    arguments = parser.parse_args()
    run.begin(arguments, SEED)
    random.seed(SEED)
    tiny = arguments.tiny
    net = load_embedder(arguments.embedder, arguments.backbone, arguments.own)
    if arguments.begin:
        begin_with(net.details, saved(arguments.begin))
    net = net.to(**run.layout(arguments))
    side, chunk = (96, 1) if tiny else (256, 16)
    held, _ = render_blocks(1 if tiny else 16, 60, side, chunk)
    pool, truth = render_blocks(2 if tiny else 3600, arguments.seconds * 0.38, side, chunk)
    run.free()
    steps, batch = (2, 1) if tiny else (6600, 8)
    train(net, pool, truth, steps, max(10, run.remaining(arguments) - 12), batch, BEGUN_RATE if arguments.begin else RATE)
    run.save(net.details, arguments.out / "details.pt")
    run.note(f"held out, decoration across shapes {crossed_recall(net, held)}, without colour {crossed_recall(net, held, grey=True)}")


if __name__ == "__main__":
    main()
