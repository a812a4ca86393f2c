"""Trains the cutout network on rendered scenes: `python3 train_cutout.py --out DIR`."""
import argparse
import math
import pathlib
import time

import torch
import torch.nn.functional as F

import run
from cutout import SIDE, Cutout, double
from lite0 import Lite0
from ops import chance, uniform
from scenes import load_photos, make_pieces, make_scenes, targets

SEED = 23


@torch.no_grad()
def scene_pool(count, seconds, chunk, pieces, textures, photos):
    """Scenes [n, 3, SIDE, SIDE] and instances [n, SIDE, SIDE], 8 bit; fewer than `count` if time is up."""
    pictures, instances = torch.empty(count, 3, SIDE, SIDE, dtype=torch.uint8), torch.empty(count, SIDE, SIDE, dtype=torch.uint8)
    done, begun = 0, time.time()
    while done < count and (not done or time.time() - begun < seconds):
        n = min(chunk, count - done)
        picture, instance = make_scenes(n, SIDE, pieces, textures, photos)
        pictures[done : done + n] = (picture.clamp(0, 1) * 255).round().byte()
        instances[done : done + n] = instance.byte()
        done += n
    run.note(f"{done} scenes, {done / (time.time() - begun):.0f}/s")
    return pictures[:done], instances[:done]


def vary(pictures, instances):
    """Mirrored, cut a little closer, light and colour changed; RGB -1 to 1."""
    n = len(pictures)
    zoom, mirror = uniform(0.75, 1.0, n), chance(0.5, n) * 2 - 1
    zero = torch.zeros(n)
    shift = [uniform(-1, 1, n) * (1 - zoom) for _ in range(2)]
    rows = torch.stack([torch.stack([zoom * mirror, zero, shift[0]], 1), torch.stack([zero, zoom, shift[1]], 1)], 1)
    places = F.affine_grid(rows, (n, 1, SIDE, SIDE), align_corners=False)
    x = F.grid_sample(pictures.float() / 255, places, align_corners=False, padding_mode="border")
    instance = F.grid_sample(instances[:, None].float(), places, mode="nearest", align_corners=False)[:, 0]
    gain = torch.exp(uniform(-0.2, 0.2, n, 1, 1, 1)) * (1 + 0.05 * torch.randn(n, 3, 1, 1))
    grey = chance(0.05, n, 1, 1, 1)
    x = (x * gain).clamp(0, 1)
    x = x * (1 - grey) + x.mean(1, keepdim=True) * grey
    return (x * 2 - 1).contiguous(memory_format=torch.channels_last), instance


def losses(net, pictures, instances):
    small, heat, offset, boundary = targets(instances)
    with run.half_precision():
        mask, pieces = net(pictures)
    mask, pieces = double(mask.float())[:, 0], pieces.float()
    piece, inside = (instances > 0).float(), (small > 0).float()
    # The edge counts three times.
    edge = (F.max_pool2d(piece[:, None], 7, 1, 3) + F.max_pool2d(-piece[:, None], 7, 1, 3))[:, 0]
    probability = torch.sigmoid(mask)
    both = (probability * piece).sum((1, 2))
    peaks = torch.sigmoid(pieces[:, 0])
    return dict(
        mask=(F.binary_cross_entropy_with_logits(mask, piece, reduction="none") * (1 + 2 * edge)).mean(),
        overlap=(1 - (both + 1) / ((probability + piece - probability * piece).sum((1, 2)) + 1)).mean(),
        centre=((peaks - heat) ** 2 * (1 + 20 * heat)).mean() * 4,
        offset=((pieces[:, 1:3] - offset).abs() * inside[:, None]).sum() / inside.sum().clamp(min=1) * 3,
        boundary=(F.binary_cross_entropy_with_logits(pieces[:, 3], boundary, reduction="none") * (1 + 10 * boundary)).mean() * 0.5,
    )


