"""Pictures of vessels: rays marched through the distance tables, texture, light.

Frame: y up, the axis of the vessel is x = z = 0; handles and spouts lie in the
plane z = 0. One picture a row of the batch, square.
"""
import math

import torch
import torch.nn.functional as F

from decors import ROWS as TEXTURE_ROWS
from ops import arange, chance, column, joined, ones, randn, smoothstep, tensor, uniform, unit
from shapes import BODY_HALF_HEIGHT, BODY_RADIUS, BOWL, PART_HALF_HEIGHT, PART_HALF_WIDTH, PLATE

COARSE = 4  # the march begins on every COARSE-th pixel


def lookup(table, x, y):
    return F.grid_sample(table, torch.stack([x, y], -1), align_corners=True, padding_mode="border")


MEASURES = ("strap", "wall", "lobes", "lobe_turn", "lobe_depth", "facet", "edge_only", "oval", "lip", "lip_width", "bottom", "top")


def field_of(shapes, index):
    """What the distance to a batch of shapes, one a picture, is made of."""
    field = {name: column(shapes[name][index]) for name in MEASURES}
    body = shapes["body"][index]
    return field | dict(body=body, coarse_body=body[:, :2].contiguous(), part=shapes["part"][index])


def to_round(field, x, y, z):
    """Where a point lies on the turned body: radius and height."""
    z = z / field["oval"]
    r = (x * x + z * z + 1e-8).sqrt()
    around = torch.atan2(z, x)
    level = ((y - field["bottom"]) / (field["top"] - field["bottom"])).clamp(0, 1)
    edge = smoothstep(0.35, 1.0, level)
    lobes = torch.cos(field["lobes"] * around + field["lobe_turn"])
    wave = 1 + field["lobe_depth"] * lobes * (1 - field["edge_only"] * (1 - edge))
    # A regular polygon of `lobes` sides, of the same radius at its corners.
    half = math.pi / field["lobes"]
    flat = half.cos() / torch.cos((around % (2 * half)) - half)
    wave = wave * (1 - field["facet"] * (1 - flat))
    lip = field["lip"] * torch.exp(-(((math.pi - around.abs()) / field["lip_width"]) ** 2)) * smoothstep(0.5, 1.0, level)
    return r / (wave * (1 + lip)), y - 0.35 * lip


def distance(field, x, y, z, table="coarse_body"):
    """Distance, and the looked-up body and part rows with their distances."""
    r, level = to_round(field, x, y, z)
    body = lookup(field[table], r / BODY_RADIUS * 2 - 1, level / BODY_HALF_HEIGHT)
    beyond = (r - BODY_RADIUS).clamp(min=0) + (level.abs() - BODY_HALF_HEIGHT).clamp(min=0)
    to_body = (body[:, 0] + beyond * 0.7) * field["oval"]
    part = lookup(field["part"], x / PART_HALF_WIDTH, y / PART_HALF_HEIGHT)
    # A strap's section is an ellipse: z is scaled.
    to_part = (part[:, 0] ** 2 + (z * field["strap"]) ** 2).sqrt() - part[:, 1]
    to_part = torch.maximum(to_part / field["strap"].clamp(min=1), -(body[:, 1] + field["wall"] * 0.6))
    h = (0.5 + 0.5 * (to_part - to_body) / 0.03).clamp(0, 1)
    return to_part * (1 - h) + to_body * h - 0.03 * h * (1 - h), body, part, to_part, to_body


