"""Invented motifs: what is drawn once on a tile, in coverage by two inks. `x` runs to the right, `y` towards the rim.

The kinds are common ones of painted and printed ware (common practice, no source); all of it is drawn here by formula.
"""
import math

import torch

from ops import chance, choose, column, fbm, grid, smoothstep, uniform

TILE = 128
# Rosettes with scrolls, fans, stars, blots, plants, strokes.
KIND_SHARES = [0.40, 0.12, 0.11, 0.12, 0.15, 0.10]


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


def fan(x, y, ink, cx, cy, size):
    """Blades spread upwards from one point, as palmettes, shells and opened leaves are."""
    n = len(x)
    spread, blades = uniform(0.4, 2.6, n, 1, 1), torch.randint(1, 12, (n, 1, 1)).float()
    far, lean = ((x - cx) ** 2 + (y - cy) ** 2).sqrt(), torch.atan2(x - cx, y - cy)
    place = (lean / spread).clamp(-1, 1) * 0.5 + 0.5
    which = (place * blades).floor().clamp(max=blades - 1)
    across = (place * blades - which - 0.5).abs()
    droop = uniform(-0.4, 0.6, n, 1, 1)
    long = size * (1 - droop * ((which + 0.5) / blades * 2 - 1) ** 2)
    along = (far / long).clamp(0, 1)
    width = 0.5 * uniform(0.4, 1.0, n, 1, 1) * torch.sin(math.pi * along ** uniform(0.5, 2.0, n, 1, 1))
    side = (across - width) * (far + 0.03) * spread * 2 / blades
    return ink(torch.maximum(torch.maximum(side, far - long), (lean.abs() - spread) * (far + 0.03)))


def fans(x, y, ink):
    """One fan, or a second within or below it; two channels of coverage."""
    n = len(x)
    cx, cy = torch.zeros(n, 1, 1), uniform(-0.8, 0.0, n, 1, 1)
    first = fan(x, y, ink, cx, cy, uniform(0.5, 1.0, n, 1, 1))
    turned = torch.where(chance(0.5, n, 1, 1) > 0, -1.0, 1.0)
    second = fan(x, y * turned, ink, cx, cy * turned, uniform(0.2, 0.7, n, 1, 1)) * chance(0.6, n, 1, 1)
    return first * (1 - second), second


def stars(x, y, ink):
    """Stars with straight edges, one within the other or some about."""
    n = len(x)
    first, second = torch.zeros_like(x), torch.zeros_like(x)
    for j in range(4):
        shown, reach = chance(0.9 if j == 0 else 0.4, n, 1, 1), 0.1 if j < 2 else 0.7
        dx, dy = x - uniform(-reach, reach, n, 1, 1), y - uniform(-reach, reach, n, 1, 1)
        far, corners = (dx * dx + dy * dy).sqrt(), torch.randint(3, 13, (n, 1, 1)).float()
        turn = torch.atan2(dx, dy) + uniform(0, 3.14, n, 1, 1) * chance(0.4, n, 1, 1)
        share = ((turn * corners / (2 * math.pi)) % 1 * 2 - 1).abs()
        outer = uniform(0.35, 0.9, n, 1, 1) if j == 0 else uniform(0.1, 0.35, n, 1, 1)
        inner = outer * uniform(0.15, 0.9, n, 1, 1)
        star = ink((far - 1 / (share / outer + (1 - share) / inner)) * 0.7) * shown
        swap = chance(0.6 if j % 2 == 0 else 0.3, n, 1, 1)
        first, second = torch.maximum(first, star * swap), torch.maximum(second, star * (1 - swap))
    return first * (1 - second * chance(0.5, n, 1, 1)), second


def blots(x, y, ink):
    """Silhouettes of any outline, many of them the same on both sides."""
    n = len(x)
    noise = fbm(n, TILE, TILE, 4, 3) + 0.6 * fbm(n, TILE, TILE, 8, 2)
    both = chance(0.6, n, 1, 1)
    noise = torch.where(both > 0, torch.where(x > 0, noise, noise.flip(-1)), noise)
    far = ((x / uniform(0.5, 1.0, n, 1, 1)) ** 2 + (y / uniform(0.5, 1.0, n, 1, 1)) ** 2).sqrt()
    depth = noise * uniform(0.1, 0.35, n, 1, 1) + far - uniform(0.3, 0.75, n, 1, 1)
    level = uniform(0.1, 0.35, n, 1, 1)
    return ink(depth * 0.5), ink((depth + level) * 0.5) * chance(0.5, n, 1, 1)


