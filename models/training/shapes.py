"""Invented vessels: a turned profile, handles and spouts, as distance tables.

A shape is a profile of ten control points turned about the upright axis, with a
wall, a foot ring and, for lidded ware, lid and knob in the profile; handles and
spouts are swept circles in the plane of the axis. Both become tables of signed
distance, which `render.py` marches through. Lengths are in units in which the
body's larger half extent is 0.98.
"""
import math

import torch
import torch.nn.functional as F

from moulding import mouldings
from ops import chance, choose, column, joined, smoothstep, uniform

BODY_ROWS, BODY_COLUMNS = 160, 96
BODY_RADIUS, BODY_HALF_HEIGHT = 1.3, 1.1
PART_ROWS, PART_COLUMNS = 112, 176
PART_HALF_WIDTH, PART_HALF_HEIGHT = 1.9, 1.2
CONTROLS, PROFILE, SWEEP = 10, 44, 26
SILHOUETTE = 32

# Kind, how often, probability of a handle, of a second one opposite, of a spout.
KINDS = [
    ("plate", 0.13, 0.00, 0.00, 0.00),
    ("bowl", 0.16, 0.16, 0.50, 0.00),
    ("cup", 0.18, 0.74, 0.04, 0.00),
    ("vase", 0.10, 0.16, 0.90, 0.00),
    ("jug", 0.09, 1.00, 0.00, 0.15),
    ("teapot", 0.09, 1.00, 0.00, 1.00),
    ("jar", 0.08, 0.40, 0.95, 0.00),
    ("bottle", 0.10, 0.12, 0.90, 0.00),
    ("ewer", 0.07, 1.00, 0.00, 1.00),
]
NAMES = [kind[0] for kind in KINDS]
PLATE, BOWL, CUP, VASE, JUG, TEAPOT, JAR, BOTTLE, EWER = range(len(KINDS))


class Families:
    """Random numbers for shapes that come in families of near relatives."""

    def __init__(self, count, family):
        self.count, self.family = count, family
        self.families = (count + family - 1) // family

    def spread(self, per_family):
        return per_family.repeat_interleave(self.family, 0)[: self.count]

    def uniform(self, low, high, *shape, own_share=0.25):
        """A family's value; half of its members move `own_share` of the way to one of their own."""
        own = torch.rand(self.count, *shape)
        if self.family > 1:
            of_family = self.spread(torch.rand(self.families, *shape))
            moves = chance(0.5, self.count, *([1] * len(shape)))
            own = of_family * (1 - own_share * moves) + own * own_share * moves
        return own * (high - low) + low

    def chance(self, p, *shape):
        return self.spread(chance(p, self.families, *shape))