class Camera:
    """Where each picture is taken from: mostly a little from above, from anywhere round the axis."""

    def __init__(self, shapes, index):
        n = len(index)
        kind = shapes["kind"][index]
        elevation = torch.where(chance(0.7, n) > 0, uniform(0, 35, n), uniform(30, 90, n))
        elevation = torch.where(kind == PLATE, uniform(12, 88, n), elevation)
        elevation = torch.where((kind == BOWL) & (chance(0.4, n) > 0), uniform(20, 70, n), elevation)
        self.elevation = elevation * math.pi / 180
        yaw = torch.where(chance(0.5, n) > 0, uniform(-0.6, 0.6, n), uniform(-math.pi, math.pi, n)) + math.pi * chance(0.3, n)
        self.distance = uniform(3.6, 9.0, n)
        roll = randn(n) * 0.04
        ce, se, cy, sy = self.elevation.cos(), self.elevation.sin(), yaw.cos(), yaw.sin()
        self.place = torch.stack([self.distance * ce * sy, self.distance * se, self.distance * ce * cy], -1)
        self.forward = -unit(self.place)
        right = torch.stack([cy, torch.zeros_like(cy), -sy], -1)
        up = torch.cross(right, self.forward, dim=-1)
        cr, sr = roll.cos()[:, None], roll.sin()[:, None]
        self.right, self.up = right * cr + up * sr, up * cr - right * sr
        self.view = dict(right=self.right, forward=self.forward, elevation=self.elevation)
        self.reach = shapes["reach"][index]
        self.tangent = 1.02 * self.reach / (self.distance**2 - self.reach**2).clamp(min=1).sqrt()

    def rays(self, side):
        c = (arange(side) + 0.5) / side * 2 - 1
        py, px = torch.meshgrid(-c, c, indexing="ij")
        d = px[None, ..., None] * self.right[:, None, None] + py[None, ..., None] * self.up[:, None, None]
        d = self.forward[:, None, None] + d * self.tangent[:, None, None, None]
        return d / d.norm(dim=-1, keepdim=True)

    def bounds(self, d):
        """Where a ray enters and leaves the sphere around the vessel."""
        ox, oy, oz = (column(self.place[:, i]) for i in range(3))
        b = ox * d[0] + oy * d[1] + oz * d[2]
        root = (b * b - column(self.distance**2 - (self.reach * 1.05) ** 2)).clamp(min=0).sqrt()
        return -b - root, -b + root + 0.05


def along(field, place, d, t):
    """Distance to the shape at `t` along each ray."""
    return distance(field, *(p + t * e for p, e in zip(place, d)))[0]


@joined
def coarse_step(field, place, d, t, end, cone):
    s = along(field, place, d, t)
    return torch.where(s > cone * t, torch.minimum(t + (s - cone * t * 0.5) * 0.85, end + 0.2), t)


@joined
def fine_step(field, place, d, t, end):
    return torch.minimum(t + along(field, place, d, t) * 0.85, end + 0.2)


