//! Thin opaque strips across the light: the spider's vanes and the mirror's clips.
//!
//! A strip has coordinates of its own, s along it and t across, in the plane in which it lies. Rows along its length are cut
//! where the light is stopped anyway, so that a quadrature over a strip takes away what the strip alone takes.

use std::f64::consts::PI;

use super::limits::{Outline, halve};
use super::mirror::length;
use super::prepared::Prepared;
use super::ray::{Ray, StarBeam};
use super::stops::{Part, Stop};
use crate::model::{MirrorClips, Spider, Train};
use crate::numeric::roots;

/// Rows that are looked at before the corners between them are sought.
const LOOKS: usize = 9;
/// Two rows closer than this share of the width are one.
const SAME_ROW: f64 = 1e-12;
/// Places in the plane of a strip are found on the mirror to this, mm.
const PLACE_MM: f64 = 1e-12;

/// One vane or one clip.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Strip {
    pub(crate) part: Part,
    /// Half of the width across, mm.
    pub(crate) half_width_mm: f64,
    /// Height of its plane; none: on the mirror.
    height_mm: Option<f64>,
    shape: Shape,
}

#[derive(Clone, Copy, Debug)]
enum Shape {
    /// Outward along a direction from a distance from the axis.
    Straight {
        sin_cos: (f64, f64),
        from_mm: f64,
        /// Beside its neighbour a vane begins where |t| is s times this: the tangent of half the angle between them, or none
        /// where that is a right angle or more.
        gap_tangent: Option<f64>,
    },
    /// An arc that begins on the axis: its circle's centre, radius, the angle of the beginning seen from there, and the way it turns.
    Arc { centre_mm: [f64; 2], radius_mm: f64, start: f64, turn: f64 },
}

/// One row of a strip as far as the light reaches it.
#[derive(Clone, Debug)]
pub(crate) struct RowEnds {
    pub(crate) from_mm: f64,
    pub(crate) to_mm: f64,
    limits: Limits,
}

/// Which body's shadow a row leaves and by which of its sides (none: it begins outside), and which stop ends it, and by which
/// side (none: the rim).
pub(crate) type Limits = (Option<(usize, usize)>, Option<(usize, usize)>);

impl Strip {
    /// Height of the strip's plane; none: it lies on the mirror.
    pub(crate) fn height_mm(&self) -> Option<f64> {
        self.height_mm
    }

    /// The place in the strip's own plane, mm from the axis.
    pub(crate) fn place(&self, s_mm: f64, t_mm: f64) -> [f64; 2] {
        match self.shape {
            Shape::Straight { sin_cos: (sin, cos), .. } => [s_mm * cos - t_mm * sin, s_mm * sin + t_mm * cos],
            Shape::Arc { centre_mm, radius_mm, start, turn } => {
                let (sin, cos) = (start + turn * s_mm / radius_mm).sin_cos();
                let r = radius_mm - turn * t_mm;
                [centre_mm[0] + r * cos, centre_mm[1] + r * sin]
            }
        }
    }

    /// The strip's own coordinates of a place in its plane.
    fn coordinates(&self, [x, y]: [f64; 2]) -> (f64, f64) {
        match self.shape {
            Shape::Straight { sin_cos: (sin, cos), .. } => (x * cos + y * sin, y * cos - x * sin),
            Shape::Arc { centre_mm, radius_mm, start, turn } => {
                let (dx, dy) = (x - centre_mm[0], y - centre_mm[1]);
                let angle = turn * (dy.atan2(dx) - start);
                let s = radius_mm * (angle + PI).rem_euclid(2.0 * PI) - radius_mm * PI;
                (s, turn * (radius_mm - dx.hypot(dy)))
            }
        }
    }

    /// Length along s for a unit of s: 1 but on an arc off its middle line.
    fn stretch(&self, t_mm: f64) -> f64 {
        match self.shape {
            Shape::Straight { .. } => 1.0,
            Shape::Arc { radius_mm, turn, .. } => 1.0 - turn * t_mm / radius_mm,
        }
    }

