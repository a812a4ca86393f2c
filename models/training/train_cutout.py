"""Trains the cutout network on rendered scenes, by the general network's masks: `python3 train_cutout.py --out DIR`."""
import argparse
import math
import pathlib
import time

import torch
import torch.nn.functional as F

import run
from cutout import SIDE, Cutout, double
from nested import Nested, as_published
from ops import chance, column, uniform
from scenes import load_photos, make_pieces, make_scenes, targets

SEED = 23
AGREES = 0.85  # overlap from which on the general mask is of the rendered pieces


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


@torch.no_grad()
def general_masks(general, pictures, chunk):
    """What the general network makes of the pictures, at their own size, 8 bit."""
    begun, found = time.time(), torch.empty(len(pictures), SIDE, SIDE, dtype=torch.uint8)
    for place in range(0, len(pictures), chunk):
        with run.half_precision():
            guess = general(as_published(pictures[place : place + chunk].float() / 255).contiguous(memory_format=torch.channels_last))
        found[place : place + chunk] = (torch.sigmoid(guess.float())[:, 0] * 255).round().byte()
    run.note(f"general masks, {len(pictures) / (time.time() - begun):.0f}/s")
    return found


def taught(instances, general, share):
    """The mask to be learned, 0 to 1: the general network's; where it agrees with the truth, `share` of it is the truth."""
    true = (instances > 0).float()
    both = torch.minimum(true, general).sum((1, 2))
    agrees = both / torch.maximum(true, general).sum((1, 2)).clamp(min=1) > AGREES
    return torch.where(column(agrees), true * share + general * (1 - share), general)


def vary(pictures, instances, general):
    """Mirrored, cut a little closer, light and colour changed; RGB -1 to 1."""
    n = len(pictures)
    zoom, mirror = uniform(0.75, 1.0, n), chance(0.5, n) * 2 - 1
    zero = torch.zeros(n)
    shift = [uniform(-1, 1, n) * (1 - zoom) for _ in range(2)]
    rows = torch.stack([torch.stack([zoom * mirror, zero, shift[0]], 1), torch.stack([zero, zoom, shift[1]], 1)], 1)
    places = F.affine_grid(rows, (n, 1, SIDE, SIDE), align_corners=False)
    both = torch.cat([pictures, general[:, None]], 1).float() / 255
    both = F.grid_sample(both, places, align_corners=False, padding_mode="border")
    x, general = both[:, :3], both[:, 3]
    instance = F.grid_sample(instances[:, None].float(), places, mode="nearest", align_corners=False)[:, 0]
    gain = torch.exp(uniform(-0.2, 0.2, n, 1, 1, 1)) * (1 + 0.05 * torch.randn(n, 3, 1, 1))
    grey = chance(0.05, n, 1, 1, 1)
    x = (x * gain).clamp(0, 1)
    x = x * (1 - grey) + x.mean(1, keepdim=True) * grey
    return (x * 2 - 1).contiguous(memory_format=torch.channels_last), instance, general


def losses(net, pictures, instances, mask_wanted):
    small, heat, offset, boundary = targets(instances)
    with run.half_precision():
        mask, pieces = net(pictures)
    mask, pieces = double(mask.float())[:, 0], pieces.float()
    inside = (small > 0).float()
    # The edge counts three times.
    edge = (F.max_pool2d(mask_wanted[:, None], 7, 1, 3) + F.max_pool2d(-mask_wanted[:, None], 7, 1, 3))[:, 0]
    peaks = torch.sigmoid(pieces[:, 0])
    return dict(
        mask=(F.binary_cross_entropy_with_logits(mask, mask_wanted, reduction="none") * (1 + 2 * edge)).mean(),
        error=((torch.sigmoid(mask) - mask_wanted) ** 2).mean() * 4,
        centre=((peaks - heat) ** 2 * (1 + 20 * heat)).mean() * 4,
        offset=((pieces[:, 1:3] - offset).abs() * inside[:, None]).sum() / inside.sum().clamp(min=1) * 3,
        boundary=(F.binary_cross_entropy_with_logits(pieces[:, 3], boundary, reduction="none") * (1 + 10 * boundary)).mean() * 0.5,
    )


