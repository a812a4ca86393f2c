//! Shading: paint under soft lights, with a glaze's mirror.

use super::Hit;
use super::ground::Light;
use super::march::World;
use crate::camera::View;
use crate::light::WRAP;
use crate::section::Zone;
use crate::solid::{Part, Surface};
use crate::vec3::{V3, v3};

/// What a ray meets on a piece.
#[derive(Clone, Copy, Debug)]
pub(super) struct Met {
    /// Place in the scene.
    p: V3,
    /// Normal turned to the viewer.
    pub(super) n: V3,
    /// Distance, mm.
    pub(super) t: f32,
    surface: Surface,
    item: u8,
}

impl Met {
    /// Number of the piece.
    pub(super) fn item(&self) -> usize {
        usize::from(self.item)
    }

    /// Direction of the ray that met it.
    fn along(&self, view: &View) -> V3 {
        (self.p - view.eye) * (1.0 / self.t)
    }

    /// Number of the part and zone in the piece.
    fn part(&self) -> u16 {
        match self.surface.part {
            Part::Body(b) => {
                let zone = match self.surface.skin.zone {
                    Zone::Under => 0,
                    Zone::Outside => 1,
                    Zone::Inside => 2,
                };
                u16::from(b) * 4 + zone
            }
            Part::Tube(k) => 1024 + u16::from(k),
        }
    }

    /// The record for drawings.
    pub(super) fn hit(&self) -> Hit {
        Hit {
            item: u16::from(self.item) + 1,
            part: self.part(),
            t_mm: self.t,
            normal: self.n,
        }
    }

    /// True where light may be carried over from `o`: the same part, turned much the same way.
    pub(super) fn alike(&self, o: &Met) -> bool {
        self.item == o.item && self.part() == o.part() && self.n.dot(o.n) > 0.9
    }

    /// True where the surface goes on from here to `o` and bends little, so that what lies between can be blended.
    fn goes_on(&self, o: &Met) -> bool {
        let (a, b) = (&self.surface, &o.surface);
        self.item == o.item
            && self.part() == o.part()
            && a.bore == b.bore
            && self.n.dot(o.n) > EVEN_COSINE
            && (o.p - self.p).dot(self.n).abs() < EVEN_MM
            // Behind the piece the angle starts again.
            && (a.skin.angle_rad - b.skin.angle_rad).abs() < 1.0
    }
}

/// How far a surface may bend between places for what lies between them to be blended: the cosine of their normals, and
/// how far off the plane that touches it at one of them the other lies, mm. What is blended is nearer to the surface by
/// far: a bend as of a ball is followed.
const EVEN_COSINE: f32 = 0.985;
const EVEN_MM: f32 = 0.15;

/// What arrives at a place: openness, the share of each light, openness along the mirror direction.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Arrival {
    pub(super) parts: [f32; 4],
}

/// The piece met by the ray through a picture position.
pub(super) fn meet(world: &World, view: &View, free: &[f32], x: f32, y: f32) -> Option<Met> {
    if free.iter().all(|&t| t == f32::MAX) {
        return None;
    }
    let dir = view.ray(x, y);
    let (item, t) = world.hit(view.eye, dir, free)?;
    Some(at(world, view, dir, item, t).0)
}

/// The piece met by the ray through a picture position between others that met the same surface, `around`, all of them
/// near by; none where it does not go on evenly there.
pub(super) fn between(world: &World, view: &View, around: &[&Met], x: f32, y: f32) -> Option<Met> {
    let (first, others) = around.split_first()?;
    if !others.iter().all(|o| o.alike(first)) {
        return None;
    }
    let dir = view.ray(x, y);
    let (mut t, mut facing) = (0.0, 0.0);
    for m in around {
        // Where the ray crosses the plane that touches the surface there.
        let lean = m.n.dot(dir).min(-0.05);
        t += (m.p - view.eye).dot(m.n) / lean;
        facing -= lean;
    }
    let k = 1.0 / around.len() as f32;
    let t = world.settle(first.item(), view.eye, dir, t * k, facing * k)?;
    let (met, faces) = at(world, view, dir, first.item(), t);
    // It may have settled on the far side, or round an edge.
    (faces && met.alike(first)).then_some(met)
}