def control_points(kind, draw, t):
    """Radius and height (0 to 1) at the control points and the height over the greatest radius."""
    n = len(kind)
    radius, level, height = torch.zeros(n, CONTROLS), t.repeat(n, 1).clone(), torch.ones(n)

    def flat(i, low, high):
        return draw[:, i] * (high - low) + low

    def wide(i, low, high):
        return flat(i, low, high)[:, None]

    def plate():
        foot = wide(0, 0.4, 0.7)
        curved = t ** (1 / wide(2, 0.6, 3.0)) * 0.999
        knee = wide(4, 0.35, 0.75)
        flanged = torch.where(t < knee, t / knee * 0.85, 0.85 + 0.15 * (t - knee) / (1 - knee))
        has_flange = (draw[:, 3:4] > 0.4).float()
        return foot + (1 - foot) * t, has_flange * flanged + (1 - has_flange) * curved, flat(5, 0.1, 0.34)

    def bowl():
        foot = wide(0, 0.28, 0.6)
        r = foot + (1 - foot) * t ** wide(1, 0.3, 1.1)
        r = r + wide(2, -0.1, 0.1) * smoothstep(0.7, 1.0, t) + wide(3, -0.06, 0.06) * torch.sin(t * 6.28)
        return r, t + 0 * r, flat(5, 0.4, 1.15)

    def cup():
        foot = wide(0, 0.45, 1.0)
        r = foot + (1 - foot) * t ** wide(1, 0.2, 1.2) + wide(2, -0.12, 0.18) * torch.sin(math.pi * t)
        r = r + wide(3, -0.08, 0.08) * torch.sin(t * 6.28) + wide(4, -0.03, 0.12) * smoothstep(0.8, 1, t)
        return r, t + 0 * r, flat(5, 0.85, 2.5)

    def necked(neck, height):
        foot = wide(0, 0.35, 0.75)
        belly = wide(2, 0.25, 0.6)
        start = belly + (1 - belly) * wide(3, 0.35, 0.8)
        lip = neck * wide(4, 1.0, 1.7)
        up = smoothstep(0, 1, t / belly)
        down = smoothstep(0, 1, (t - belly) / (start - belly))
        out = smoothstep(0, 1, (t - start) / (1 - start + 1e-3)) ** wide(6, 0.6, 3)
        shoulder = torch.where(t < start, 1 + (neck - 1) * down ** wide(8, 0.6, 1.5), neck + (lip - neck) * out)
        r = torch.where(t < belly, foot + (1 - foot) * up ** wide(7, 0.6, 1.4), shoulder)
        return r, t + 0 * r, height

    def lidded(height):
        foot, shoulder, lid = flat(0, 0.4, 0.75), flat(1, 0.55, 0.95), flat(2, 0.3, 0.6)
        stem, knob, seat = flat(3, 0.08, 0.16), flat(4, 0.1, 0.22), flat(6, 0.62, 0.8)
        zero = torch.zeros_like(foot)
        r = [foot, foot + (1 - foot) * flat(7, 0.4, 0.9), zero + 1, flat(8, 0.9, 1.0), shoulder]
        r += [lid * 1.05, lid * flat(9, 0.7, 1.0), stem, knob, zero]
        y = [zero, seat * 0.18, seat * flat(10, 0.4, 0.55), seat * 0.72, seat * 0.9, seat]
        y += [seat + (0.93 - seat) * flat(11, 0.2, 0.6), zero + 0.88, zero + 0.95, zero + 1]
        return torch.stack(r, 1), torch.stack(y, 1), height

    made = [
        plate(),
        bowl(),
        cup(),
        necked(wide(1, 0.18, 0.75), flat(5, 1.1, 4.0)),
        necked(wide(1, 0.4, 0.8), flat(5, 1.5, 3.0)),
        lidded(flat(5, 1.1, 1.9)),
        lidded(flat(5, 1.0, 3.0)),
        necked(wide(1, 0.12, 0.4), flat(5, 2.0, 5.0)),
        necked(wide(1, 0.16, 0.5), flat(5, 1.7, 3.4)),
    ]
    for index, (r, y, h) in enumerate(made):
        mine = kind == index
        radius[mine], level[mine], height[mine] = r[mine], y[mine], h[mine]
    return radius, level, height


def dense_curve(values, straight):
    """Control values [n, CONTROLS] on PROFILE places: Catmull-Rom, or straight pieces."""
    place = torch.linspace(0, CONTROLS - 1 - 1e-4, PROFILE)
    i = place.long()
    f = (place - i)[None]
    p = torch.cat([2 * values[:, :1] - values[:, 1:2], values, 2 * values[:, -1:] - values[:, -2:-1]], 1)
    a, b, c, d = p[:, i], p[:, i + 1], p[:, i + 2], p[:, i + 3]
    smooth = 0.5 * (2 * b + (c - a) * f + (2 * a - 5 * b + 4 * c - d) * f**2 + (3 * b - a - 3 * c + d) * f**3)
    return smooth * (1 - straight) + (b * (1 - f) + c * f) * straight


@joined
def polygon_distance(polygon, points):
    """Signed distance of `points` [m, 2] to polygons [n, k, 2]; nearest edge and place on it.

    Edges on the axis do not count: there the solid goes on.
    """
    a, b = polygon, torch.roll(polygon, -1, 1)
    along = b - a
    to = points[None, :, None] - a[:, None]
    h = ((to * along[:, None]).sum(-1) / ((along * along).sum(-1)[:, None] + 1e-12)).clamp(0, 1)
    squared = ((to - along[:, None] * h[..., None]) ** 2).sum(-1)
    on_axis = ((a[..., 0] < 1e-5) & (b[..., 0] < 1e-5))[:, None]
    nearest, edge = (squared + on_axis * 9).min(-1)
    x, y = points[None, :, None, 0], points[None, :, None, 1]
    spans = (a[:, None, :, 1] > y) != (b[:, None, :, 1] > y)
    crossing = a[:, None, :, 0] + (y - a[:, None, :, 1]) / (b[:, None, :, 1] - a[:, None, :, 1] + 1e-9) * along[:, None, :, 0]
    inside = (spans & (x < crossing)).sum(-1) % 2 == 1
    distance = nearest.sqrt()
    return torch.where(inside, -distance, distance), edge, h.gather(-1, edge[..., None])[..., 0]


