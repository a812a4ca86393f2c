"""Photos of none to twelve vessels among other things, with the instance of every pixel."""
import math
import pathlib
import time

import numpy as np
import torch
import torch.nn.functional as F
from PIL import Image

from decors import make_decors
from ops import blur, chance, choose, column, fbm, grid, smoothstep, uniform, unit
from photo import develop, muted, plain_backgrounds
from render import render
from shapes import make_shapes

MOST = 12
PIECE = 256  # side of a rendered piece, pixels
PEAK = 2.0  # width of the peak at a centre, in pixels of a quarter of the side
HOW_MANY = [0.16, 0.40, 0.10, 0.08, 0.06, 0.05, 0.04, 0.03, 0.02, 0.02, 0.02, 0.01, 0.01]

# Photos bundled with scikit-image 0.26 that show no ceramics, for backgrounds: each is CC0 or in the public
# domain by the docstring of its function in `skimage.data`.
PHOTOS = ["astronaut", "brick", "camera", "cell", "chelsea", "clock_motion", "grass", "gravel", "hubble_deep_field", "retina", "rocket", "text"]


def load_photos(folder):
    """Background photos [n, 3, 512, 512] out of `folder`; those that the folder has not are left out."""
    found = []
    for name in PHOTOS:
        for file in sorted(pathlib.Path(folder).glob(name + ".*")):
            picture = Image.open(file).convert("RGB").resize((512, 512), Image.Resampling.BILINEAR)
            found.append(torch.from_numpy(np.array(picture)).permute(2, 0, 1))
    if not found:
        raise FileNotFoundError(f"{folder}: no background photos (expected {', '.join(PHOTOS[:3])}, ... as .png or .jpg)")
    return torch.stack(found).to(torch.get_default_device()).float() / 255


