"""Invented decorations: a colour and height texture over angle and place along the profile.

Rows run along the profile from the foot (0) to the rim (1) and on the inside
from the axis to the rim; columns run once around.
"""
import math

import torch
import torch.nn.functional as F

from motifs import motif_tiles
from ops import blur, chance, choose, column, fbm, smoothstep, uniform

ROWS, COLUMNS = 256, 512
LOOK = 2 * 6 * 9 * 9  # flat or in relief; lightness, a*, b*

# Colours of glazes and of painting, 8-bit sRGB, with how often; the common ones of table ware
# and stoneware (common practice, no source).
GLAZES = [
    (245, 243, 238, 10), (238, 232, 215, 8), (250, 250, 250, 6), (228, 226, 220, 5), (225, 235, 235, 4),
    (170, 190, 165, 4), (150, 175, 150, 3), (120, 75, 45, 4), (75, 45, 30, 4), (30, 28, 30, 4), (40, 70, 130, 3),
    (35, 50, 42, 2), (60, 130, 140, 2), (180, 150, 100, 2), (150, 60, 40, 2), (205, 180, 80, 2), (110, 130, 70, 2),
    (200, 150, 150, 2), (190, 195, 205, 2), (90, 110, 120, 2), (220, 200, 170, 3),
]
PAINTS = [
    (35, 60, 140, 12), (25, 45, 110, 8), (60, 90, 160, 5), (40, 40, 45, 6), (160, 50, 40, 6), (190, 80, 60, 4),
    (50, 110, 70, 4), (90, 130, 60, 3), (220, 180, 60, 3), (200, 150, 50, 4), (110, 60, 40, 4), (130, 60, 110, 3),
    (220, 130, 150, 3), (240, 240, 235, 3), (70, 140, 150, 3), (100, 100, 105, 2),
]
# Main pattern and where motif tiles stand.
NOTHING, STRIPES, DOTS, LATTICE, SCALES, MOTIFS, SPLASH, SPECKS = range(8)
PATTERN_SHARES = [0.14, 0.07, 0.08, 0.08, 0.05, 0.48, 0.06, 0.04]
ALL_OVER, FRIEZE, MEDALLION, SPRIGS = range(4)
LAYOUT_SHARES = [0.2, 0.3, 0.3, 0.2]


def some_colour(table, count):
    rows = torch.tensor(table, dtype=torch.float32)
    colour = rows[choose(rows[:, 3], count), :3] / 255 + torch.randn(count, 3) * 0.035
    return (colour * uniform(0.88, 1.08, count, 1)).clamp(0.02, 0.99)


def any_hue(count):
    """Glazes of any hue, from pale to deep."""
    hue, chroma, level = uniform(0, 6.28, count, 1), uniform(0.1, 0.75, count, 1), uniform(0.15, 0.8, count, 1)
    waves = torch.cat([hue.cos(), (hue + 2.1).cos(), (hue + 4.2).cos()], 1)
    return (level * (1 + chroma * waves)).clamp(0.02, 0.98)


def luma(colour):
    return (colour * torch.tensor([0.3, 0.59, 0.11])).sum(-1)