def body_table(outer, inner, base, closed):
    """[n, 4, rows, columns]: distance of the wall, of the filled body, place along the profile, inner side."""
    n, points = outer.shape[:2]
    zero = torch.zeros(n, 1)
    top = torch.stack([zero, torch.where(closed[:, None] > 0, outer[:, -1:, 1], inner[:, :1, 1])], -1)
    wall = torch.cat([base, outer, inner.flip(1), top], 1)
    filled = torch.cat([base, outer, torch.stack([zero, outer[:, -1:, 1]], -1)], 1)
    arc = torch.cat([zero, (outer[:, 1:] - outer[:, :-1]).norm(dim=-1).cumsum(1)], 1)
    arc = arc / arc[:, -1:]
    inner_arc = torch.cat([zero, (inner[:, 1:] - inner[:, :-1]).norm(dim=-1).cumsum(1)], 1)
    reach = inner[:, :1, 0]
    inner_arc = (inner_arc + reach) / (inner_arc[:, -1:] + reach + 1e-6)
    inner_arc = torch.where(closed[:, None] > 0, torch.ones_like(inner_arc), inner_arc)
    place = torch.cat([zero, arc, inner_arc.flip(1), zero], 1)
    following = torch.roll(place, -1, 1)

    y = torch.linspace(-BODY_HALF_HEIGHT, BODY_HALF_HEIGHT, BODY_ROWS)
    r = torch.linspace(0, BODY_RADIUS, BODY_COLUMNS)
    gy, gr = torch.meshgrid(y, r, indexing="ij")
    where = torch.stack([gr, gy], -1).reshape(-1, 2)
    table = torch.empty(n, 4, BODY_ROWS, BODY_COLUMNS)
    step = 32 if outer.is_cuda else 4
    for s in range(0, n, step):
        part = slice(s, min(n, s + step))
        distance, edge, h = polygon_distance(wall[part], where)
        along = place[part].gather(1, edge) * (1 - h) + following[part].gather(1, edge) * h
        full, _, _ = polygon_distance(filled[part], where)
        rows = torch.stack([distance, full, along, (edge > points).float()], 1)
        table[part] = rows.reshape(-1, 4, BODY_ROWS, BODY_COLUMNS)
    return table


def part_table(x, y, radius, is_spout):
    """[n, 3, rows, columns]: distance to the sweep's centre line, its radius there, whether it is the spout."""
    gx = torch.linspace(-PART_HALF_WIDTH, PART_HALF_WIDTH, PART_COLUMNS)
    gy = torch.linspace(-PART_HALF_HEIGHT, PART_HALF_HEIGHT, PART_ROWS)
    n = len(x)
    table = torch.empty(n, 3, PART_ROWS, PART_COLUMNS)
    step = 16 if x.is_cuda else 4
    for s in range(0, n, step):
        part = slice(s, min(n, s + step))
        dx = gx[None, None, :, None] - x[part, None, None]
        dy = gy[None, :, None, None] - y[part, None, None]
        far = (dx * dx + dy * dy).sqrt()
        _, nearest = (far - radius[part, None, None]).min(-1)
        centre = far.gather(-1, nearest[..., None])[..., 0]
        thick = radius[part].gather(1, nearest.flatten(1)).reshape(centre.shape)
        table[part] = torch.stack([centre.clamp(max=4), thick, is_spout[part].gather(1, nearest.flatten(1)).reshape(centre.shape)], 1)
    return table


def radius_at(outer, level):
    """Radius of the profile point nearest in height to `level` [n, m]."""
    nearest = (outer[:, None, :, 1] - level[..., None]).abs().argmin(-1)
    return outer[..., 0].gather(1, nearest)