def train(net, pictures, instances, steps, seconds, batch, save):
    """AdamW with a warm-up and a cosine; returns the mean of the weights over the last fifth."""
    rest = [p for name, p in net.named_parameters() if not name.startswith("backbone.")]
    optimiser = torch.optim.AdamW([dict(params=net.backbone.parameters(), lr=4e-4), dict(params=rest, lr=2e-3)], weight_decay=0.01)
    rates = [group["lr"] for group in optimiser.param_groups]
    average, averaged, begun, saved = None, 0, time.time(), time.time()
    for step in range(steps):
        share = max(step / steps, (time.time() - begun) / seconds)
        if share >= 1:
            break
        for group, rate in zip(optimiser.param_groups, rates):
            group["lr"] = rate * min(1, step / 100 + 0.02) * (0.5 + 0.5 * math.cos(math.pi * share))
        picked = torch.randint(len(pictures), (batch,))
        x, instance = vary(pictures[picked], instances[picked])
        net.train()
        net.backbone.eval()  # its batch statistics stay as published
        parts = losses(net, x, instance)
        optimiser.zero_grad(set_to_none=True)
        sum(parts.values()).backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        optimiser.step()
        if share > 0.8 and step % 4 == 0:
            average, averaged = run.running_mean(average, net.state_dict(), averaged), averaged + 1
        if step % 200 == 0:
            run.note(f"step {step}: " + ", ".join(f"{name} {value.item():.4f}" for name, value in parts.items()))
        if time.time() - saved > 90:  # a run cut off gives something
            save(net)
            saved = time.time()
    run.note(f"{step + 1} steps, {(step + 1) * batch / (time.time() - begun):.0f} scenes/s")
    if average is not None:
        net.load_state_dict(average)
    return net.eval()


@torch.no_grad()
def held_out(net, pictures, instances):
    """Overlap with the truth where there is a piece, and the share of empty scenes in which nothing is found."""
    torch.backends.cudnn.benchmark = False
    overlaps, empty = [], []
    for x, instance in zip(pictures.split(32), instances.split(32)):
        found = double(net(x.float() / 127.5 - 1)[0])[:, 0] > 0
        true = instance > 0
        overlap = (found & true).sum((1, 2)) / (found | true).sum((1, 2)).clamp(min=1)
        has = true.any(2).any(1)
        overlaps.append(overlap[has])
        empty.append(found.float().mean((1, 2))[~has] < 0.002)
    return f"held out: overlap {torch.cat(overlaps).mean().item():.4f}, empty {torch.cat(empty).float().mean().item():.3f}"


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    run.common_arguments(parser)
    parser.add_argument("--photos", type=pathlib.Path, default=run.bundled_photos(), help="folder with scikit-image's bundled photos")
    parser.add_argument("--seconds", type=float, default=430, help="all of it, rendering included")
    arguments = parser.parse_args()
    run.begin(arguments, SEED)
    tiny = arguments.tiny
    photos = load_photos(arguments.photos)
    pieces, textures = make_pieces(4 if tiny else 14000, 4 if tiny else 128, arguments.seconds * 0.18)
    run.note(f"{len(pieces)} pieces")
    run.free()
    chunk, seconds = (2, 600) if tiny else (64, run.remaining(arguments) * 0.3)
    held = scene_pool(2 if tiny else 512, 60, chunk, pieces, textures, photos)
    shown = torch.cat([held[0], (held[1] * 42)[:, None].expand(-1, 3, -1, -1)], 3)
    run.sheet(shown[:64], arguments.out / "scenes.png", 2 if tiny else 4)
    pictures, instances = scene_pool(4 if tiny else 20000, seconds, chunk, pieces, textures, photos)
    run.free()
    net = Cutout()
    published = Lite0().load_imagenet(arguments.backbone).state_dict()
    net.backbone.load_state_dict({name: value for name, value in published.items() if not name.startswith("head.")})
    net = net.to(**run.layout(arguments))

    def save(net):
        run.save(net, arguments.out / "cutout.pt")

    steps, left = (2, 60) if tiny else (4000, run.remaining(arguments) - 12)
    train(net, pictures, instances, steps, left, 2 if tiny else 64, save)
    save(net)
    run.note(held_out(net, *held))


if __name__ == "__main__":
    main()