    /// Where rows begin.
    pub(crate) fn start_mm(&self, t_mm: f64) -> f64 {
        match self.shape {
            Shape::Straight { from_mm, gap_tangent, .. } => {
                from_mm.max(gap_tangent.map_or(0.0, |tangent| t_mm.abs() / tangent))
            }
            Shape::Arc { .. } => 0.0,
        }
    }

    /// The point of the mirror whose light passes the strip's plane at (s, t): x, y, mm.
    pub(crate) fn on_mirror(&self, prepared: &Prepared, beam: &StarBeam, s_mm: f64, t_mm: f64) -> [f64; 2] {
        let place = self.place(s_mm, t_mm);
        let Some(height_mm) = self.height_mm else { return place };
        // Both legs change little from point to point: each round gains three digits, for a near lamp one.
        let mut point = place;
        for _ in 0..40 {
            let hit = prepared.surface(point[0], point[1]).position_mm;
            let above = beam.above(hit, height_mm);
            let step = [place[0] - above[0], place[1] - above[1]];
            point = [point[0] + step[0], point[1] + step[1]];
            if step[0].abs() + step[1].abs() < PLACE_MM {
                break;
            }
        }
        point
    }

    /// Light for a unit of ds dt at a place of the strip, of which the point on the mirror is known.
    pub(crate) fn flux(
        &self,
        prepared: &Prepared,
        beam: &StarBeam,
        (s_mm, t_mm): (f64, f64),
        [x_mm, y_mm]: [f64; 2],
    ) -> f64 {
        let Some(height_mm) = self.height_mm else {
            return beam.cross_section(&prepared.surface(x_mm, y_mm));
        };
        // What passes a level plane needs no slope of the mirror.
        let [x, y] = self.place(s_mm, t_mm);
        let (towards, strength) = beam.seen_from([x, y, height_mm]);
        self.stretch(t_mm) * strength * towards[2]
    }

    /// Whether the light for a unit of ds dt is the same all along a row: what passes a level plane, from a distant
    /// star.
    pub(crate) fn flux_is_even(&self, beam: &StarBeam) -> bool {
        self.height_mm.is_some() && beam.distance_mm().is_none()
    }

    /// How many smooth lines bound the strip: two sides, then where it begins.
    pub(crate) fn bounds(&self) -> usize {
        match self.shape {
            // Beside a neighbour a vane begins along two lines.
            Shape::Straight { gap_tangent: Some(_), .. } => 4,
            _ => 3,
        }
    }

    /// How far inside of one of its bounds a ray passes, mm: positive is the strip's side.
    pub(crate) fn inside_mm(&self, bound: usize, ray: &Ray, beam: &StarBeam) -> f64 {
        let (s, t) = self.met_by(ray.hit_mm, beam);
        let (from_mm, gap) = match self.shape {
            Shape::Straight { from_mm, gap_tangent, .. } => (from_mm, gap_tangent),
            Shape::Arc { .. } => (0.0, None),
        };
        match (bound, gap) {
            (0, _) => self.half_width_mm - t,
            (1, _) => self.half_width_mm + t,
            (2, Some(tangent)) => s * tangent - t,
            (_, Some(tangent)) => s * tangent + t,
            (_, None) => s - from_mm,
        }
    }

    /// The corners of the end from which the strip leaves, as points of the mirror: x, y, mm.
    pub(crate) fn beginning(&self, prepared: &Prepared, beam: &StarBeam) -> [[f64; 2]; 3] {
        let w = self.half_width_mm;
        [0.0, -w, w].map(|t| self.on_mirror(prepared, beam, self.start_mm(t), t))
    }

    /// Whether the strip stops a ray, shadows of other parts left aside.
    pub(crate) fn covers(&self, ray: &Ray, beam: &StarBeam) -> bool {
        let (s, t) = self.met_by(ray.hit_mm, beam);
        t.abs() < self.half_width_mm && s >= self.start_mm(t)
    }

    /// The strip's coordinates at which light passes its plane that meets the mirror in `hit_mm`.
    pub(crate) fn met_by(&self, hit_mm: [f64; 3], beam: &StarBeam) -> (f64, f64) {
        self.coordinates(self.height_mm.map_or([hit_mm[0], hit_mm[1]], |height| beam.above(hit_mm, height)))
    }