def plants(x, y, ink, edge):
    """A flower on its stem with leaves beside it, or up to three of them."""
    n = len(x)
    first, second = torch.zeros_like(x), torch.zeros_like(x)
    for j in range(3):
        shown = chance(1.0 if j == 0 else 0.35, n, 1, 1)
        foot, head = uniform(-0.95, -0.5, n, 1, 1), uniform(0.0, 0.55, n, 1, 1)
        lean, bend = uniform(-0.25, 0.25, n, 1, 1), uniform(-0.4, 0.4, n, 1, 1) * chance(0.6, n, 1, 1)
        lean = lean * chance(0.5, n, 1, 1) if j == 0 else lean * 2.5

        def stem_at(level):
            t = (level - foot) / (head - foot)
            return lean * t + bend * t * (1 - t)

        across = (x - stem_at(y)).abs() - uniform(0.012, 0.04, n, 1, 1)
        stem = smoothstep(edge, -edge, torch.maximum(across, torch.maximum(foot - y, y - head)))
        for _ in range(4):
            at = foot + (head - foot) * uniform(0.1, 0.8, n, 1, 1)
            turn, long, slim = uniform(0.3, 1.4, n, 1, 1), uniform(0.12, 0.35, n, 1, 1), uniform(0.2, 0.5, n, 1, 1)
            hand = torch.where(chance(0.5, n, 1, 1) > 0, 1.0, -1.0)
            dx, dy = (x - stem_at(at)) * hand, y - at
            u, v = dx * torch.sin(turn) + dy * torch.cos(turn) - long, dx * torch.cos(turn) - dy * torch.sin(turn)
            leaf = ink((((u / long) ** 2 + (v / (long * slim)) ** 2).sqrt() - 1) * long * slim)
            stem = torch.maximum(stem, leaf * chance(0.6, n, 1, 1))
        top, size = stem_at(head), uniform(0.15, 0.45, n, 1, 1)
        opened = fan(x, y, ink, top, head - size * 0.2, size)
        far, turn = ((x - top) ** 2 + (y - head) ** 2).sqrt(), torch.atan2(x - top, y - head)
        wave = torch.cos(torch.randint(3, 11, (n, 1, 1)) * turn)
        round_ = ink(far - size * (0.7 + uniform(0, 0.3, n, 1, 1) * wave))
        bloom = torch.where(chance(0.5, n, 1, 1) > 0, opened, round_)
        heart = smoothstep(edge, -edge, far - size * uniform(0.15, 0.4, n, 1, 1)) * chance(0.5, n, 1, 1)
        swap = chance(0.6, n, 1, 1)
        bloom, stem = torch.maximum(bloom * (1 - heart), heart * 0) * shown, torch.maximum(stem, heart) * shown
        first = torch.maximum(first, bloom * swap + stem * (1 - swap))
        second = torch.maximum(second, stem * swap + bloom * (1 - swap))
    return first, second


def strokes(x, y, edge):
    """A few strokes of a brush, thick at one end, much alike in direction."""
    n = len(x)
    first, second = torch.zeros_like(x), torch.zeros_like(x)
    common, stray = uniform(0, 6.28, n, 1, 1), uniform(0, 1.2, n, 1, 1) * chance(0.6, n, 1, 1)
    for j in range(6):
        shown = chance(1.0 if j == 0 else 0.45, n, 1, 1)
        lean = common + stray * torch.randn(n, 1, 1)
        long, thick = uniform(0.2, 0.8, n, 1, 1), uniform(0.04, 0.2, n, 1, 1)
        dx, dy = x - uniform(-0.5, 0.5, n, 1, 1) * min(j, 1), y - uniform(-0.5, 0.5, n, 1, 1) * min(j, 1)
        u, v = dx * torch.cos(lean) + dy * torch.sin(lean), -dx * torch.sin(lean) + dy * torch.cos(lean)
        v = v + uniform(-0.5, 0.5, n, 1, 1) * u * u
        along = (u / long * 0.5 + 0.5).clamp(0, 1)
        width = thick * torch.sin(math.pi * along ** uniform(0.4, 2.5, n, 1, 1))
        stroke = smoothstep(edge, -edge, torch.maximum(v.abs() - width, u.abs() - long)) * shown
        swap = chance(0.75, n, 1, 1)
        first, second = torch.maximum(first, stroke * swap), torch.maximum(second, stroke * (1 - swap))
    return first, second


def motif_tiles(n):
    """Motifs [n, 2, TILE, TILE]: coverage by two inks, fading out at the border."""
    y, x = (g[None].expand(n, -1, -1) for g in grid(TILE, TILE))
    lined, line_width, edge = chance(0.35, n, 1, 1), uniform(0.015, 0.045, n, 1, 1), 2.0 / TILE

    def ink(d):
        return torch.where(lined > 0, smoothstep(edge, -edge, d.abs() - line_width), smoothstep(edge, -edge, d))

    first, second = rosettes(x, y, ink, edge)
    first, second = scrolls(x, y, first, second, lined, line_width, edge)
    kind = column(choose(KIND_SHARES, n))
    for k, made in enumerate((fans(x, y, ink), stars(x, y, ink), blots(x, y, ink), plants(x, y, ink, edge), strokes(x, y, edge)), 1):
        first, second = torch.where(kind == k, made[0], first), torch.where(kind == k, made[1], second)
    for j in range(3):  # squares and diamonds
        shown, lean = chance(0.25, n, 1, 1) * ((kind == 0) | (chance(0.3, n, 1, 1) > 0)), uniform(0, 3.14, n, 1, 1)
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