def march(field, camera, side, steps):
    """Distance along each ray to the surface, where rays end, and the rays."""
    place = [column(camera.place[:, i]) for i in range(3)]
    d = camera.rays(side // COARSE).unbind(-1)
    t, end = camera.bounds(d)
    cone = column(camera.tangent * 2 / (side // COARSE) * 0.75)
    for _ in range(30):
        t = coarse_step(field, place, d, t, end, cone)
    t = (t - cone).repeat_interleave(COARSE, 1).repeat_interleave(COARSE, 2)
    rays = camera.rays(side)
    d = rays.unbind(-1)
    _, end = camera.bounds(d)
    for _ in range(steps):
        t = fine_step(field, place, d, t, end)
    return t, end, rays


@joined
def at_surface(field, place, t, rays):
    """Points at `t` along the rays, the normals there and all that the field says of them."""
    x, y, z = (p + t * rays[..., i] for i, p in enumerate(place))
    step, n = 0.012, [0, 0, 0]
    for corner in ((1, -1, -1), (-1, -1, 1), (-1, 1, -1), (1, 1, 1)):
        value = distance(field, x + corner[0] * step, y + corner[1] * step, z + corner[2] * step)[0]
        n = [a + sign * value for a, sign in zip(n, corner)]
    return x, y, z, unit(torch.stack(n, -1)), distance(field, x, y, z, "body")


def well(window, view, x, z, v):
    """Places in the texture where a single motif lies flat in the well, roughly upright as seen, its borders round the rim."""
    n = len(v)
    turn = torch.where(chance(0.8, n) > 0, uniform(-0.7, 0.7, n), uniform(0, 6.28, n))
    share = uniform(0.4, 0.7, n, 1, 1)
    radius = (x * x + z * z + 1e-6).sqrt()
    right, away = ((x * column(a[:, 0]) + z * column(a[:, 2])) / radius for a in (view["right"], unit(view["forward"] * tensor([1.0, 0.0, 1.0]))))
    cos, sin = column(turn.cos()), column(turn.sin())
    right, away = right * cos - away * sin, right * sin + away * cos
    u0, v0, half_u, half_v = (column(part) for part in window.unbind(1))
    within = v / share
    top = (v0 + half_v).clamp(max=0.95)
    beyond = top + (1 - top) * (v - share) / (1 - share)
    flat_u, flat_v = u0 - within * right * half_u, v0 + within * away * half_v
    round_u = (torch.atan2(z, x) / (2 * math.pi) + 0.5) % 1
    return torch.where(v < share, flat_u, round_u) % 1, torch.where(v < share, flat_v, beyond)


@joined
def surface(shapes, decors, si, di, view, hit):
    """Colour (linear), bumped normal and inner side at the points hit."""
    n = len(si)
    x, y, z, normal, body, part, to_part, to_body, wall = hit
    on_part = (to_part < to_body).float()
    inner = ((body[:, 1] < -wall * 0.45) | (body[:, 3] > 0.5)).float() * (1 - on_part)
    texture = decors["texture"][di].float()
    u = (torch.atan2(z, x) / (2 * math.pi) + 0.5 + uniform(0, 1, n, 1, 1)) % 1
    v = body[:, 2]

    kind = shapes["kind"][si]
    # Plates, and bowls seen from above, carry the pattern inside.
    from_above = column((kind == PLATE) | ((kind == BOWL) & (view["elevation"] > 0.6))).float()
    around_u, along_v = u, v
    in_well = from_above * column(decors["in_well"][di]) * inner
    u, v = (torch.where(in_well > 0, flat, turned) for flat, turned in zip(well(decors["window"][di], view, x, z, v), (u, v)))

    def sample(table, u, v):
        return F.grid_sample(table, torch.stack([u * 2 - 1, v * 2 - 1], -1), align_corners=False, padding_mode="border")

    step = 1.5 / TEXTURE_ROWS

    def slopes(heights, u, v, here):
        return sample(heights, (u + step / 2) % 1, v)[:, 0] - here, sample(heights, u, v + step)[:, 0] - here

    at = sample(texture, u, v)
    slope_u, slope_v = slopes(texture[:, 3:], u, v, at[:, 3])
    moulding = shapes["moulding"][si].float()
    moulded_u, moulded_v = slopes(moulding, around_u, along_v, sample(moulding, around_u, along_v)[:, 0])
    inside = torch.maximum(from_above, column(decors["pattern_inside"][di]))
    colour, own = at[:, :3], decors["inside"][di][:, :, None, None]
    colour = colour * (1 - inner[:, None]) + (colour * inside[:, None] + own * (1 - inside[:, None])) * inner[:, None]
    middle = texture[:, :3, int(TEXTURE_ROWS * 0.55)].mean(-1)[:, :, None, None]
    of_handle = torch.where(chance(0.5, n, 1, 1, 1) > 0, decors["base"][di][:, :, None, None], middle)
    is_spout = part[:, 2:3]
    of_part = of_handle * (1 - is_spout) + colour * is_spout
    colour = colour * (1 - on_part[:, None]) + of_part * on_part[:, None]
    radius = (x * x + z * z + 1e-6).sqrt()
    around = torch.stack([-z / radius, torch.zeros_like(z), x / radius], -1)
    along = torch.cross(normal, around, dim=-1)
    along = along * torch.where(along[..., 1:2] < -0.02, -1.0, 1.0)
    deep = uniform(1.0, 3.5, n, 1, 1) * (1 - on_part)
    relief, moulded = deep * torch.maximum(1 - inner, inside), deep * torch.maximum(1 - inner, from_above)
    slope_u, slope_v = relief * slope_u + moulded * moulded_u, relief * slope_v + moulded * moulded_v
    bumped = unit(normal - slope_u[..., None] * around - slope_v[..., None] * along)
    return colour.clamp(0, 1) ** 2.2, bumped, inner


def reflection_of_box(mirrored, light, gloss):
    """Share of the mirrored ray that meets a rectangular light; some are windows with glazing bars."""
    n = len(light)
    facing = (mirrored * light[:, None, None]).sum(-1) > 0
    first = unit(torch.cross(light, tensor([[0.0, 1.0, 0.0]]).expand(n, 3) + 0.01, dim=-1))
    second = torch.cross(light, first, dim=-1)
    wide, tall = uniform(0.03, 0.3, n, 1, 1), uniform(0.03, 0.4, n, 1, 1)
    soft = uniform(0.01, 0.1, n, 1, 1) + (1 - gloss) * 0.4
    a, b = (mirrored * first[:, None, None]).sum(-1), (mirrored * second[:, None, None]).sum(-1)
    box = smoothstep(soft, -soft, a.abs() - wide) * smoothstep(soft, -soft, b.abs() - tall) * facing.float()
    bars = torch.maximum(smoothstep(0.03, 0.0, a.abs()), smoothstep(0.03, 0.0, ((b / tall * 1.5) % 1 - 0.5).abs() * tall))
    return box * (1 - 0.9 * bars * chance(0.35, n, 1, 1))


@joined
def shade(shapes, decors, si, di, view, y, rays, normal, facing, colour, inner):
    """Linear light towards the camera, exposed and rounded off to sRGB."""
    n = len(si)
    gloss, lustre = column(decors["gloss"][di]), decors["lustre"][di][:, None, None, None]
    top, bottom = column(shapes["top"][si]), column(shapes["bottom"][si])
    mirrored = rays - 2 * (rays * normal).sum(-1, keepdim=True) * normal
    hemisphere = 0.5 + 0.5 * normal[:, None, ..., 1]
    ambient = uniform(0.15, 0.6, n, 1, 1)
    sky, ground = 1 + 0.06 * randn(n, 3, 1, 1), (1 + 0.08 * randn(n, 3, 1, 1)) * uniform(0.3, 0.9, n, 1, 1, 1)
    light = ambient[:, None] * (sky * hemisphere + ground * (1 - hemisphere))
    mirror = torch.zeros_like(colour)
    deep = inner * ((top - y) / (top - bottom).clamp(min=0.3)).clamp(0, 1)
    fresnel = 0.06 + 0.94 * (1 - facing) ** 5
    for lamp in range(3):
        on = ones(n) if lamp == 0 else chance(0.5, n)
        side, high = uniform(-1.6, 1.6, n), uniform(-0.1, 1.3, n)
        to = (side.sin() * high.cos())[:, None] * view["right"] + high.sin()[:, None] * tensor([[0.0, 1.0, 0.0]])
        to = unit(to - (side.cos() * high.cos())[:, None] * view["forward"])
        power = (1 + 0.06 * randn(n, 3)) * (uniform(0.3, 0.9, n) * on)[:, None]
        wrap = uniform(0, 0.4, n, 1, 1)
        lit = (((normal * to[:, None, None]).sum(-1) + wrap) / (1 + wrap)).clamp(min=0) * (1 - deep * 0.6)
        light = light + lit[:, None] * power[:, :, None, None]
        strength = uniform(1.0, 8.0, n, 1, 1) * gloss * fresnel + (1 - gloss) * 0.04
        mirror = mirror + (reflection_of_box(mirrored, to, gloss) * strength)[:, None] * power[:, :, None, None]
    waves = 0.15 * torch.sin(mirrored[..., 0] * uniform(1, 6, n, 1, 1) + uniform(0, 6, n, 1, 1))
    room = smoothstep(-0.3, 0.5, mirrored[..., 1] + waves)
    mirror = mirror + ((0.04 + 0.96 * (1 - facing) ** 5) * gloss * room * ambient * 1.2)[:, None]
    rgb = colour * light * (1 - 0.45 * deep[:, None]) * (1 - 0.6 * lustre) + mirror * (1 - 0.5 * inner[:, None])
    rgb = rgb + lustre * colour * room[:, None] * 1.2
    rgb = rgb * uniform(0.75, 1.35, n, 1, 1, 1) / (light.mean((1, 2, 3), keepdim=True) + 0.25)
    rgb = torch.where(rgb > 0.8, 0.8 + 0.2 * torch.tanh((rgb - 0.8) / 0.4), rgb)
    return rgb.clamp(0, 1) ** (1 / 2.2)


def render(shapes, decors, si, di, side=256, steps=20):
    """Pictures of shape `si[k]` with decoration `di[k]`: sRGB on black [n, 3, side, side], coverage [n, side, side]."""
    field, camera = field_of(shapes, si), Camera(shapes, si)
    t, end, rays = march(field, camera, side, steps)
    place = [column(camera.place[:, i]) for i in range(3)]
    x, y, z, normal, (apart, body, part, to_part, to_body) = at_surface(field, place, t, rays)
    pixel = camera.tangent * camera.distance * 2 / side
    hit = ((apart < column((pixel * 1.2).clamp(min=0.006))) & (t < end)).float()
    facing = -(normal * rays).sum(-1).clamp(max=0)
    seen = (x, y, z, normal, body, part, to_part, to_body, field["wall"])
    colour, bumped, inner = surface(shapes, decors, si, di, camera.view, seen)
    rgb = shade(shapes, decors, si, di, camera.view, y, rays, bumped, facing, colour, inner)
    # Close pin holes of the march; with a rim around, so that nothing grows towards the frame.
    grown = F.max_pool2d(F.pad(hit[:, None], (4, 4, 4, 4)), 5, 1, 2)
    hit = -F.max_pool2d(-grown, 5, 1, 2)[:, 0, 4:-4, 4:-4]
    return rgb * hit[:, None], hit
