"""Trains the embedding network on renders: `python3 train_embedder.py --out DIR`.

Backbone, shape and decoration vector and details are trained together, on ware
that is rendered as the training goes (`pool.py`).
"""
import argparse
import math
import random
import time

import torch
import torch.nn.functional as F
from torch import nn

import run
from embedder import Embedder
from lite0 import Lite0
from losses import contrast, contrast_of, form_likeness, likeness_of_places, look_likeness
from pool import BLOCK, GRID, Pool, decorations, draw_batch, of_shape

FORM_WEIGHT, LOOK_WEIGHT = 0.5, 0.5  # of the losses on likeness of form and of decoration
GREY_WEIGHT = 0.3  # of the decoration vector's loss where there is no colour: that is the details' work
ALL_GREY, SOME_GREY = 0.25, 0.08  # share of the batches without colour, of the pictures of the others
BACKBONE_RATE, HEAD_RATE = 1.2e-4, 1.5e-3  # of one card; of more, the root of their number times as high
SPREAD = 2.3  # of the details' loss to begin with: logarithm of one over the temperature


def step_loss(net, pool, drawn, scale):
    pictures, blocks, colourless = drawn
    shape, (decor, alike) = of_shape(blocks), decorations(pool, blocks, colourless)
    with run.half_precision():
        form, decoration, (vectors, weights) = net(pictures)
    parts = [contrast(form, shape), contrast(decoration, decor, alike)]
    parts.append(contrast_of(likeness_of_places(vectors, weights) * scale.exp(), decor, alike))
    parts.append(form_likeness(form, pool.silhouettes.flatten(0, 1)[shape]))
    parts.append(look_likeness(decoration, pool.looks.flatten(0, 1)[decor].float()))
    of_vector, of_look = (GREY_WEIGHT, 0.0) if colourless else (1.0, LOOK_WEIGHT)
    return sum(weight * part for weight, part in zip((1.0, of_vector, 1.0, FORM_WEIGHT, of_look), parts)), parts


def weight_groups(net, scale):
    backbone = list(net.backbone.parameters())
    groups = [
        dict(params=[p for p in backbone if p.ndim > 1], lr=BACKBONE_RATE, weight_decay=0.01),
        dict(params=[p for p in backbone if p.ndim <= 1], lr=BACKBONE_RATE, weight_decay=0.0),
        dict(params=[*net.heads.parameters(), *net.details.parameters(), scale], lr=HEAD_RATE, weight_decay=0.01),
    ]
    return groups, [group["lr"] for group in groups]


def train(net, pool, steps, seconds, batch, fresh, out, going):
    """AdamW with a short warm-up and a cosine, new ware every `fresh` steps; returns the mean of the weights over the last fifth.

    Where there are several cards each learns from ware of its own, and all step by the mean of their gradients. A training that
    was cut off does what was left of its way (`going`, see `run.keep`) in the steps and seconds given; AdamW's means begin anew.
    """
    scale, done = nn.Parameter(torch.tensor(SPREAD)), going["share"]
    if going["net"]:
        net.load_state_dict(going["net"])
        scale.data.fill_(going["scale"])
    groups, rates = weight_groups(net, scale)
    parameters = [p for group in groups for p in group["params"]]
    rates = [rate * run.cards() ** 0.5 for rate in rates]
    torch.backends.cudnn.benchmark = True
    optimiser = torch.optim.AdamW(groups)
    seeing, average, averaged, begun, share, kept = run.compiled(net), None, 0, time.time(), 0.0, time.time()
    run.same_everywhere(net)
    for step in range(steps):
        if step % fresh == 0:
            share = run.agreed(done + (1 - done) * max(step / steps, (time.time() - begun) / seconds))
            if time.time() - kept > run.KEPT_S:
                run.keep(out, going, net=net.state_dict(), scale=scale.item(), share=share)
                kept = time.time()
        if share >= 1:
            break
        for group, rate in zip(optimiser.param_groups, rates):
            group["lr"] = rate * min(1, step / 50 + 0.02) * (0.5 + 0.5 * math.cos(math.pi * share))
        if step % fresh == fresh - 1:
            pool.renew()
        drawn = draw_batch(pool, batch, ALL_GREY, SOME_GREY)
        net.eval()  # batch statistics of the backbone stay as published
        net.heads.train()
        net.details.train()
        loss, parts = step_loss(seeing, pool, drawn, scale)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        run.mean_gradients(parameters)
        nn.utils.clip_grad_norm_(parameters, 5.0)
        optimiser.step()
        if step == 0:  # the clock begins when the network is compiled
            begun, seconds = time.time(), max(1, seconds - (time.time() - begun))
        if share > 0.8 and step % 4 == 0:
            average, averaged = run.running_mean(average, net.state_dict(), averaged), averaged + 1
        if step % 100 == 0:
            run.note(f"step {step}: shape, decor, details, nearness of forms, of looks " + ", ".join(f"{part.item():.2f}" for part in parts))
    speed = (step + 1) * batch * BLOCK / (time.time() - begun)
    run.note(f"{step + 1} steps, {speed:.0f} crops/s, {pool.made * BLOCK} rendered; cards {run.cards()}, each as many")
    if average is not None:
        net.load_state_dict(average)
    return net.eval()