def handle_curves(t, power, families):
    """How far out a handle is at `t` [n, SWEEP] of its way, 0 to 1: round, square-cornered or pointed."""
    round_ = torch.sin(math.pi * t).clamp(min=0) ** power
    side = torch.minimum(t, 1 - t).clamp(min=0)
    square = (side / families.uniform(0.12, 0.25)[:, None]).clamp(max=1)
    peak = families.uniform(0.15, 0.5)[:, None]
    pointed = torch.minimum(t / peak, (1 - t) / (1 - peak)).clamp(min=0)
    style = families.spread(choose([0.6, 0.2, 0.2], families.families))[:, None]
    return torch.where(style == 0, round_, torch.where(style == 1, square, pointed))


def handles_and_spouts(kind, outer, wall, draw, families):
    """Centre lines (x, y), radii and whether spout, each [n, 2 * SWEEP]; absent parts are far away."""
    n = len(kind)
    t = torch.linspace(0, 1, SWEEP)[None]
    table = torch.tensor([k[2:] for k in KINDS])
    of_kind = table[kind]
    has_handle = (families.spread(torch.rand(families.families)) < of_kind[:, 0]).float()
    spout = (torch.rand(n) < of_kind[:, 2]).float()
    second = has_handle * chance(0.97, n) * (torch.rand(n) < of_kind[:, 1]).float() * (1 - spout)
    bottom, top = outer[:, 0, 1], outer[:, -1, 1]
    tall = top - bottom
    teapot, ewer = kind == TEAPOT, kind == EWER

    def of(i, low, high):
        return draw[:, i] * (high - low) + low

    def by_kind(for_teapot, for_ewer, others):
        return torch.where(teapot, for_teapot, torch.where(ewer, for_ewer, others))

    upper = bottom + tall * by_kind(of(12, 0.5, 0.68), of(12, 0.7, 0.93), of(12, 0.62, 0.97))
    lower = bottom + tall * by_kind(of(13, 0.12, 0.3), of(13, 0.3, 0.5), of(13, 0.08, 0.45))
    upper = torch.minimum(torch.maximum(upper, lower + 0.22), top - 0.03)
    slender = (kind == VASE) | (kind == JAR) | (kind == BOTTLE)
    bulge = of(14, 0.24, 0.75) * torch.where(slender, 0.7, 1.0)
    power = families.uniform(0.35, 1.1)[:, None]
    rise = families.uniform(-0.05, 0.25)[:, None]
    skewed = t + families.uniform(-0.25, 0.35)[:, None] * t * (1 - t)
    bow = handle_curves(skewed, power, families)
    hy = upper[:, None] * (1 - t) + lower[:, None] * t + rise * torch.sin(math.pi * t) * (1 - t)
    ends = radius_at(outer, upper[:, None]) * (1 - t) + radius_at(outer, lower[:, None]) * t
    # A ring is a full circle that touches the wall below the upper place.
    ring = families.chance(0.1, 1) * (~slender).float()[:, None]
    size = torch.minimum(0.5 * bulge, 0.4 * (upper - lower)).clamp(min=0.1)[:, None]
    centre = upper[:, None] - size
    turned = 2 * math.pi * t
    hx = ends + bulge[:, None] * bow - wall[:, None] * 0.5
    hx = hx * (1 - ring) + (radius_at(outer, centre) + size * (0.85 - torch.cos(turned))) * ring
    hy = hy * (1 - ring) + (centre + size * torch.sin(turned)) * ring
    hr = families.uniform(0.04, 0.105)[:, None] * (1 + families.uniform(-0.3, 0.4)[:, None] * (t - 0.5).abs() * 2)

    u = families.uniform
    sy0 = bottom + tall * by_kind(u(0.2, 0.42), u(0.3, 0.5), u(0.5, 0.7))
    sy1 = bottom + tall * by_kind(u(0.6, 0.85), u(0.75, 1.0), u(0.9, 1.05))
    length = by_kind(u(0.4, 0.8), u(0.3, 0.65), u(0.1, 0.3))
    sway = u(-0.5, 0.5)[:, None]
    sx = -(radius_at(outer, sy0[:, None]) - wall[:, None]) - length[:, None] * t
    sy = sy0[:, None] + (sy1 - sy0)[:, None] * (t + sway * torch.sin(6.283 * t) * 0.25)
    wide = torch.where(ewer, u(0.07, 0.14), u(0.13, 0.22))[:, None]
    sr = wide * (1 - t) + torch.where(ewer, u(0.03, 0.06), u(0.05, 0.09))[:, None] * t

    far = torch.full_like(hx, 9.0)
    is_spout = (spout[:, None] > 0).expand(-1, SWEEP)
    x = torch.cat(
        [torch.where(has_handle[:, None] > 0, hx, far), torch.where(is_spout, sx, torch.where(second[:, None] > 0, -hx, far))], 1
    )
    y = torch.cat([hy, torch.where(is_spout, sy, hy)], 1)
    radius = torch.cat([hr, torch.where(is_spout, sr, hr)], 1)
    return x, y, radius, torch.cat([torch.zeros_like(hx), is_spout.float()], 1)