@torch.no_grad()
def make_pieces(count, chunk, seconds):
    """Rendered pieces [n, 4, PIECE, PIECE] (sRGB on black, coverage; 8 bit) and textures for cloth; fewer than
    `count` if time is up.
    """
    pieces, textures, done, begun = torch.empty(count, 4, PIECE, PIECE, dtype=torch.uint8), [], 0, time.time()
    while done < count and (not done or time.time() - begun < seconds):
        n = min(chunk, count - done)
        shapes, decors = make_shapes(n), make_decors((n + 1) // 2)
        which = torch.arange(n)
        rgb, cover = render(shapes, decors, which, which // 2, PIECE)
        pieces[done : done + n] = (torch.cat([rgb, cover[:, None]], 1).clamp(0, 1) * 255).byte()
        done += n
        if len(textures) < 24:
            textures.append(decors["texture"][:, :3])
    return pieces[:done], torch.cat(textures)


def warp(source, n, side, nearest, farthest, tilted=True):
    """Random cuttings of `source` as seen on a table: turned, scaled, in perspective."""
    gy, gx = grid(side, side)
    turn, zoom = uniform(-3.14, 3.14, n, 1, 1), torch.exp(uniform(math.log(nearest), math.log(farthest), n, 1, 1))
    w = 1 + (uniform(-0.5, 0.5, n, 1, 1) * gy if tilted else 0)
    x = (gx * turn.cos() - gy * turn.sin()) * zoom / w + uniform(-1, 1, n, 1, 1)
    y = (gx * turn.sin() + gy * turn.cos()) * zoom / w + uniform(-1, 1, n, 1, 1)
    picked = source[torch.randint(len(source), (n,))].float().clamp(0, 1)
    return F.grid_sample(picked, torch.stack([x, y], -1), padding_mode="reflection", align_corners=False)


def wood(n, side):
    gy, gx = grid(side, side)
    grain = fbm(n, side, side, 2, 3, gain=0.5) * uniform(1, 4, n, 1, 1)
    rings = 0.5 + 0.5 * torch.sin((gx * uniform(2, 12, n, 1, 1) + grain) * uniform(1, 6, n, 1, 1))
    tone = muted(n) * torch.tensor([1.0, 0.8, 0.6])[None, :, None, None]
    return (tone * (0.75 + 0.35 * rings[:, None])).clamp(0, 1)


def folded_cloth(n, side):
    """Plain cloth with soft folds: one colour, lit by the slope of low noise."""
    height = fbm(n, side, side, 3, 4, gain=0.45) * uniform(0.5, 2.5, n, 1, 1)
    slope_y = F.pad(height[:, 1:] - height[:, :-1], (0, 0, 0, 1)) * side / 8
    slope_x = F.pad(height[:, :, 1:] - height[:, :, :-1], (0, 1)) * side / 8
    turn = uniform(0, 6.28, n, 1, 1)
    light = 1 + 0.35 * torch.tanh(slope_x * turn.cos() + slope_y * turn.sin())
    hue = torch.rand(n, 3, 1, 1) * uniform(0.3, 1, n, 1, 1, 1)
    return (torch.where(chance(0.5, n, 1, 1, 1) > 0, hue, muted(n)) * light[:, None]).clamp(0, 1)


def studio_sweep(n, side):
    """White, grey, black or coloured paper with a falling off of light."""
    gy, gx = grid(side, side)
    tone = torch.where(chance(0.5, n, 1, 1, 1) > 0, uniform(0.75, 1.0, n, 1, 1, 1), uniform(0, 0.15, n, 1, 1, 1)).expand(n, 3, 1, 1)
    tone = torch.where(chance(0.4, n, 1, 1, 1) > 0, muted(n), tone)
    away = (gx - uniform(-0.5, 0.5, n, 1, 1)) ** 2 + (gy - uniform(-0.5, 0.5, n, 1, 1)) ** 2
    return (tone * (1 - uniform(-0.1, 0.4, n, 1, 1, 1) * away[:, None] / 2) + uniform(0, 0.06, n, 1, 1, 1) * fbm(n, side, side, 6, 5)[:, None]).clamp(0, 1)


def stranger(n, side, colours, size):
    """A thing that is no vessel: a blob, box or rod, rounded and lit. Its picture and coverage."""
    gy, gx = grid(side, side)
    cx, cy, turn = uniform(-1, 1, n, 1, 1), uniform(-1, 1, n, 1, 1), uniform(0, 6.28, n, 1, 1)
    x, y = (gx - cx) * turn.cos() + (gy - cy) * turn.sin(), -(gx - cx) * turn.sin() + (gy - cy) * turn.cos()
    radius, angle = (x * x + y * y + 1e-8).sqrt(), torch.atan2(y, x)
    reach = size * uniform(0.3, 1.0, n, 1, 1)
    waves = torch.randint(2, 7, (n, 1, 1)).float()
    blob = radius - reach * (1 + uniform(0, 0.45, n, 1, 1) * torch.cos(waves * angle)) * 0.7
    box = torch.maximum(x.abs() - reach, y.abs() - reach * uniform(0.15, 1.0, n, 1, 1))
    rod = (torch.stack([(x.abs() - reach).clamp(min=0), y]) ** 2).sum(0).sqrt() - reach * uniform(0.05, 0.2, n, 1, 1)
    kind = choose([0.4, 0.35, 0.25], n)[:, None, None]
    d = torch.where(kind == 0, blob, torch.where(kind == 1, box, rod))
    cover = smoothstep(0.012, -0.012, d)
    # Rounded: height grows from the edge inwards; lit from one side.
    depth = (-d / (reach * uniform(0.1, 0.9, n, 1, 1))).clamp(0, 1)
    height = (1 - (1 - depth) ** 2).clamp(min=1e-4).sqrt() * reach
    dy = F.pad(height[:, 1:] - height[:, :-1], (0, 0, 0, 1)) * side / 2
    dx = F.pad(height[:, :, 1:] - height[:, :, :-1], (0, 1)) * side / 2
    normal = unit(torch.stack([-dx, -dy, torch.ones_like(dx)], -1))
    light = unit(torch.stack([uniform(-1, 1, n), uniform(-1, 0.2, n), uniform(0.3, 1, n)], -1))
    lit = (normal * light[:, None, None]).sum(-1).clamp(min=0)
    shine = lit ** uniform(8, 60, n, 1, 1) * chance(0.5, n, 1, 1) * uniform(0, 0.8, n, 1, 1)
    flat = chance(0.25, n, 1, 1)  # paper, cards
    shading = (0.35 + 0.75 * lit) * (1 - flat) + flat
    return (colours * shading[:, None] + (shine * (1 - flat))[:, None]).clamp(0, 1), cover[:, None]


def backgrounds(n, side, textures, photos):
    """Cloth, wood, paper, photos and noise, often a table before a wall, with things on it."""
    gy, gx = grid(side, side)
    cloth, photo = warp(textures, n, side, 0.4, 3.0), warp(photos, n, side, 0.2, 1.0)
    planks, folds = wood(n, side), folded_cloth(n, side)
    kind = choose([0.12, 0.14, 0.20, 0.12, 0.24, 0.18], n)[:, None, None, None]
    ground = plain_backgrounds(n, side)
    for index, layer in enumerate((cloth, photo, planks, studio_sweep(n, side), folds), 1):
        ground = torch.where(kind == index, layer, ground)
    table = chance(0.3, n, 1, 1, 1) * smoothstep(-0.01, 0.01, gy - uniform(-0.4, 0.6, n, 1, 1) - gx * uniform(-0.15, 0.15, n, 1, 1))[:, None]
    which = torch.rand(n, 1, 1, 1)
    ground = ground * (1 - table) + torch.where(which < 0.4, planks, torch.where(which < 0.7, folds, cloth)) * table
    for j in range(5):
        colours = torch.where(chance(0.55, n, 1, 1, 1) > 0, muted(n), photo if j % 2 else cloth)
        picture, cover = stranger(n, side, colours, 0.45)
        cover = cover * chance(0.25, n, 1, 1, 1)
        shadow = blur(torch.roll(cover, (side // 60, side // 80), (2, 3)), 2.5)
        ground = ground * (1 - shadow * uniform(0, 0.5, n, 1, 1, 1))
        ground = ground * (1 - cover) + picture * cover
    u = torch.rand(n, 1, 1, 1)
    return torch.where(u < 0.55, ground, torch.where(u < 0.8, blur(ground, 1.5), blur(ground, 4.0))).clamp(0, 1)


def cast_shadow(cover_of, x, y, side):
    """The piece's coverage sheared and squashed about its foot, blurred little or much."""
    n = len(x)
    flat, lean, foot = uniform(0.2, 0.7, n, 1, 1), uniform(-0.8, 0.8, n, 1, 1), uniform(0.5, 0.8, n, 1, 1)
    shadow = F.grid_sample(cover_of, torch.stack([x - lean * (y - foot), foot - (foot - y) / flat], -1), align_corners=False)
    wide = F.interpolate(blur(F.avg_pool2d(shadow, 4), 3.0), size=(side, side), mode="bilinear", align_corners=False)
    return torch.where(chance(0.5, n, 1, 1, 1) > 0, blur(shadow, 3.0), wide)


def layout(many, side_by_side=0.35):
    """Where the pieces of each photo stand, [n, MOST] each: centres (x, y, -1 to 1) and half sizes. One alone stands anywhere;
    several in a row, or in rows as in a box lot, the nearer ones later and before the others.
    """
    n = len(many)
    index, k = torch.arange(MOST)[None].float(), many.clamp(min=1)[:, None].float()
    columns = (k * uniform(0.7, 2.6, n, 1)).sqrt().round().clamp(min=1)
    columns = torch.where((chance(side_by_side, n, 1) > 0) & (k <= 5), k, torch.minimum(columns, k))
    rows = (k / columns).ceil()
    row, place = (index / columns).floor(), index % columns
    # The last row may be shorter: it stands in the middle.
    short = torch.where(row == rows - 1, columns * rows - k, 0)
    near = 1 - chance(0.5, n, 1) * uniform(0, 0.45, n, 1)  # some are pushed together
    cx = (-1 + 2 * (place + 0.5 + short / 2 + uniform(-0.22, 0.22, n, MOST)) / columns) * near + uniform(-1, 1, n, 1) * (1 - near) * 0.8
    cy = ((-1 + 2 * (row + 0.5) / rows) * uniform(0.55, 0.95, n, 1) + uniform(-0.3, 0.3, n, MOST) / rows) * near
    size = torch.minimum(1 / columns, 1.25 / rows) * uniform(0.65, 1.2, n, 1) * uniform(0.75, 1.2, n, MOST)
    # A cup on its saucer, a lid on a plate: one on the one before.
    upon = chance(0.12, n, MOST) * (index > 0)
    under = [torch.roll(part, 1, 1) for part in (cx, cy, size)]
    cx = torch.where(upon > 0, under[0] + uniform(-0.1, 0.1, n, MOST) * under[2], cx)
    cy = torch.where(upon > 0, under[1] - uniform(0.1, 0.6, n, MOST) * under[2], cy)
    size = torch.where(upon > 0, under[2] * uniform(0.4, 0.75, n, MOST), size)
    alone = k <= 1
    largest = uniform(0.35, 0.98, n, 1)
    size = torch.where(alone, largest, size.clamp(0.1, 0.75))
    anywhere = [uniform(-1, 1, n, MOST) * (1.1 - largest) for _ in range(2)]
    return torch.where(alone, anywhere[0], cx), torch.where(alone, anywhere[1], cy), size


@torch.no_grad()
def make_scenes(n, side, pieces, textures, photos):
    """Photos [n, 3, side, side], 0 to 1; instances [n, side, side]: 0 nothing, 1 to MOST a piece; how far ware covers each pixel."""
    picture = backgrounds(n, side, textures, photos)
    instance, covered = torch.zeros(n, side, side), torch.zeros(n, side, side)
    gy, gx = grid(side, side)
    many = choose(HOW_MANY, n)
    places = layout(many)
    for j in range(int(many.max())):
        shown = (many > j).nonzero()[:, 0]
        k = len(shown)
        cx, cy, size = (part[shown, j] for part in places)
        lean, mirror = torch.randn(k) * 0.06, torch.where(chance(0.5, k) > 0, 1.0, -1.0)
        lean = torch.where(chance(0.08, k) > 0, uniform(-3.14, 3.14, k), lean)  # lying, or upside down
        dx, dy = gx - column(cx), gy - column(cy)
        x = (dx * column(lean.cos()) + dy * column(lean.sin())) / column(size) * column(mirror)
        y = (-dx * column(lean.sin()) + dy * column(lean.cos())) / column(size)
        piece = pieces[torch.randint(len(pieces), (k,))].float() / 255
        seen = F.grid_sample(piece, torch.stack([x, y], -1), align_corners=False)
        cover, colour = seen[:, 3:], seen[:, :3] / seen[:, 3:].clamp(min=1e-2)
        # Marks, price stickers and printed pictures belong to the piece.
        for picture_of_it in (muted(k) * torch.where(chance(0.5, k, 1, 1, 1) > 0, 1.0, 0.15), warp(photos, k, side, 0.2, 2.0)):
            mark = (x - column(uniform(-0.6, 0.6, k))).abs() / column(uniform(0.03, 0.3, k))
            mark = torch.maximum(mark, (y - column(uniform(-0.6, 0.6, k))).abs() / column(uniform(0.03, 0.3, k)))
            mark = (smoothstep(1.05, 0.95, mark) * chance(0.2, k, 1, 1))[:, None]
            colour = colour * (1 - mark) + picture_of_it * mark
        shadow = cast_shadow(piece[:, 3:], x, y, side)
        foot = shadow * smoothstep(0.2, 0.8, y)[:, None] * chance(0.3, k, 1, 1, 1)  # a foot in shadow
        before = picture[shown]
        before = before * (1 - shadow * uniform(0, 0.7, k, 1, 1, 1) * chance(0.75, k, 1, 1, 1))
        colour = colour * (1 - foot * uniform(0, 0.6, k, 1, 1, 1))
        picture[shown] = before * (1 - cover) + colour.clamp(0, 1) * cover
        instance[shown] = torch.where(cover[:, 0] > 0.5, j + 1.0, instance[shown])
        covered[shown] = 1 - (1 - covered[shown]) * (1 - cover[:, 0])
    # The shadow of something outside the picture falls on everything: shaded ware is ware. Nothing stands before a piece:
    # with cards and fingers there, the network learned to cut printed motifs out.
    _, shadow = stranger(n, side, muted(n), 0.6)
    shadow = torch.where(chance(0.5, n, 1, 1, 1) > 0, blur(shadow, 2.0), blur(shadow, 7.0))
    picture = picture * (1 - shadow * uniform(0, 0.6, n, 1, 1, 1) * chance(0.3, n, 1, 1, 1))
    return develop(picture.clamp(0, 1)), instance, covered


def targets(instance):
    """At a quarter of the side: instances, centre heat map, offset to the centre (in sides), boundaries between pieces."""
    n, side, _ = instance.shape
    small = side // 4
    at = F.interpolate(instance[:, None], size=(small, small), mode="nearest")[:, 0]
    places = torch.arange(small).float()
    mine = (at[:, None] == torch.arange(1, MOST + 1)[None, :, None, None]).float()
    size = mine.sum((2, 3))
    rows, columns = mine.sum(3), mine.sum(2)
    cy, cx = ((part * places).sum(2) / size.clamp(min=1) for part in (rows, columns))
    away_y, away_x = (places[None, None] - c[..., None] for c in (cy, cx))
    peaks = torch.exp(-(away_x[:, :, None] ** 2 + away_y[..., None] ** 2) / (2 * PEAK**2))
    heat = (peaks * (size > 12).float()[..., None, None]).amax(1)
    which = (at.long() - 1).clamp(min=0).flatten(1)
    toward = [(c.gather(1, which).view_as(at) - g) / small for c, g in ((cx, places[None, None]), (cy, places[None, :, None]))]
    offset = torch.stack(toward, 1) * (at > 0)[:, None]
    around = F.pad(at[:, None], (1, 1, 1, 1), mode="replicate")
    most = F.max_pool2d(around, 3, 1)
    least = -F.max_pool2d(-torch.where(around > 0, around, torch.full_like(around, 99.0)), 3, 1)
    boundary = ((most > 0) & (least < 90) & (most != least)).float()[:, 0]
    return at, heat, offset, boundary