/// The piece met by the ray through a picture position between four that met one surface which bends little there:
/// blended from theirs by their weights, whose sum is 1. None where it bends more or is seen edge on.
pub(super) fn blended(view: &View, around: [(&Met, f32); 4], x: f32, y: f32) -> Option<Met> {
    let (first, _) = around[0];
    if !around[1..].iter().all(|(o, _)| first.goes_on(o)) {
        return None;
    }
    let dir = view.ray(x, y);
    let mix = |of: fn(&Met) -> f32| around.iter().map(|(m, k)| of(m) * k).sum::<f32>();
    let mix3 = |of: fn(&Met) -> V3| {
        let sum = |a: V3, (m, k): &(&Met, f32)| a + of(m) * *k;
        around.iter().fold(V3::default(), sum)
    };
    let n = mix3(|m| m.n);
    let facing = -n.dot(dir);
    if facing < 0.15 {
        return None;
    }
    // Half way between where the ray crosses the plane through the blended place and, in the mean, the planes that touch
    // the surface: as far as it bends, the one lies behind it and the other before it.
    let chord = (view.eye - mix3(|m| m.p)).dot(n) / facing;
    let touch: f32 = around
        .iter()
        .map(|(m, k)| k * (m.p - view.eye).dot(m.n) / m.n.dot(dir).min(-0.05))
        .sum();
    let t = 0.5 * (chord + touch);
    let mut met = Met {
        p: view.eye + dir * t,
        n: n.unit(),
        t,
        ..*first
    };
    let skin = &mut met.surface.skin;
    skin.angle_rad = mix(|m| m.surface.skin.angle_rad);
    skin.from_rim_mm = mix(|m| m.surface.skin.from_rim_mm);
    skin.from_foot_mm = mix(|m| m.surface.skin.from_foot_mm);
    skin.radius_mm = mix(|m| m.surface.skin.radius_mm);
    Some(met)
}

/// What is met on a piece at a distance along a ray, and whether the surface there faces the ray.
fn at(world: &World, view: &View, dir: V3, item: usize, t: f32) -> (Met, bool) {
    let p = view.eye + dir * t;
    let (surface, mut n) = world.scene.items[item].surface(p);
    let faces = n.dot(dir) <= 0.0;
    if !faces {
        // A silhouette pixel may land just past the edge; it is lit as the edge is.
        n = (n - dir * (n.dot(dir) * 1.02)).unit();
    }
    let met = Met {
        p,
        n,
        t,
        surface,
        item: item as u8,
    };
    (met, faces)
}

/// Light arriving at a place met.
pub(super) fn arrival(world: &World, view: &View, m: &Met) -> Arrival {
    let mut lit = [1.0, 1.0];
    for (k, b) in world.scene.rig.boxes.iter().take(2).enumerate() {
        if m.n.dot(b.dir) > -WRAP {
            lit[k] = world.lit(m.p + m.n * 0.8, b.dir, b.softness().max(0.05));
        }
    }
    let dir = m.along(view);
    let r = dir - m.n * (2.0 * dir.dot(m.n));
    let far = world.near(m.p + r * 26.0 + m.n, 24.0).max(0.0) / 24.0;
    let close = world.near(m.p + r * 7.0 + m.n * 0.5, 6.0).max(0.0) / 6.0;
    let mirror = (0.3 + 0.7 * far) * (0.2 + 0.8 * close);
    Arrival {
        parts: [world.open(m.p, m.n), lit[0], lit[1], mirror],
    }
}