def lay_out(tiles, layout, u, v, draw):
    """Motif tiles set all over, in a frieze, as medallions or as sprigs; where the frieze is; one medallion's window.

    `draw(low, high)` gives numbers, one a decoration. The window [n, 4] is its centre in `u` and `v` and its half
    extents: what flat ware shows in the well.
    """
    rows = draw(1, 5).floor()
    columns = (rows * 2 * draw(0.8, 1.25)).round().clamp(min=2)
    tv = v * rows
    tu = u * columns + 0.5 * (draw(0, 1) < 0.5) * (tv.floor() % 2)
    all_over = torch.stack([(tu % 1) * 2 - 1, (tv % 1) * 2 - 1], -1)
    start, tall = draw(0.02, 0.75), draw(0.1, 0.38)
    repeats = (2 / tall * draw(0.7, 1.1)).round().clamp(min=2)
    # Side by side, or every so often with ground between.
    apart = torch.where(draw(0, 1) < 0.5, 1.0, draw(1.0, 4.0))
    repeats = (repeats / apart).round().clamp(min=2)
    in_frieze = ((v > start) & (v < start + tall)).float()
    fy = ((v - start) / tall) * 2 - 1 + 0 * u
    frieze = torch.stack([(((u * repeats) % 1) * 2 - 1) * apart + 0 * v, torch.where(in_frieze + 0 * u > 0, fy, torch.full_like(fy, 3.0))], -1)
    # One medallion is a single transfer on one side.
    base, high = draw(0.05, 0.4), draw(0.25, 0.75)
    times = draw(1, 6).floor()
    du = ((u * times) % 1 - 0.5) / times
    half_width = high / 4 * draw(0.8, 1.2)
    medallion = torch.stack([du / half_width + 0 * v, ((v - base) / high) * 2 - 1 + 0 * du], -1)
    window = torch.stack([0.5 / times, base + high / 2, half_width, high / 2], -1)[:, 0, 0]
    sprigs = torch.full((len(tiles), ROWS, COLUMNS, 2), 3.0)
    size, turned = draw(0.1, 0.3), draw(0, 1) < 0.5
    for _ in range(9):
        cu, cv, lean = draw(0, 1), draw(0.1, 0.9), draw(0, 6.28) * turned
        du, dv = ((u - cu + 0.5) % 1 - 0.5) * 2, v - cv
        gx = (du * torch.cos(lean) + dv * torch.sin(lean)) / size * 2
        gy = (-du * torch.sin(lean) + dv * torch.cos(lean)) / size * 2
        here = ((gx.abs() < 1) & (gy.abs() < 1))[..., None]
        sprigs = torch.where(here, torch.stack([gx, gy], -1), sprigs)
    which = layout[:, None, None, None]
    places = torch.where(which == ALL_OVER, all_over, torch.where(which == FRIEZE, frieze, torch.where(which == MEDALLION, medallion, sprigs)))
    return F.grid_sample(tiles, places, align_corners=False, padding_mode="zeros"), in_frieze, window


def border(u, v, draw):
    """A narrow border of one simple form, at any height: zigzags, teeth, waves, scallops, dashes or discs."""
    place, tall, repeats = draw(0.02, 0.95), draw(0.025, 0.13), draw(6, 70).round()
    p, q, thick = (u * repeats) % 1, (v - place) / tall, draw(0.08, 0.2)
    peak, wave, arch = 1 - (2 * p - 1).abs(), 0.5 + 0.5 * torch.sin(6.2832 * p), torch.sin(math.pi * p)
    within, soft = smoothstep(-0.06, 0.06, q) * smoothstep(1.06, 0.94, q), 0.12
    forms = [smoothstep(soft, -soft, (q - line).abs() - thick) for line in (peak, wave, arch)]
    forms += [smoothstep(soft, -soft, q - peak) * within, smoothstep(soft, -soft, q - arch) * within]
    forms.append(smoothstep(soft, -soft, (p - 0.5).abs() - 1.5 * thick) * within)
    forms.append(smoothstep(soft, -soft, ((p - 0.5) ** 2 * draw(0.5, 2) + (q - 0.5) ** 2).sqrt() - 2 * thick))
    which, result = draw(0, len(forms)).floor(), torch.zeros_like(forms[0])
    for k, form in enumerate(forms):
        result = torch.where(which == k, form, result)
    return result


