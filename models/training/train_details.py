"""Goes on training what the embedding network says of details: `python3 train_details.py --embedder embedder.pt --out DIR`.

The rest of the network stays as it is exported, a little nearer to the published
weights than the details were trained with; its maps are only looked at. With
`--own`, copies of some stages are trained for the details alone.
"""
import argparse
import math
import pathlib
import random
import time

import torch
from torch import nn

import run
from export import details_of, load_embedder, own_stages, saved
from losses import contrast_of, likeness_of_places
from pool import BLOCK, GRID, Pool, decorations, draw_batch

SEED = 29
ALL_GREY, SOME_GREY = 0.35, 0.1  # share of the batches without colour, of the pictures of the others
HEAD_RATE, OWN_RATE = 8e-4, 2e-4
SPREAD = 2.8  # logarithm of one over the temperature to begin with
CLIP = 2.0


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


def weight_groups(details, scale):
    own = list(details.own.parameters())
    head = [p for name, p in details.named_parameters() if not name.startswith("own.")]
    groups = [dict(params=[*head, scale], lr=HEAD_RATE), dict(params=own, lr=OWN_RATE)][: 2 if own else 1]
    return groups, [group["lr"] for group in groups]


def train(net, pool, steps, seconds, batch, fresh):
    """AdamW with a short warm-up and a cosine, new ware every `fresh` steps; leaves the mean of the weights over the last fifth."""
    scale = nn.Parameter(torch.tensor(SPREAD))
    groups, rates = weight_groups(net.details, scale)
    optimiser = torch.optim.AdamW(groups, weight_decay=0.02)
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
        if step % fresh == fresh - 1:
            pool.renew()
        pictures, blocks, colourless = draw_batch(pool, batch, ALL_GREY, SOME_GREY)
        decor, alike = decorations(pool, blocks, colourless)
        loss = contrast_of(likeness_of_places(*look(trunk, details, pictures)) * scale.exp(), decor, alike)
        optimiser.zero_grad(set_to_none=True)
        loss.backward()
        nn.utils.clip_grad_norm_([p for group in groups for p in group["params"]], CLIP)
        optimiser.step()
        if step == 0:  # the clock begins when the network is compiled
            begun, seconds = time.time(), max(1, seconds - (time.time() - begun))
        if share > 0.8 and step % 4 == 0:
            average, averaged = run.running_mean(average, net.details.state_dict(), averaged), averaged + 1
        if step % 200 == 0:
            run.note(f"step {step}: {loss.item():.2f}")
    run.note(f"{step + 1} steps, {(step + 1) * batch * BLOCK / (time.time() - begun):.0f} crops/s, {pool.made * BLOCK} rendered")
    if average is not None:
        net.details.load_state_dict(average)
    net.eval()


@torch.no_grad()
def crossed_recall(net, pool, grey=False):
    """R@1 on renders not trained on, of the decoration among other shapes."""
    x = pool.pictures[: len(pool)].flatten(0, 1).float() / 255
    if grey:
        x[:, :3] = x[:, :3].mean(1, keepdim=True)
    sets = [look(net.backbone.trunk, net.details, torch.cat([p[:, :3] * 2 - 1, p[:, 3:]], 1)) for p in x.split(256)]
    place = torch.arange(len(x))
    shape, decor = place // GRID, place // BLOCK * GRID + place % GRID
    alike = likeness_of_places(*(torch.cat(part).float() for part in zip(*sets))).masked_fill(shape[:, None] == shape[None], -9)
    return round((decor[alike.argmax(1)] == decor).float().mean().item(), 3)


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    run.common_arguments(parser)
    parser.add_argument("--embedder", type=pathlib.Path, required=True, help="weights from train_embedder.py")
    parser.add_argument("--begin", type=pathlib.Path, help="details to begin with, if not those of --embedder; they need have no stages of their own")
    parser.add_argument("--seconds", type=float, default=300, help="all of it, rendering included")
    parser.add_argument("--fresh", type=int, default=12, help="steps between one rendered chunk and the next")
    parser.add_argument("--own", type=int, nargs="*", default=[], choices=(2, 3), help="stages of which the details have copies of their own")
    arguments = parser.parse_args()
    run.begin(arguments, SEED)
    random.seed(SEED)
    tiny = arguments.tiny
    net = load_embedder(arguments.embedder, arguments.backbone, arguments.own)
    begin_with(net.details, saved(arguments.begin) if arguments.begin else details_of(saved(arguments.embedder)))
    net = net.to(**run.layout(arguments))
    side, chunk = (96, 1) if tiny else (256, 16)
    held = Pool(1 if tiny else 16, chunk, side)
    held.fill(1 if tiny else 16)
    pool = Pool(2 if tiny else 2400, chunk, side)
    pool.fill(2 if tiny else 600)
    run.free()
    steps, batch = (2, 1) if tiny else (12000, 8)
    train(net, pool, steps, max(10, run.remaining(arguments) - 12), batch, 1 if tiny else arguments.fresh)
    run.save(net.details, arguments.out / "details.pt")
    run.note(f"held out, decoration across shapes {crossed_recall(net, held)}, without colour {crossed_recall(net, held, grey=True)}")


if __name__ == "__main__":
    main()