/// Colour of a place met, under the light that arrives.
pub(super) fn colour(world: &World, view: &View, m: &Met, arrival: &Arrival) -> V3 {
    let item = &world.scene.items[m.item()];
    let rig = &world.scene.rig;
    let (mut n, d) = (m.n, m.along(view));
    let facing = (-n.dot(d)).max(0.06);
    let px_mm = view.footprint_mm(m.t) / facing.max(0.25);
    let paint = item
        .finish
        .paint(&item.solid, item.local(m.p), &m.surface, px_mm);
    let mut hollow = 1.0;
    if item.finish.has_bump() {
        (n, hollow) = bumped(world, m);
    }
    let [open, lit0, lit1, near] = arrival.parts;
    // White clay sends light back into its own hollows; the brighter the paint, the weaker the shade.
    let a = paint.colour;
    let bounce = |open: f32, a: f32| open / (1.0 - (1.0 - open) * 0.88 * a.clamp(0.0, 0.95));
    let ambient = v3(bounce(open, a.x), bounce(open, a.y), bounce(open, a.z));
    let table = world.table_light;
    let from_below = rig.bounce + table * 0.3;
    let sky = from_below.mix(rig.sky, 0.5 + 0.5 * n.y);
    let mut light = sky * ambient;
    let mut key_lit = 0.3;
    for (b, lit) in rig.boxes.iter().zip([lit0, lit1]) {
        let c = ((n.dot(b.dir) + WRAP) / (1.0 + WRAP)).max(0.0);
        light = light + b.power * (c * lit);
    }
    if rig.boxes.first().is_some_and(|b| n.dot(b.dir) > -WRAP) {
        key_lit = lit0;
    }
    let blur = 0.02 + 0.5 * (1.0 - paint.gloss);
    let r = d - n * (2.0 * d.dot(n));
    let own = paint.colour * light * 0.6;
    let mirror = own.mix(rig.mirror(r, blur, table * (0.55 + 0.25 * key_lit)), near);
    let grazing = (1.0 - facing.min(1.0)).powi(5);
    let f0 = 0.045 * paint.gloss.max(0.25);
    let fresnel = f0 + (0.75 * paint.gloss - f0).max(0.0) * grazing;
    let diffuse = paint.colour * light * ((1.0 - fresnel) * hollow);
    let glazed = diffuse + mirror * fresnel;
    if paint.metal <= 0.0 {
        return glazed;
    }
    let tint = paint.colour + (V3::splat(1.0) - paint.colour) * grazing;
    let metal = tint * mirror * 0.85 + paint.colour * light * 0.3;
    glazed.mix(metal, paint.metal)
}

/// Normal over fine embossing, and how much the glaze darkens its hollows.
fn bumped(world: &World, m: &Met) -> (V3, f32) {
    let item = &world.scene.items[m.item()];
    let (p, n) = (m.p, m.n);
    let Part::Body(body) = m.surface.part else {
        return (n, 1.0);
    };
    let body = &item.solid.bodies[usize::from(body)];
    let e = 0.35;
    let side = if n.y.abs() < 0.9 {
        v3(0.0, 1.0, 0.0)
    } else {
        v3(1.0, 0.0, 0.0)
    };
    let t = n.cross(side).unit();
    let b = n.cross(t);
    let height = |q: V3| item.finish.bump_mm(body, &body.skin(item.local(q)));
    let h = height(p);
    let (du, dv) = ((height(p + t * e) - h) / e, (height(p + b * e) - h) / e);
    let bent = (n - t * du - b * dv).unit();
    (bent, 0.9 + 0.1 * (h / 0.8).min(1.0))
}

/// Colour where no piece is met.
pub(super) fn background(world: &World, view: &View, ground: &Light, at: [f32; 2]) -> V3 {
    let d = view.ray(at[0], at[1]);
    let s = world.scene;
    if let Some((t, colour)) = s.backdrop.card.as_ref().and_then(|c| c.met(view.eye, d))
        && (d.y >= 0.0 || t < -view.eye.y / d.y)
        && let Some(card) = &s.backdrop.card
    {
        return colour * card.light(&s.rig, world.table_light);
    }
    let wall = || s.backdrop.beyond(d) * world.wall_light;
    if d.y >= -1e-4 {
        return wall();
    }
    let t = -view.eye.y / d.y;
    let p = view.eye + d * t;
    let px = view.footprint_mm(t) / (-d.y).max(0.05);
    let share = s.backdrop.wall_share(p, d, px);
    if share >= 0.999 {
        return wall();
    }
    let (colour, gloss) = s.backdrop.at(p, px.min(6.0));
    let up = v3(0.0, 1.0, 0.0);
    let share_of = ground.at(world, at[0], at[1], p);
    let open = share_of[0];
    let mut light = s.rig.sky * open;
    for (k, b) in s.rig.boxes.iter().take(2).enumerate() {
        light = light + b.power * (b.dir.y.max(0.0) * share_of[k + 1]);
    }
    let mut c = colour * light;
    if gloss > 0.0 {
        let r = d - up * (2.0 * d.dot(up));
        let f = 0.03 + 0.4 * (1.0 + d.y).clamp(0.0, 1.0).powi(5);
        c = c + s.rig.mirror(r, 0.35, wall()) * (f * gloss * open * 0.6);
    }
    if share > 0.0 { c.mix(wall(), share) } else { c }
}