@torch.no_grad()
def crossed_recall(net, pool):
    """R@1 on renders not trained on: of the shape among other decorations, of the decoration among other shapes."""
    torch.backends.cudnn.benchmark = False
    x = pool.pictures[: len(pool)].flatten(0, 1).float() / 255
    vectors = [net(torch.cat([p[:, :3] * 2 - 1, p[:, 3:]], 1)) for p in x.split(256)]
    place = torch.arange(len(x))
    shape, decor = place // GRID, place // BLOCK * GRID + place % GRID
    places = likeness_of_places(*(torch.cat(part).float() for part in zip(*(v[2] for v in vectors))))
    z = [F.normalize(torch.cat([v[k] for v in vectors]).float(), dim=1) for k in range(2)]
    found = {}
    for name, alike, wanted, other in (
        ("shape", z[0] @ z[0].t(), shape, decor), ("decor", z[1] @ z[1].t(), decor, shape), ("details", places, decor, shape),
    ):
        nearest = alike.masked_fill(other[:, None] == other[None], -9).argmax(1)
        found[name] = round((wanted[nearest] == wanted).float().mean().item(), 3)
    return found


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    run.common_arguments(parser)
    parser.add_argument("--seconds", type=float, default=1300, help="all of it, rendering included")
    parser.add_argument("--seed", type=int, default=11, help="of the first card; each further card has the next")
    parser.add_argument("--fresh", type=int, default=12, help="steps between one rendered chunk and the next")
    arguments = parser.parse_args()
    going = run.begin(arguments, arguments.seed)
    random.seed(arguments.seed + run.card() + 1000 * going["starts"])
    tiny = arguments.tiny
    side, chunk = (96, 1) if tiny else (256, 16)
    held = Pool(1 if tiny else 16, chunk, side)
    held.fill(1 if tiny else 16)
    run.sheet(held.pictures[:2].flatten(0, 1)[:, :3], arguments.out / "crops.png", GRID)
    pool = Pool(2 if tiny else 1920, chunk, side)  # 32 GB: the cutout's training may share the card
    pool.fill(2 if tiny else 400)
    run.free()
    net = Embedder(Lite0().load_imagenet(arguments.backbone)).to(**run.layout(arguments))
    steps, batch = (2, 1) if tiny else (30000, 8)
    train(net, pool, steps, max(10, run.remaining(arguments) - 15), batch, 1 if tiny else arguments.fresh, arguments.out, going)
    run.save(net, arguments.out / "embedder.pt")
    run.ended(arguments.out)
    run.note(f"held out, across the other factor {crossed_recall(net, held)}")


if __name__ == "__main__":
    main()
