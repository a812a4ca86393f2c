"""Invented decorations: a colour and height texture over angle and place along the profile.

Rows run along the profile from the foot (0) to the rim (1) and on the inside
from the axis to the rim; columns run once around.
"""
import torch
import torch.nn.functional as F

from ops import blur, chance, choose, column, fbm, grid, smoothstep, uniform

ROWS, COLUMNS, TILE = 256, 512, 128

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
PATTERN_SHARES = [0.10, 0.08, 0.10, 0.10, 0.05, 0.45, 0.08, 0.04]
ALL_OVER, FRIEZE, MEDALLION, SPRIGS = range(4)
LAYOUT_SHARES = [0.3, 0.3, 0.25, 0.15]


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


def rosettes(x, y, ink, edge):
    """Flower-like stars and rings; two channels of coverage."""
    n = len(x)
    first, second = torch.zeros(n, TILE, TILE), torch.zeros(n, TILE, TILE)
    for j in range(3):
        shown = chance(0.75 if j == 0 else 0.35, n, 1, 1)
        reach = 0.15 if j == 0 else 0.6
        cx, cy = uniform(-reach, reach, n, 1, 1), uniform(-reach, reach, n, 1, 1)
        rho, turn = ((x - cx) ** 2 + (y - cy) ** 2).sqrt(), torch.atan2(y - cy, x - cx)
        petals = torch.randint(3, 11, (n, 1, 1)).float()
        depth = uniform(0.05, 0.6, n, 1, 1)
        size = uniform(0.2, 0.6, n, 1, 1) if j == 0 else uniform(0.1, 0.3, n, 1, 1)
        wave = torch.cos(petals * turn + uniform(0, 6.28, n, 1, 1))
        wave = torch.where(chance(0.5, n, 1, 1) > 0, wave.abs() * 2 - 1, wave)
        outline = size * (1 + depth * wave) / (1 + depth)
        flower = ink(rho - outline) * shown
        heart = smoothstep(edge, -edge, rho - size * uniform(0.1, 0.4, n, 1, 1)) * shown
        ring = smoothstep(edge, -edge, (rho - outline * uniform(0.5, 0.8, n, 1, 1)).abs() - 0.02)
        heart = torch.maximum(heart, ring * shown * chance(0.4, n, 1, 1))
        swap = chance(0.5, n, 1, 1)
        first, second = torch.maximum(first, flower * swap), torch.maximum(second, flower * (1 - swap))
        first, second = (
            torch.where(swap > 0, first * (1 - heart), torch.maximum(first, heart)),
            torch.where(swap > 0, torch.maximum(second, heart), second * (1 - heart)),
        )
    return first, second