    /// One row as far as light reaches it past the shadows and all `cuts`; none where it does not.
    pub(crate) fn row(
        &self,
        prepared: &Prepared,
        outline: &Outline<'_>,
        cuts: &[Stop],
        t_mm: f64,
    ) -> Option<RowEnds> {
        let beam = outline.beam();
        let hit = |s: f64| {
            let [x, y] = self.on_mirror(prepared, beam, s, t_mm);
            beam.ray(prepared.mirror(), x, y)
        };
        let accuracy = 1e-11 * outline.rim_mm();
        let (start, far) = (self.start_mm(t_mm), self.far_mm(outline.rim_mm(), beam.towards));
        let beyond_rim = |s: f64| {
            let [x, y] = self.on_mirror(prepared, beam, s, t_mm);
            length(x, y) - outline.rim_mm()
        };
        let mut row = RowEnds { from_mm: start, to_mm: start, limits: (None, None) };
        if beyond_rim(start) >= 0.0 {
            return None;
        }
        row.to_mm = roots::bracketed(beyond_rim, start, far, accuracy)?;
        let side = |stop: &Stop, s: f64| if stop.has_sides() { stop.side(&hit(s), beam) } else { 0 };
        for (i, shadow) in outline.shadows().iter().enumerate() {
            let depth = |s: f64| shadow.excess_mm(&hit(s), beam);
            if depth(row.from_mm) > 0.0 {
                row.from_mm = roots::bracketed(depth, row.from_mm, row.to_mm, accuracy)?;
                row.limits.0 = Some((i, side(shadow, row.from_mm)));
            }
        }
        for (i, cut) in cuts.iter().enumerate() {
            let excess = |s: f64| cut.excess_mm(&hit(s), beam);
            if excess(row.to_mm) > 0.0 {
                row.to_mm = roots::bracketed(excess, row.from_mm, row.to_mm, accuracy)?;
                row.limits.1 = Some((i, side(cut, row.to_mm)));
            }
        }
        (row.to_mm > row.from_mm).then_some(row)
    }

    /// A length along the strip that lies outside of the rim.
    pub(crate) fn far_mm(&self, rim_mm: f64, towards: [f64; 3]) -> f64 {
        let moved = self.height_mm.unwrap_or(0.0) * towards[0].hypot(towards[1]) / towards[2];
        let reach = 1.001 * rim_mm + self.half_width_mm + moved;
        match self.shape {
            Shape::Straight { .. } => reach,
            // The chord 2 R sin(s/2R) of the length s.
            Shape::Arc { radius_mm, .. } => 2.0 * radius_mm * (reach / (2.0 * radius_mm)).min(1.0).asin(),
        }
    }

    /// Stretches across the strip between which rows have the same ends: pairs of t.
    pub(crate) fn bands<S: PartialEq>(&self, signature: impl Fn(f64) -> S) -> Vec<(f64, f64)> {
        let w = self.half_width_mm;
        // Where neighbours meet their common edge has a corner on the middle line.
        let mut ends = vec![-w, 0.0, w];
        let look = |i: usize| w * (2.0 * (i as f64 + 0.5) / LOOKS as f64 - 1.0) * 0.999;
        let signs: Vec<(f64, S)> = (0..LOOKS).map(|i| (look(i), signature(look(i)))).collect();
        let outermost = [(-w, signature(-w)), (w, signature(w))];
        let all: Vec<&(f64, S)> =
            std::iter::once(&outermost[0]).chain(&signs).chain(std::iter::once(&outermost[1])).collect();
        for pair in all.windows(2) {
            halve(&signature, (pair[0].0, &pair[0].1), (pair[1].0, &pair[1].1), SAME_ROW * w, &mut ends);
        }
        ends.sort_by(f64::total_cmp);
        ends.windows(2).map(|pair| (pair[0], pair[1])).filter(|(a, b)| b - a > 4.0 * SAME_ROW * w).collect()
    }
}

impl RowEnds {
    /// What tells neighbouring rows apart.
    pub(crate) fn limits(&self) -> Limits {
        self.limits
    }
}