def geometric(pattern, u, v, coarse, fine):
    """Stripes, dots, lattices and scales by formula, within a zone of the height; and splashes."""
    n = len(pattern)
    wobble = fine * uniform(0, 0.03, n, 1, 1)
    across = torch.randint(6, 60, (n, 1, 1)).float()
    up = (across / 2 * uniform(0.6, 1.6, n, 1, 1)).round().clamp(min=2)
    duty = uniform(0.15, 0.6, n, 1, 1)
    low = uniform(-0.3, 0.6, n, 1, 1)
    zone = smoothstep(-0.008, 0.008, v - low) * smoothstep(0.008, -0.008, v - low - uniform(0.25, 1.3, n, 1, 1))
    zone = torch.where(chance(0.35, n, 1, 1) > 0, torch.ones_like(zone), zone)
    lean = uniform(-3, 3, n, 1, 1).round() * chance(0.4, n, 1, 1)
    stripes = smoothstep(0.03, -0.03, ((u * across + v * lean + wobble * 4) % 1 - 0.5).abs() - duty / 2)
    dy = (v + wobble) * up
    fx, fy = (u * across + 0.5 * (dy.floor() % 2)) % 1 - 0.5, dy % 1 - 0.5
    dots = smoothstep(0.05, -0.05, (fx**2 + fy**2).sqrt() - duty * 0.6)
    lattice = torch.maximum(
        smoothstep(0.04, -0.04, ((u * across + dy) % 1 - 0.5).abs() - duty * 0.2),
        smoothstep(0.04, -0.04, ((u * across - dy) % 1 - 0.5).abs() - duty * 0.2),
    )
    checks = ((u * across).floor() + dy.floor()) % 2
    lattice = torch.where(chance(0.35, n, 1, 1) > 0, checks, lattice)
    arc = (fx**2 + (fy + 0.5) ** 2).sqrt()
    scales = smoothstep(0.05, -0.05, (arc - 0.5).abs() - duty * 0.15)
    scales = (scales + smoothstep(0.05, -0.05, (arc - 0.25).abs() - 0.04) * chance(0.5, n, 1, 1)).clamp(0, 1)
    splash = smoothstep(0.0, 0.25, coarse - uniform(0.2, 1.0, n, 1, 1))
    specks = smoothstep(0, 0.15, fine - uniform(0.4, 1.2, n, 1, 1))
    made = {STRIPES: stripes * zone, DOTS: dots * zone, LATTICE: lattice * zone, SCALES: scales * zone, SPLASH: splash, SPECKS: specks}
    result = torch.zeros(n, ROWS, COLUMNS)
    for kind, layer in made.items():
        result = torch.where(column(pattern) == kind, layer, result)
    return result, specks, wobble


def crackle(n, u, v):
    """Darkness of a net of fine cracks: the edges of a jittered cell diagram."""
    cells = torch.randint(14, 40, (n, 1, 1)).float()
    jitter = torch.rand(2, n, 64, 64)
    x, y = u * cells, v * (cells / 2).round()
    column_of, row_of = x.floor(), y.floor()
    nearest = torch.full((n, ROWS, COLUMNS), 9.0)
    second, which = nearest.clone(), torch.arange(n)[:, None, None]
    for dx in (-1, 0, 1):
        for dy in (-1, 0, 1):
            cx, cy = ((column_of + dx) % cells).long(), (row_of + dy).clamp(0, 63).long()
            jx, jy = jitter[0][which, cy, cx], jitter[1][which, cy, cx]
            d = ((column_of + dx + jx - x) ** 2 + (row_of + dy + jy - y) ** 2).sqrt()
            second = torch.minimum(second, torch.maximum(nearest, d))
            nearest = torch.minimum(nearest, d)
    return smoothstep(0.07, 0.01, second - nearest) * uniform(0.25, 0.7, n, 1, 1)


def of_first(values, family, kin):
    """Values of which those where `kin` is 1 are that of the first of their family."""
    first = torch.arange(len(values)) // family * family
    return torch.where(kin.view(len(values), *[1] * (values.ndim - 1)) > 0, values[first], values)


def shared(values, family, p):
    """Values of which each may be, with probability `p`, that of the first of its family."""
    return of_first(values, family, chance(p, len(values)))


def to_lab(rgb):
    """sRGB 0 to 1 along dimension 1 to CIE L*a*b* (D65; IEC 61966-2-1, CIE 15)."""
    linear = torch.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    to_xyz = torch.tensor([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    xyz = torch.einsum("ij,nj...->ni...", to_xyz / to_xyz.sum(1, keepdim=True), linear)
    f = torch.where(xyz > 216 / 24389, xyz.clamp(min=1e-6) ** (1 / 3), (24389 / 27 * xyz + 16) / 116)
    return torch.stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], 1)


