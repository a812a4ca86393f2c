"""Trains the cutout network on rendered scenes: `python3 train_cutout.py --out DIR`."""
import argparse
import math
import pathlib
import time

import torch
import torch.nn.functional as F

import ops
import run
from cutout import SIDE, Cutout, double
from export import saved
from lite0 import Lite0
from ops import chance, uniform
from scenes import load_photos, make_pieces, make_scenes, targets

SEED = 23
BATCH = 64
CHUNK = 256  # scenes made at a time
FRESH = 40  # steps after which a chunk of the pool is made anew


class Scenes:
    """A pool of scenes [n, 3, SIDE, SIDE], their instances and what is covered [n, SIDE, SIDE], 8 bit; the oldest are made anew."""

    def __init__(self, count, seconds, chunk, *material):
        self.material, self.chunk, self.oldest = material, chunk, 0
        self.pictures = torch.empty(count, 3, SIDE, SIDE, dtype=torch.uint8)
        self.instances = torch.empty(count, SIDE, SIDE, dtype=torch.uint8)
        self.covered = torch.empty_like(self.instances)
        self.made, begun = 0, time.time()
        while self.made < count and (not self.made or time.time() - begun < seconds):
            self.renew()
        self.pictures, self.instances, self.covered = (v[: self.made] for v in (self.pictures, self.instances, self.covered))
        self.oldest %= self.made
        run.note(f"{self.made} scenes, {self.made / (time.time() - begun):.0f}/s")

    @torch.no_grad()
    def renew(self):
        n = min(self.chunk, len(self.pictures) - self.oldest)
        picture, instance, covered = make_scenes(n, SIDE, *self.material)
        place = slice(self.oldest, self.oldest + n)
        self.pictures[place] = (picture.clamp(0, 1) * 255).round().byte()
        self.instances[place] = instance.byte()
        self.covered[place] = (covered * 255).round().byte()
        self.made, self.oldest = self.made + n, (self.oldest + n) % len(self.pictures)

    def some(self, batch):
        picked = torch.randint(len(self.pictures), (batch,))
        return self.pictures[picked], self.instances[picked], self.covered[picked]


def vary(pictures, instances, covered):
    """Mirrored, cut a little closer, light and colour changed; RGB -1 to 1."""
    n = len(pictures)
    zoom, mirror = uniform(0.7, 1.0, n), chance(0.5, n) * 2 - 1
    zero = torch.zeros(n)
    shift = [uniform(-1, 1, n) * (1 - zoom) for _ in range(2)]
    rows = torch.stack([torch.stack([zoom * mirror, zero, shift[0]], 1), torch.stack([zero, zoom, shift[1]], 1)], 1)
    places = F.affine_grid(rows, (n, 1, SIDE, SIDE), align_corners=False)
    both = torch.cat([pictures, covered[:, None]], 1).float() / 255
    both = F.grid_sample(both, places, align_corners=False, padding_mode="border")
    x, covered = both[:, :3], both[:, 3]
    instance = F.grid_sample(instances[:, None].float(), places, mode="nearest", align_corners=False)[:, 0]
    gain = torch.exp(uniform(-0.2, 0.2, n, 1, 1, 1)) * (1 + 0.05 * torch.randn(n, 3, 1, 1))
    grey = chance(0.05, n, 1, 1, 1)
    x = (x * gain).clamp(0, 1)
    x = x * (1 - grey) + x.mean(1, keepdim=True) * grey
    return (x * 2 - 1).contiguous(memory_format=torch.channels_last), instance, covered


def losses(net, pictures, instances, wanted):
    small, heat, offset, boundary = targets(instances)
    with run.half_precision():
        mask, pieces = net(pictures)
    mask, pieces = double(mask.float())[:, 0], pieces.float()
    inside = (small > 0).float()
    # The edge counts three times.
    edge = (F.max_pool2d(wanted[:, None], 7, 1, 3) + F.max_pool2d(-wanted[:, None], 7, 1, 3))[:, 0]
    found, peaks = torch.sigmoid(mask), torch.sigmoid(pieces[:, 0])
    both = (found * wanted).sum((1, 2))
    return dict(
        mask=(F.binary_cross_entropy_with_logits(mask, wanted, reduction="none") * (1 + 2 * edge)).mean(),
        overlap=(1 - (both + 1) / (found.sum((1, 2)) + wanted.sum((1, 2)) - both + 1)).mean(),
        centre=((peaks - heat) ** 2 * (1 + 20 * heat)).mean() * 4,
        offset=((pieces[:, 1:3] - offset).abs() * inside[:, None]).sum() / inside.sum().clamp(min=1) * 3,
        boundary=(F.binary_cross_entropy_with_logits(pieces[:, 3], boundary, reduction="none") * (1 + 10 * boundary)).mean() * 0.5,
    )