/// The parts of a row that no strip of `others` covers, ascending, and which of their edges the row crosses.
pub(crate) fn uncovered(
    strip: &Strip,
    others: &[Strip],
    (prepared, beam): (&Prepared, &StarBeam),
    (from_mm, to_mm): (f64, f64),
    t_mm: f64,
) -> (Vec<(f64, f64)>, Vec<usize>) {
    let met = |other: &Strip, s: f64| {
        let [x, y] = strip.on_mirror(prepared, beam, s, t_mm);
        other.met_by(prepared.surface(x, y).position_mm, beam)
    };
    let (mut ends, mut crossed) = (vec![from_mm, to_mm], Vec::new());
    for (i, other) in others.iter().enumerate() {
        for (side, edge) in [-other.half_width_mm, other.half_width_mm].into_iter().enumerate() {
            let off = |s: f64| met(other, s).1 - edge;
            if let Some(end) = roots::bracketed(off, from_mm, to_mm, 1e-11 * to_mm.abs().max(1.0)) {
                let (s, _) = met(other, end);
                if s > 0.0 {
                    ends.push(end);
                    crossed.push(2 * i + side);
                }
            }
        }
    }
    ends.sort_by(f64::total_cmp);
    let free = |middle: f64| {
        others.iter().all(|other| {
            let (s, t) = met(other, middle);
            t.abs() >= other.half_width_mm || s < 0.0
        })
    };
    let pieces = ends.windows(2).map(|pair| (pair[0], pair[1]));
    let pieces: Vec<_> = pieces.filter(|(a, b)| b > a && free(f64::midpoint(*a, *b))).collect();
    // A row wholly within a vane is told from one wholly outside.
    if pieces.is_empty() {
        crossed.push(usize::MAX);
    }
    (pieces, crossed)
}

/// The strips of a train, vanes before clips.
pub(crate) fn strips(train: &Train, fold_height_mm: Option<f64>) -> Vec<Strip> {
    let height_mm = fold_height_mm.unwrap_or(train.primary().focal_length_mm);
    let vanes = train.spider().into_iter().flat_map(|spider| vanes(spider, height_mm));
    let rim_mm = train.primary().clear_aperture_mm / 2.0;
    let clips = train.mirror_clips().into_iter().flat_map(|c| clips(c, rim_mm));
    vanes.chain(clips).collect()
}

fn vanes(spider: &Spider, fold_height_mm: f64) -> impl Iterator<Item = Strip> {
    let half_gap = PI / f64::from(spider.vanes);
    let gap_tangent = (half_gap < PI / 2.0 - 1e-9).then(|| half_gap.tan());
    let Spider { vanes, thickness_mm, angle_deg, above_vertex_mm, bend_radius_mm } = *spider;
    (0..vanes).map(move |i| {
        let angle = angle_deg.to_radians() + 2.0 * half_gap * f64::from(i);
        let shape = match bend_radius_mm {
            None => Shape::Straight { sin_cos: angle.sin_cos(), from_mm: 0.0, gap_tangent },
            Some(radius) => {
                let (turn, radius_mm) = (radius.signum(), radius.abs());
                // To the left of the direction in which the vane leaves the axis, or to the right.
                let (sin, cos) = (angle + turn * PI / 2.0).sin_cos();
                let centre_mm = [radius_mm * cos, radius_mm * sin];
                Shape::Arc { centre_mm, radius_mm, start: angle - turn * PI / 2.0, turn }
            }
        };
        let height_mm = Some(above_vertex_mm.unwrap_or(fold_height_mm));
        Strip { part: Part::Spider, half_width_mm: thickness_mm / 2.0, height_mm, shape }
    })
}

fn clips(clips: &MirrorClips, rim_mm: f64) -> impl Iterator<Item = Strip> {
    let MirrorClips { clips, width_mm, reach_mm, angle_deg } = *clips;
    (0..clips).map(move |i| {
        let angle = angle_deg.to_radians() + 2.0 * PI * f64::from(i) / f64::from(clips);
        let shape =
            Shape::Straight { sin_cos: angle.sin_cos(), from_mm: rim_mm - reach_mm, gap_tangent: None };
        Strip { part: Part::MirrorClips, half_width_mm: width_mm / 2.0, height_mm: None, shape }
    })
}
