"""What every module of the training uses: random numbers, smooth steps, noise, blur.

Everything runs on torch's default device; the programs set it once with
`torch.set_default_device`.
"""
import math

import torch
import torch.nn.functional as F


def uniform(low, high, *shape):
    return torch.rand(*shape) * (high - low) + low


def chance(p, *shape):
    """1.0 with probability `p`, else 0.0."""
    return (torch.rand(*shape) < p).float()


def choose(weights, count):
    """`count` indices drawn by `weights`."""
    return torch.multinomial(torch.as_tensor(weights, dtype=torch.float32), count, replacement=True)


def smoothstep(start, end, x):
    t = ((x - start) / (end - start)).clamp(0, 1)
    return t * t * (3 - 2 * t)


def grid(height, width):
    """Pixel centres, -1 to 1, as (y, x)."""
    y = (torch.arange(height) + 0.5) / height * 2 - 1
    x = (torch.arange(width) + 0.5) / width * 2 - 1
    return torch.meshgrid(y, x, indexing="ij")


def fbm(count, height, width, cells, octaves=4, gain=0.55):
    """Fractal noise [count, height, width] of about unit spread, periodic along the width."""
    total, power, amplitude = 0.0, 0.0, 1.0
    for octave in range(octaves):
        rows, columns = max(2, cells * 2**octave // 2), cells * 2**octave
        if columns > width:
            break
        knots = torch.randn(count, 1, rows + 2, columns)
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
    t = torch.arange(-reach, reach + 1).float()
    kernel = torch.exp(-t * t / (2 * sigma * sigma))
    kernel = kernel / kernel.sum()
    channels = x.shape[1]
    x = F.pad(x, (reach, reach, reach, reach), mode="replicate")
    x = F.conv2d(x, kernel[None, None, None].expand(channels, 1, 1, -1), groups=channels)
    return F.conv2d(x, kernel[None, None, :, None].expand(channels, 1, -1, 1), groups=channels)


def column(v):
    """[n] as [n, 1, 1], to go with pictures [n, h, w]."""
    return v[:, None, None]


def unit(v):
    return v / (v.norm(dim=-1, keepdim=True) + 1e-6)