def train(net, scenes, steps, seconds, batch, highest, share, save):
    """AdamW with a warm-up and a cosine; returns the mean of the weights over the last fifth."""
    fresh = [p for name, p in net.named_parameters() if not name.startswith("trunk.")]
    optimiser = torch.optim.AdamW([dict(params=net.trunk.parameters(), lr=highest), dict(params=fresh, lr=2e-3)], weight_decay=0.01)
    rates = [group["lr"] for group in optimiser.param_groups]
    average, averaged, begun, saved = None, 0, time.time(), time.time()
    for step in range(steps):
        gone = max(step / steps, (time.time() - begun) / seconds)
        if gone >= 1:
            break
        for group, rate in zip(optimiser.param_groups, rates):
            group["lr"] = rate * min(1, step / 100 + 0.02) * (0.5 + 0.5 * math.cos(math.pi * gone))
        picked = torch.randint(len(scenes[0]), (batch,))
        x, instance, general = vary(*(part[picked] for part in scenes))
        net.train()
        parts = losses(net, x, instance, taught(instance, general, share))
        optimiser.zero_grad(set_to_none=True)
        sum(parts.values()).backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 5.0)
        optimiser.step()
        if gone > 0.8 and step % 4 == 0:
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
def held_out(net, pictures, instances, general):
    """Overlap with the general masks and with the truth, where there is one piece, and the mean difference from the former."""
    torch.backends.cudnn.benchmark = False
    overlaps, same, apart = [], [], []
    for x, instance, other in zip(pictures.split(32), instances.split(32), general.split(32)):
        found = torch.sigmoid(double(net(x.float() / 127.5 - 1)[0])[:, 0])
        apart.append((found - other.float() / 255).abs().mean((1, 2)))
        one = instance.amax((1, 2)) == 1
        for mask, kept in ((instance > 0, overlaps), (other > 127, same)):
            overlap = ((found > 0.5) & mask).sum((1, 2)) / ((found > 0.5) | mask).sum((1, 2)).clamp(min=1)
            kept.append(overlap[one])
    overlaps, same, apart = (torch.cat(v).mean().item() for v in (overlaps, same, apart))
    return f"held out: overlap with the truth {overlaps:.4f}, with the general mask {same:.4f}; {apart:.4f} apart"


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    run.common_arguments(parser)
    parser.add_argument("--photos", type=pathlib.Path, default=run.bundled_photos(), help="folder with scikit-image's bundled photos")
    parser.add_argument("--general", type=pathlib.Path, default=pathlib.Path(__file__).parent.parent / "mask.onnx", help="the general mask network")
    parser.add_argument("--rate", type=float, default=2e-4, help="greatest learning rate of what starts from published weights")
    parser.add_argument("--truth", type=float, default=0.0, help="share of the rendered truth where the general mask agrees with it")
    parser.add_argument("--seconds", type=float, default=430, help="all of it, rendering included")
    arguments = parser.parse_args()
    run.begin(arguments, SEED)
    tiny = arguments.tiny
    photos = load_photos(arguments.photos)
    pieces, textures = make_pieces(4 if tiny else 30000, 4 if tiny else 128, arguments.seconds * 0.12)
    run.note(f"{len(pieces)} pieces")
    run.free()
    chunk, seconds = (2, 600) if tiny else (64, run.remaining(arguments) * 0.25)
    held = scene_pool(2 if tiny else 512, 60, chunk, pieces, textures, photos)
    scenes = scene_pool(4 if tiny else 24000, seconds, chunk, pieces, textures, photos)
    run.free()
    general = Nested(whole=True).load_published(arguments.general).to(**run.layout(arguments)).eval()
    held, scenes = ((*some, general_masks(general, some[0], chunk)) for some in (held, scenes))
    shown = [held[0], *((part * by)[:, None].expand(-1, 3, -1, -1) for part, by in ((held[1], 42), (held[2], 1)))]
    run.sheet(torch.cat(shown, 3)[:64], arguments.out / "scenes.png", 2 if tiny else 4)
    net = Cutout()
    net.trunk.load_published(arguments.general)
    net = net.to(**run.layout(arguments))

    def save(net):
        run.save(net, arguments.out / "cutout.pt")

    steps, left = (2, 60) if tiny else (12000, run.remaining(arguments) - 12)
    train(net, scenes, steps, left, 2 if tiny else 64, arguments.rate, arguments.truth, save)
    net.eval()
    save(net)
    run.note(held_out(net, *held))


if __name__ == "__main__":
    main()