def side_silhouettes(body, part):
    """The filled outline seen straight from the side, in its square box: [n, SILHOUETTE, SILHOUETTE]."""
    gx = torch.linspace(-PART_HALF_WIDTH, PART_HALF_WIDTH, PART_COLUMNS)
    gy = torch.linspace(-PART_HALF_HEIGHT, PART_HALF_HEIGHT, PART_ROWS)
    y, x = torch.meshgrid(gy, gx, indexing="ij")
    where = torch.stack([x.abs() / BODY_RADIUS * 2 - 1, y / BODY_HALF_HEIGHT], -1)
    n = len(body)
    full = F.grid_sample(body[:, 1:2], where.expand(n, -1, -1, -1), align_corners=True, padding_mode="border")[:, 0]
    outside = (x.abs() > BODY_RADIUS) | (y.abs() > BODY_HALF_HEIGHT)
    solid = (((full < 0) & ~outside) | (part[:, 0] < part[:, 1])).float()
    # The box in table coordinates, -1 to 1 each way.
    columns, rows = solid.amax(1) > 0, solid.amax(2) > 0

    def ends(hit, places):
        low = torch.where(hit, places, torch.full_like(places, 9.0)).amin(1)
        return low, torch.where(hit, places, torch.full_like(places, -9.0)).amax(1)

    (left, right), (low, high) = ends(columns, gx[None]), ends(rows, gy[None])
    half = torch.maximum(right - left, high - low) / 2 * 1.02
    unit = (torch.arange(SILHOUETTE) + 0.5) / SILHOUETTE * 2 - 1
    uy, ux = torch.meshgrid(unit, unit, indexing="ij")
    x = (column(left + right) / 2 + ux * column(half)) / PART_HALF_WIDTH
    y = (column(low + high) / 2 + uy * column(half)) / PART_HALF_HEIGHT
    return F.grid_sample(solid[:, None], torch.stack([x, y], -1), align_corners=True)[:, 0]


def section(kind, families):
    """What is not round about a section seen from above: lobes, ribs, facets, a waved edge, an oval, a pulled lip.

    `lobe_depth` and `facet` are shares of the radius, `edge_only` 1 where they belong to the edge alone, `oval` the
    depth over the width, `lip` how far the lip is pulled out.
    """
    n, u = families.count, families.uniform
    which = families.spread(choose([0.58, 0.10, 0.10, 0.12, 0.10], families.families))
    lobed, ribbed, faceted, waved = ((which == k).float() for k in (1, 2, 3, 4))
    few, many, corners = u(4, 13).round(), u(16, 45).round(), u(4.6, 12.4).round()
    lobes = torch.where(ribbed > 0, many, torch.where(faceted > 0, corners, torch.where(u(0, 1) > 0.5, few, 2 * few)))
    depth = lobed * torch.where(lobes < 9, u(0.02, 0.06), u(0.01, 0.028)) + ribbed * u(0.005, 0.014)
    depth = depth + waved * u(0.02, 0.07) * torch.where(lobes < 10, 1.0, 0.6)
    open_ware = (kind == PLATE) | (kind == BOWL)
    is_oval = families.chance(0.25) * open_ware.float() + families.chance(0.2) * (kind == JAR).float()
    pulled = families.chance(0.8) * (kind == JUG).float() + families.chance(0.25) * (kind == BOWL).float()
    return dict(
        lobes=lobes, lobe_depth=depth, lobe_turn=uniform(0, 6.28, n) * (faceted == 0), facet=faceted * u(0.5, 1.0),
        edge_only=waved, oval=1 - is_oval * u(0.12, 0.48), lip=pulled * u(0.08, 0.35), lip_width=u(0.25, 0.6),
    )