def scrolls(x, y, first, second, lined, line_width, edge):
    """Curling stems with leaves, over what is there."""
    n, knots = len(x), 10
    s = torch.linspace(0, 1, knots)[None]
    for _ in range(7):
        shown = chance(0.55, n, 1, 1)
        turn = uniform(0, 6.28, n, 1) + uniform(-3, 3, n, 1) * s + uniform(-4, 4, n, 1) * s * s
        step = uniform(0.06, 0.13, n, 1)
        px = (uniform(-0.4, 0.4, n, 1) + (torch.cos(turn) * step).cumsum(1)).clamp(-0.9, 0.9)
        py = (uniform(-0.4, 0.4, n, 1) + (torch.sin(turn) * step).cumsum(1)).clamp(-0.9, 0.9)
        width = uniform(0.012, 0.05, n, 1, 1)
        nearest = torch.full_like(first, 9.0)
        for i in range(knots - 1):
            ax, ay, bx, by = (q[:, :, None] for q in (px[:, i : i + 1], py[:, i : i + 1], px[:, i + 1 : i + 2], py[:, i + 1 : i + 2]))
            dx, dy = bx - ax, by - ay
            h = (((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy + 1e-6)).clamp(0, 1)
            nearest = torch.minimum(nearest, (x - ax - dx * h) ** 2 + (y - ay - dy * h) ** 2)
        stem = smoothstep(edge, -edge, nearest.sqrt() - width) * shown
        leaves, leafy = torch.zeros_like(stem), chance(0.6, n, 1, 1)
        for i in (2, 4, 6, 8, 9):
            lean = turn[:, i : i + 1, None] + uniform(-1.3, 1.3, n, 1, 1)
            long, slim = uniform(0.06, 0.22, n, 1, 1), uniform(0.3, 0.6, n, 1, 1)
            dx, dy = x - px[:, i : i + 1, None], y - py[:, i : i + 1, None]
            u = dx * torch.cos(lean) + dy * torch.sin(lean) - long
            v = -dx * torch.sin(lean) + dy * torch.cos(lean)
            d = (((u / long) ** 2 + (v / (long * slim)) ** 2).sqrt() - 1) * long * slim
            leaf = torch.where(lined > 0, smoothstep(edge, -edge, d.abs() - line_width), smoothstep(edge * 2, -edge * 2, d))
            leaves = torch.maximum(leaves, leaf * leafy)
        leaves = leaves * shown
        swap = chance(0.5, n, 1, 1)
        first = torch.maximum(torch.maximum(first, stem * swap), leaves * (1 - swap))
        second = torch.maximum(torch.maximum(second, stem * (1 - swap)), leaves * swap)
    return first, second


def motif_tiles(n):
    """Motifs [n, 2, TILE, TILE]: coverage by two inks, fading out at the border."""
    y, x = (g[None].expand(n, -1, -1) for g in grid(TILE, TILE))
    lined, line_width, edge = chance(0.35, n, 1, 1), uniform(0.015, 0.045, n, 1, 1), 2.0 / TILE

    def ink(d):
        return torch.where(lined > 0, smoothstep(edge, -edge, d.abs() - line_width), smoothstep(edge, -edge, d))

    first, second = rosettes(x, y, ink, edge)
    first, second = scrolls(x, y, first, second, lined, line_width, edge)
    for j in range(3):  # squares and diamonds
        shown, lean = chance(0.25, n, 1, 1), uniform(0, 3.14, n, 1, 1)
        cx, cy = uniform(-0.7, 0.7, n, 1, 1), uniform(-0.7, 0.7, n, 1, 1)
        u = ((x - cx) * torch.cos(lean) + (y - cy) * torch.sin(lean)).abs() / uniform(0.05, 0.4, n, 1, 1)
        v = (-(x - cx) * torch.sin(lean) + (y - cy) * torch.cos(lean)).abs() / uniform(0.05, 0.3, n, 1, 1)
        block = ink((torch.where(chance(0.5, n, 1, 1) > 0, torch.maximum(u, v), u + v) - 1) * 0.15) * shown
        first, second = (torch.maximum(first, block), second) if j % 2 else (first, torch.maximum(second, block))
    # Hatching, as engraved prints have it.
    hatch = ((x * uniform(-1, 1, n, 1, 1) + y * uniform(-1, 1, n, 1, 1)) * uniform(25, 70, n, 1, 1)).sin() > 0
    second = second * torch.where(chance(0.3, n, 1, 1) > 0, hatch.float(), torch.ones_like(second))
    fade = smoothstep(1.0, 0.93, x.abs()) * smoothstep(1.0, 0.93, y.abs())
    return torch.stack([first, second], 1) * fade[:, None]


def lay_out(tiles, layout, u, v):
    """Motif tiles set all over, in a frieze, as medallions or as sprigs; where the frieze is; one medallion's window.

    The window [n, 4] is its centre in `u` and `v` and its half extents: what flat ware shows in the well.
    """
    n = len(tiles)
    rows = torch.randint(1, 5, (n, 1, 1)).float()
    columns = (rows * 2 * uniform(0.8, 1.25, n, 1, 1)).round().clamp(min=2)
    tv = v * rows
    tu = u * columns + 0.5 * chance(0.5, n, 1, 1) * (tv.floor() % 2)
    all_over = torch.stack([(tu % 1) * 2 - 1, (tv % 1) * 2 - 1], -1)
    start, tall = uniform(0.02, 0.6, n, 1, 1), uniform(0.15, 0.38, n, 1, 1)
    repeats = (2 / tall * uniform(0.7, 1.1, n, 1, 1)).round().clamp(min=2)
    in_frieze = ((v > start) & (v < start + tall)).float()
    fy = ((v - start) / tall) * 2 - 1 + 0 * u
    frieze = torch.stack([((u * repeats) % 1) * 2 - 1 + 0 * v, torch.where(in_frieze + 0 * u > 0, fy, torch.full_like(fy, 3.0))], -1)
    # One medallion is a single transfer on one side.
    base, high = uniform(0.05, 0.4, n, 1, 1), uniform(0.4, 0.75, n, 1, 1)
    times = torch.randint(1, 5, (n, 1, 1)).float()
    du = ((u * times) % 1 - 0.5) / times
    half_width = high / 4 * uniform(0.8, 1.2, n, 1, 1)
    medallion = torch.stack([du / half_width + 0 * v, ((v - base) / high) * 2 - 1 + 0 * du], -1)
    window = torch.stack([0.5 / times, base + high / 2, half_width, high / 2], -1)[:, 0, 0]
    sprigs = torch.full((n, ROWS, COLUMNS, 2), 3.0)
    size, turned = uniform(0.12, 0.3, n, 1, 1), chance(0.5, n, 1, 1)
    for _ in range(9):
        cu, cv, lean = uniform(0, 1, n, 1, 1), uniform(0.1, 0.9, n, 1, 1), uniform(0, 6.28, n, 1, 1) * turned
        du, dv = ((u - cu + 0.5) % 1 - 0.5) * 2, v - cv
        gx = (du * torch.cos(lean) + dv * torch.sin(lean)) / size * 2
        gy = (-du * torch.sin(lean) + dv * torch.cos(lean)) / size * 2
        here = ((gx.abs() < 1) & (gy.abs() < 1))[..., None]
        sprigs = torch.where(here, torch.stack([gx, gy], -1), sprigs)
    which = layout[:, None, None, None]
    places = torch.where(which == ALL_OVER, all_over, torch.where(which == FRIEZE, frieze, torch.where(which == MEDALLION, medallion, sprigs)))
    return F.grid_sample(tiles, places, align_corners=False, padding_mode="zeros"), in_frieze, window


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


def shared(values, family, p):
    """Values of which each may be, with probability `p`, that of the first of its family."""
    first = torch.arange(len(values)) // family * family
    return torch.where(chance(p, len(values), 1) > 0, values[first], values)


def make_decors(n, family=1):
    """`n` decorations as a dict of tensors; `texture` [n, 4, ROWS, COLUMNS] is sRGB 0 to 1 and height.

    In families of `family`, most have one ground and many the same inks: then the drawing alone tells them apart.
    """
    v, u = torch.meshgrid((torch.arange(ROWS) + 0.5) / ROWS, (torch.arange(COLUMNS) + 0.5) / COLUMNS, indexing="ij")
    v, u = v[None], u[None]
    base = shared(torch.where(chance(0.15, n, 1) > 0, any_hue(n), some_colour(GLAZES, n)), family, 0.85)
    other = torch.where(chance(0.5, n, 1) > 0, some_colour(GLAZES, n), base * uniform(0.6, 1.2, n, 1)).clamp(0, 1)
    ink = shared(some_colour(PAINTS, n), family, 0.4)
    ink2 = torch.where(chance(0.5, n, 1) > 0, some_colour(PAINTS, n), ink * uniform(0.7, 1.5, n, 1)).clamp(0, 1)
    contrast = torch.where(luma(base)[:, None] < 0.5, torch.tensor([[0.93, 0.9, 0.85]]), torch.tensor([[0.15, 0.18, 0.4]]))
    for colour in (ink, ink2):  # an ink that would not show becomes light or dark
        unseen = (luma(colour) - luma(base)).abs() < 0.18
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

    pattern, layout = choose(PATTERN_SHARES, n), choose(LAYOUT_SHARES, n)
    first, specks, wobble = geometric(pattern, u, v, coarse, fine)
    motifs, in_frieze, window = lay_out(motif_tiles(n), layout, u, v)
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
    for j in range(5):
        shown, colour = chance(0.42 if j else 0.5, n), torch.where(chance(0.6, n, 1) > 0, ink, ink2)
        place = uniform(0.03, 0.97, n, 1, 1)
        width = torch.where(chance(0.7, n, 1, 1) > 0, uniform(0.004, 0.018, n, 1, 1), uniform(0.02, 0.09, n, 1, 1))
        over(column(shown) * drawn * smoothstep(0.004, -0.004, (v + wobble * 0.3 - place).abs() - width), colour)
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
        plain=plain * (1 - slipped) * (1 - mottled) * (1 - streaked),
        in_well=(pattern == MOTIFS).float() * (layout == MEDALLION) * chance(0.75, n),
        window=window,
        pattern_inside=chance(0.3, n),
        inside=torch.where(chance(0.65, n, 1) > 0, base, some_colour(GLAZES, n)),
        gloss=torch.where(chance(0.75, n) > 0, uniform(0.6, 1.0, n), uniform(0.0, 0.35, n)),
        lustre=chance(0.04, n),
    )