def train(net, scenes, steps, seconds, batch, highest, out, going):
    """AdamW with a warm-up and a cosine; returns the network with the mean of its weights over the last fifth.

    What was cut off goes on as in `train_embedder.train`.
    """
    done = going["share"]
    if going["net"]:
        net.load_state_dict(going["net"])
    fresh = [p for name, p in net.named_parameters() if not name.startswith("backbone.")]
    optimiser = torch.optim.AdamW([dict(params=net.backbone.parameters(), lr=highest), dict(params=fresh, lr=2e-3)], weight_decay=0.01)
    rates = [group["lr"] for group in optimiser.param_groups]
    look = run.compiled(net)
    average, averaged, begun, kept, step = None, 0, time.time(), time.time(), 0
    for step in range(steps):
        gone = done + (1 - done) * max(step / steps, (time.time() - begun) / seconds)
        if gone >= 1:
            break
        for group, rate in zip(optimiser.param_groups, rates):
            group["lr"] = rate * min(1, step / 100 + 0.02) * (0.5 + 0.5 * math.cos(math.pi * gone))
        if step % FRESH == 0:
            scenes.renew()
        net.train()
        parts = losses(look, *vary(*scenes.some(batch)))
        optimiser.zero_grad(set_to_none=True)
        sum(parts.values()).backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        optimiser.step()
        if gone > 0.8 and step % 4 == 0:
            average, averaged = run.running_mean(average, net.state_dict(), averaged), averaged + 1
        if step % 200 == 0:
            run.note(f"step {step}: " + ", ".join(f"{name} {value.item():.4f}" for name, value in parts.items()))
        if time.time() - kept > run.KEPT_S:
            run.keep(out, going, net=net.state_dict(), share=gone)
            kept = time.time()
    run.note(f"{step} steps, {step * batch / (time.time() - begun):.0f} scenes/s trained on, {scenes.made} scenes made")
    if average is not None:
        net.load_state_dict(average)
    return net.eval()


@torch.no_grad()
def held_out(net, scenes):
    """Overlap of the masks with the truth, of photos with one piece and with several; share of empty photos in which nothing is found."""
    torch.backends.cudnn.benchmark = False
    one, several, nothing = [], [], []
    for x, instance in zip(scenes.pictures.split(32), scenes.instances.split(32)):
        found = torch.sigmoid(double(net(x.float() / 127.5 - 1)[0])[:, 0]) > 0.5
        true, many = instance > 0, instance.amax((1, 2))
        overlap = (found & true).sum((1, 2)) / (found | true).sum((1, 2)).clamp(min=1)
        one.append(overlap[many == 1])
        several.append(overlap[many > 1])
        nothing.append((found.float().mean((1, 2)) < 0.002)[many == 0].float())
    one, several, nothing = (torch.cat(v).mean().item() for v in (one, several, nothing))
    return f"held out: overlap with the truth {one:.4f} (one piece), {several:.4f} (several); {nothing:.3f} of the empty are found empty"


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    run.common_arguments(parser)
    parser.add_argument("--photos", type=pathlib.Path, default=run.bundled_photos(), help="folder with scikit-image's bundled photos")
    parser.add_argument("--begin", type=pathlib.Path, help="weights of an earlier training (cutout.pt) to go on with")
    parser.add_argument("--rate", type=float, default=4e-4, help="greatest learning rate of what starts from published weights")
    parser.add_argument("--seconds", type=float, default=1300, help="all of it, rendering included")
    arguments = parser.parse_args()
    going = run.begin(arguments, SEED)
    ops.JOIN = False  # so few pieces are rendered that joining the steps takes longer than it saves
    tiny = arguments.tiny
    photos = load_photos(arguments.photos)
    pieces, textures = make_pieces(4 if tiny else 40000, 4 if tiny else 128, arguments.seconds * 0.25)
    run.note(f"{len(pieces)} pieces")
    run.free()
    material, chunk, seconds = (pieces, textures, photos), 2 if tiny else CHUNK, 600 if tiny else run.remaining(arguments) * 0.2
    held = Scenes(2 if tiny else 512, 60, chunk, *material)
    run.sheet(torch.cat([held.pictures, (held.instances * 20)[:, None].expand(-1, 3, -1, -1)], 3)[:64], arguments.out / "scenes.png", 2 if tiny else 4)
    scenes = Scenes(4 if tiny else 16384, seconds, chunk, *material)
    net = Cutout(Lite0(head=False).load_imagenet(arguments.backbone))
    if arguments.begin:
        net.load_state_dict(saved(arguments.begin))
    net = net.to(**run.layout(arguments))

    steps, left = (2, 60) if tiny else (20000, run.remaining(arguments) - 12)
    net = train(net, scenes, steps, left, 2 if tiny else BATCH, arguments.rate, arguments.out, going)
    run.save(net, arguments.out / "cutout.pt")
    run.ended(arguments.out)
    run.note(held_out(net, held))


if __name__ == "__main__":
    main()