def looks(texture):
    """What a decoration looks like as a whole: unit vectors [n, LOOK], roots of the shares of each colour, flat and in relief.

    The product of two is their likeness (Bhattacharyya's), 0 to 1.
    """
    small = F.avg_pool2d(texture.float(), 4).flatten(2)
    lab = to_lab(small[:, :3])

    def shares(values, first, step, count):
        return (1 - (values[..., None] - first - step * torch.arange(count)).abs() / step).clamp(min=0)

    light = shares(lab[:, 0].clamp(0, 100), 0, 20, 6)
    red, yellow = (shares(part.clamp(-48, 48), -48, 12, 9) for part in (lab[:, 1], lab[:, 2]))
    coloured = (light[..., None] * red[:, :, None]).flatten(2).transpose(1, 2) @ yellow / small.shape[2]
    raised = (small[:, 3].abs() > 0.05).float().mean(1)
    raised = (raised * 5).clamp(max=1)[:, None]  # a fifth of the surface is as good as all
    flat_and_raised = torch.cat([coloured.flatten(1) * (1 - raised), coloured.flatten(1) * raised], 1)
    return F.normalize(flat_and_raised.sqrt(), dim=1)


def make_decors(n, family=1):
    """`n` decorations as a dict of tensors; `texture` [n, 4, ROWS, COLUMNS] is sRGB 0 to 1 and height.

    In families of `family`, most have one ground, many the same inks, half the same lay-out and half of these the same
    lines: then the drawing alone tells them apart, or the lines alone.
    """
    v, u = torch.meshgrid((torch.arange(ROWS) + 0.5) / ROWS, (torch.arange(COLUMNS) + 0.5) / COLUMNS, indexing="ij")
    v, u = v[None], u[None]
    base = shared(torch.where(chance(0.15, n, 1) > 0, any_hue(n), some_colour(GLAZES, n)), family, 0.85)
    other = torch.where(chance(0.5, n, 1) > 0, some_colour(GLAZES, n), base * uniform(0.6, 1.2, n, 1)).clamp(0, 1)
    ink = shared(some_colour(PAINTS, n), family, 0.4)
    ink2 = torch.where(chance(0.5, n, 1) > 0, some_colour(PAINTS, n), ink * uniform(0.7, 1.5, n, 1)).clamp(0, 1)
    contrast = torch.where(luma(base)[:, None] < 0.5, torch.tensor([[0.93, 0.9, 0.85]]), torch.tensor([[0.15, 0.18, 0.4]]))
    for colour in (ink, ink2):  # an ink that would not show becomes light or dark
        unseen = (luma(colour) - luma(base)).abs() < uniform(0.04, 0.2, n)
        colour[unseen] = contrast[unseen]
    texture = base[:, :, None, None].expand(n, 3, ROWS, COLUMNS).clone()

    def over(cover, colour):
        nonlocal texture
        texture = texture * (1 - cover[:, None]) + colour[:, :, None, None] * cover[:, None]

    coarse, fine = fbm(n, ROWS, COLUMNS, 4, 5), fbm(n, ROWS, COLUMNS, 12, 4)
    plain = chance(0.14, n)
    mottled = chance(0.2, n)
    over(column(mottled) * smoothstep(-0.6, 0.6, coarse + uniform(-1, 1, n, 1, 1)) * uniform(0.3, 1, n, 1, 1), other)
    # Runs of glaze: streaks from the rim down.
    runs = F.interpolate(torch.randn(n, 1, 3, 128), (ROWS, COLUMNS), mode="bilinear", align_corners=False)[:, 0]
    streaked = chance(0.08, n)
    over(column(streaked) * smoothstep(-0.2, 1.2, runs + fine * 0.3) * uniform(0.3, 0.9, n, 1, 1), other)
    slipped, line = chance(0.16, n), uniform(0.2, 0.85, n, 1, 1)
    wave = uniform(0, 0.12, n, 1, 1)
    boundary = v - line + wave * coarse[:, :1].mean(1, keepdim=True) * 2 + wave * coarse * 0.5
    over(column(slipped) * torch.sigmoid(boundary * 150 * (chance(0.5, n, 1, 1) * 2 - 1)), other)
    over(column(chance(0.12, n)) * v ** uniform(0.5, 3, n, 1, 1) * uniform(0.3, 0.9, n, 1, 1), other)

    kin = chance(0.5, n)
    pattern, layout = of_first(choose(PATTERN_SHARES, n), family, kin), of_first(choose(LAYOUT_SHARES, n), family, kin)
    # What is nothing but lines has lines of its own.
    same_lines = kin * chance(0.5, n) * (pattern != NOTHING)

    def draw(low, high):
        return column(of_first(uniform(low, high, n), family, kin))

    def draw_lines(low, high):
        return column(of_first(uniform(low, high, n), family, same_lines))

    first, specks, wobble = geometric(pattern, u, v, coarse, fine)
    motifs, in_frieze, window = lay_out(motif_tiles(n), layout, u, v, draw)
    of_motifs, splashed = column(pattern == MOTIFS), column(pattern == SPLASH)
    first = torch.where(of_motifs, motifs[:, 0], first)
    second = torch.where(of_motifs, motifs[:, 1], torch.where(splashed, specks * 0.7, torch.zeros_like(first)))
    drawn = column(1 - plain)
    # Now and then the motifs stand in reserve on a coloured ground.
    ground = chance(0.1, n) * (pattern == MOTIFS).float()
    over(column(ground) * drawn * torch.where(column(layout == FRIEZE), in_frieze + 0 * first, torch.ones_like(first)), ink2)
    ink2 = torch.where(ground[:, None] > 0, base, ink2)
    # Relief or carving: the same pattern as height; often without ink, the glaze pooling in it.
    relief = chance(0.22, n) * (1 - plain)
    bare = relief * chance(0.75, n)
    height = (first + 0.6 * second).clamp(0, 1) * column(relief) * (chance(0.5, n, 1, 1) * 2 - 1)
    strength = drawn * uniform(0.75, 1.0, n, 1, 1) * column(1 - bare)
    over(second * strength, ink2)
    over(first * strength, ink)
    over(height.abs() * column(bare) * uniform(0, 0.35, n, 1, 1), base * uniform(0.6, 0.9, n, 1))
    for j in range(2):
        colour = torch.where(draw_lines(0, 1)[:, 0] < 0.6, ink, ink2)
        over((draw_lines(0, 1) < (0.1 if j else 0.25)) * drawn * border(u, v, draw_lines), colour)
    for j in range(5):
        shown, colour = draw_lines(0, 1) < (0.36 if j else 0.5), torch.where(draw_lines(0, 1)[:, 0] < 0.6, ink, ink2)
        place = draw_lines(0.03, 0.97)
        width = torch.where(draw_lines(0, 1) < 0.7, draw_lines(0.004, 0.018), draw_lines(0.02, 0.09))
        over(shown * drawn * smoothstep(0.004, -0.004, (v + wobble * 0.3 - place).abs() - width), colour)
    cracked = torch.where(chance(0.1, n) > 0)[0]
    if len(cracked):
        cracks = torch.zeros(n, ROWS, COLUMNS)
        cracks[cracked] = crackle(len(cracked), u, v)
        over(cracks, base * 0.35)
    grains = F.interpolate(torch.randn(n, 1, ROWS // 2, COLUMNS // 2), scale_factor=2, mode="bilinear", align_corners=False)[:, 0]
    over(column(chance(0.14, n)) * smoothstep(1.3, 1.8, grains) * 0.8, torch.where(chance(0.7, n, 1) > 0, base * 0.35, ink))
    gilt = torch.tensor([[0.55, 0.4, 0.15]]).expand(n, 3)
    over(column(chance(0.25, n)) * smoothstep(0.965, 0.975, v + 0 * u), torch.where(chance(0.5, n, 1) > 0, ink, gilt))
    texture = torch.cat([texture.clamp(0, 1), blur(height[:, None], 1.6)], 1)
    return dict(
        texture=texture.half() if texture.is_cuda else texture,
        base=base,
        look=looks(texture),
        plain=plain * (1 - slipped) * (1 - mottled) * (1 - streaked),
        in_well=(pattern == MOTIFS).float() * (layout == MEDALLION) * chance(0.75, n),
        window=window,
        pattern_inside=chance(0.3, n),
        inside=torch.where(chance(0.65, n, 1) > 0, base, some_colour(GLAZES, n)),
        gloss=torch.where(chance(0.75, n) > 0, uniform(0.6, 1.0, n), uniform(0.0, 0.35, n)),
        lustre=chance(0.04, n),
    )
