"""What every module of the training uses: random numbers, smooth steps, noise, blur.

Everything runs on torch's default device; the programs set it once with
`torch.set_default_device`.
"""
import functools
import math

import torch
import torch.nn.functional as F


JOIN = True


def joined(function):
    """The function with its steps joined into few on a card, unless `JOIN` is off; as it is on a CPU."""
    fused = torch.compile(function, dynamic=False)

    @functools.wraps(function)
    def call(*arguments, **named):
        return (fused if JOIN and torch.get_default_device().type == "cuda" else function)(*arguments, **named)

    return call


def made_here(make):
    """A maker of tensors that makes them on the default device, which what `joined` compiles would forget."""
    return lambda *arguments, **named: make(*arguments, **named, device=torch.get_default_device())


arange, full, ones, rand, randn, tensor = map(
    made_here, (torch.arange, torch.full, torch.ones, torch.rand, torch.randn, torch.tensor)
)


def uniform(low, high, *shape):
    return rand(*shape) * (high - low) + low


def chance(p, *shape):
    """1.0 with probability `p`, else 0.0."""
    return (rand(*shape) < p).float()


def choose(weights, count):
    """`count` indices drawn by `weights`."""
    return torch.multinomial(torch.as_tensor(weights, dtype=torch.float32), count, replacement=True)


def smoothstep(start, end, x):
    t = ((x - start) / (end - start)).clamp(0, 1)
    return t * t * (3 - 2 * t)


def grid(height, width):
    """Pixel centres, -1 to 1, as (y, x)."""
    y = (arange(height) + 0.5) / height * 2 - 1
    x = (arange(width) + 0.5) / width * 2 - 1
    return torch.meshgrid(y, x, indexing="ij")


def fbm(count, height, width, cells, octaves=4, gain=0.55):
    """Fractal noise [count, height, width] of about unit spread, periodic along the width."""
    total, power, amplitude = 0.0, 0.0, 1.0
    for octave in range(octaves):
        rows, columns = max(2, cells * 2**octave // 2), cells * 2**octave
        if columns > width:
            break
        knots = randn(count, 1, rows + 2, columns)
        knots = torch.cat([knots[..., -2:], knots, knots[..., :2]], -1)
        step = width // columns
        layer = F.interpolate(
            knots, size=(height + 2 * height // rows, width + 4 * step), mode="bilinear", align_corners=False
        )
        layer = layer[..., :height, 2 * step : 2 * step + width]
        if layer.shape[-1] < width:
            layer = F.pad(layer, (0, width - layer.shape[-1]), mode="circular")
        total = total + amplitude * layer
        power += amplitude * amplitude
        amplitude *= gain
    return total[:, 0] / math.sqrt(power)


def blur(x, sigma):
    """Gaussian blur of [n, c, h, w], edges repeated."""
    reach = max(1, int(2.5 * sigma))
    weights = [math.exp(-t * t / (2 * sigma * sigma)) for t in range(-reach, reach + 1)]
    for along, margins in ((3, (reach, reach, 0, 0)), (2, (0, 0, reach, reach))):
        wide, size = F.pad(x, margins, mode="replicate"), x.shape[along]
        x = sum(weight / sum(weights) * wide.narrow(along, k, size) for k, weight in enumerate(weights))
    return x


def column(v):
    """[n] as [n, 1, 1], to go with pictures [n, h, w]."""
    return v[:, None, None]


def unit(v):
    return v / (v.norm(dim=-1, keepdim=True) + 1e-6)