def make_shapes(count, family=1, alike=1):
    """`count` shapes in families of `family` near relatives, as a dict of tensors; every `alike` in a row are of one kind."""
    families = Families(count, family)
    same = max(family, alike)
    kind = choose([k[1] for k in KINDS], (count + same - 1) // same).repeat_interleave(same)[:count]
    wall = families.uniform(0.03, 0.07)
    draw = families.uniform(0, 1, 16)
    t = torch.linspace(0, 1, CONTROLS)[None]
    radius, level, height = control_points(kind, draw, t)
    closed = ((kind == TEAPOT) | (kind == JAR)).float()
    uneven = families.uniform(-0.025, 0.025, CONTROLS)
    radius = (radius + uneven * (1 - closed)[:, None] * (kind != PLATE).float()[:, None]).clamp(min=0)
    radius[:, :1].clamp_(min=0.08)
    straight = families.chance(0.15, 1)
    r = dense_curve(radius, straight).clamp(min=1e-3)
    y = dense_curve(level, straight)
    # Foot ring.
    ring = families.uniform(0.0, 0.1)[:, None] * families.chance(0.6, 1) / height[:, None].clamp(min=0.6)
    ring_radius = r[:, :1] * families.uniform(0.8, 1.02)[:, None]
    # A pedestal: a taller foot with a waist above it.
    pedestal = families.chance(0.12, 1) * (kind != PLATE).float()[:, None]
    ring = torch.maximum(ring, pedestal * families.uniform(0.08, 0.2)[:, None])
    waist = families.uniform(0.15, 0.4)[:, None] * torch.exp(-torch.arange(PROFILE) / 2.5)[None]
    r = r * (1 - pedestal * waist)
    y = ring + y * (1 - ring)
    outer = torch.stack(
        [torch.cat([ring_radius, r], 1), torch.cat([torch.zeros_like(ring_radius), y], 1) * height[:, None]], -1
    )
    scale = 0.98 / torch.maximum(outer[..., 0].amax(1), outer[..., 1].amax(1) / 2)
    outer = outer * scale[:, None, None]
    outer[..., 1] -= outer[..., 1].amax(1, keepdim=True) / 2
    # The inner wall lies one wall's thickness inside along the normal.
    tangent = torch.cat([outer[:, 1:2] - outer[:, :1], outer[:, 2:] - outer[:, :-2], outer[:, -1:] - outer[:, -2:-1]], 1)
    normal = torch.stack([tangent[..., 1], -tangent[..., 0]], -1)
    inner = outer - wall[:, None, None] * normal / (normal.norm(dim=-1, keepdim=True) + 1e-6)
    bottom = outer[:, :1, 1]
    lift = ring * (height * scale)[:, None]
    floor = bottom + lift * 0.8 + wall[:, None]
    inner = torch.stack([inner[..., 0].clamp(min=0), torch.maximum(inner[..., 1], floor)], -1)
    apex = torch.stack([torch.zeros_like(inner[..., 0]), outer[:, -1:, 1].expand_as(inner[..., 1])], -1)
    inner = torch.where(column(closed) > 0, apex, inner)
    base = torch.stack([torch.zeros_like(bottom), bottom + lift * 0.7], -1)
    body = body_table(outer, inner, base, closed)

    px, py, pr, is_spout = handles_and_spouts(kind, outer, wall, draw, families)
    part = part_table(px, py, pr, is_spout)
    strap = torch.where(families.chance(0.45) > 0, families.uniform(0.22, 0.9), families.uniform(0.8, 2.2))
    reach = torch.maximum(px.masked_fill(px > 5, 0).abs().amax(1) + 0.1, outer[..., 0].amax(1))
    tall = outer[:, -1, 1] - outer[:, 0, 1]
    around = section(kind, families)
    reach = reach * (1 + around["lip"] + around["lobe_depth"])
    return dict(
        kind=kind, closed=closed, wall=wall, body=body, part=part,
        strap=strap, **around,
        bottom=outer[:, 0, 1], top=outer[:, -1, 1], reach=(reach**2 + (tall / 2) ** 2).sqrt().clamp(max=2.2),
        silhouette=side_silhouettes(body, part), moulding=mouldings(count),
    )
