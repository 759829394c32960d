//! The pupil as the image sees it: light and its limits over the conjugate coordinate m.
//!
//! The image's amplitude is the Fourier transform of g(m), m the transverse part of the straight line from a point of
//! the mirror to the reference point, so that the transfer function is the autocorrelation of g. A given m maps back to the
//! mirror in closed form: the line from the reference point along -(m, sqrt(1 - m^2)) meets the base conic, and one Newton
//! step takes it to the figure on it.

use std::f64::consts::TAU;

use crate::model::{FigureLayer, Joined};
use crate::trace::{Part, Prepared, ROLL_OFF_PANELS, StarBeam};
use crate::units::NM_PER_MM;
use crate::wave::path::{dot, line_of_sight};
use crate::wave::source::Source;
use crate::wave::terms::Terms;

/// A stop nearer to the rim than this share of it may cut in.
const NEAR: f64 = 1e-3;

/// A line in the pupil across which light or the integrand changes its character.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Curve {
    /// A circle on the mirror: its radius; the rim.
    Rim(f64),
    /// A circle on the mirror where the figure or the coating has a joint: its radius, and whether a power that is no whole
    /// number begins there.
    Joint(f64, bool),
    /// The hard rim of a patch of the coating, by its place among them.
    Patch(usize),
    /// One of the smooth lines that bound a stop, a circle's only one: its place among those of the train, which line.
    Stop(usize, usize),
    /// One of the lines that bound a strip: which strip, which line.
    Strip(usize, usize),
}

impl Curve {
    /// Whether light may end here.
    pub(super) fn is_edge(self) -> bool {
        !matches!(self, Self::Joint(..) | Self::Patch(_))
    }
}

/// What the light is at one m.
#[derive(Clone, Copy, Debug)]
pub(super) struct Light {
    /// Amplitude for a unit of the area of m.
    pub(super) amplitude: f64,
    /// The wavefront, nm, piston left in.
    pub(super) path_nm: f64,
}

/// A circle of the mirror as the image sees it, to within some parts in ten thousand.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ring {
    pub(super) centre: [f64; 2],
    pub(super) radius: f64,
}

/// The pupil of one source seen from one reference point.
#[derive(Debug)]
pub(super) struct Plane<'a> {
    body: Body<'a>,
    reference_mm: [f64; 3],
    pub(super) curves: Vec<Curve>,
    /// Circles at which a quadrature does better to stop, though nothing ends or jumps there.
    pub(super) soft: Vec<Ring>,
    pub(super) rim: Ring,
    /// Width, in m, of the finest smooth feature of the figure; none: nothing finer than its panels.
    pub(super) feature: Option<f64>,
    /// Everything depends on |m| alone.
    pub(super) is_round: bool,
}

#[derive(Debug)]
enum Body<'a> {
    Star { prepared: &'a Prepared, beam: StarBeam },
    Terms { terms: &'a Terms, focal_ratio: f64 },
}

impl<'a> Plane<'a> {
    /// The pupil of a source; terms need a focal ratio.
    pub(super) fn new(source: &'a Source, reference_mm: [f64; 3], focal_ratio: f64) -> Self {
        let body = match source {
            Source::Star { prepared, star } => Body::Star { prepared, beam: StarBeam::new(*star) },
            Source::Terms(terms) => Body::Terms { terms, focal_ratio },
        };
        let rim = Ring { centre: [0.0; 2], radius: 1.0 };
        let (curves, soft) = (Vec::new(), Vec::new());
        let mut plane = Self { body, reference_mm, curves, soft, rim, feature: None, is_round: false };
        plane.rim = plane.ring(source.rim());
        match source {
            Source::Star { prepared, star } => {
                plane.add_star_curves(prepared);
                plane.drop_twins();
                let per_mm = plane.rim.radius / source.rim();
                plane.feature = finest_mm(prepared).map(|mm| mm * per_mm);
                let on_axis = star.field.x_arcmin == 0.0 && star.field.y_arcmin == 0.0;
                let bare = plane.curves.iter().all(|c| matches!(c, Curve::Rim(_) | Curve::Joint(..)));
                let centred = reference_mm[0] == 0.0 && reference_mm[1] == 0.0;
                let even = prepared.light_detail().is_none() && prepared.coat().discs().is_empty();
                plane.is_round = on_axis && bare && centred && even;
            }
            Source::Terms(terms) => {
                plane.curves.push(Curve::Rim(1.0));
                if terms.obstruction_ratio > 0.0 {
                    plane.curves.push(Curve::Rim(terms.obstruction_ratio));
                }
                plane.feature = terms.finest().map(|share| share * plane.rim.radius);
                plane.is_round = terms.is_round() && reference_mm[0] == 0.0 && reference_mm[1] == 0.0;
            }
        }
        plane
    }

    fn add_star_curves(&mut self, prepared: &Prepared) {
        let rim_mm = prepared.open_radius_mm();
        self.curves.push(Curve::Rim(rim_mm));
        for (i, stop) in prepared.stops().iter().enumerate() {
            // The mask is the rim itself.
            if stop.part != Part::Mask && self.reaches(prepared, i) {
                let edges = self.beam().map_or(0, |beam| stop.edges(beam));
                self.curves.extend((0..edges).map(|edge| Curve::Stop(i, edge)));
            }
        }
        for (i, strip) in prepared.strips().iter().enumerate() {
            // A vane that begins in a shadow shows its sides alone.
            let bounds = if self.begins_hidden(prepared, i) { 2 } else { strip.bounds() };
            self.curves.extend((0..bounds).map(|bound| Curve::Strip(i, bound)));
        }
        let patches = prepared.coat().discs();
        for (i, _) in patches.iter().enumerate().filter(|(_, patch)| patch.softness_mm == 0.0) {
            self.curves.push(Curve::Patch(i));
        }
        let hard = joints_mm(prepared);
        for joint in prepared.breaks().iter().filter(|joint| joint.radius_mm > 0.0) {
            if hard.iter().any(|r| (r - joint.radius_mm).abs() < 1e-8 * rim_mm) {
                self.curves.push(Curve::Joint(joint.radius_mm, joint.fractional));
            } else {
                let ring = self.ring(joint.radius_mm);
                self.soft.push(ring);
            }
        }
    }

    /// Keeps one of curves that lie on each other, as the sides of opposite vanes do: rounding would let them change places
    /// from row to row. What is lit is asked of the parts themselves, so that nothing is lost.
    fn drop_twins(&mut self) {
        let places = [[0.31, 0.17], [-0.52, 0.33], [0.08, -0.71], [-0.23, -0.44], [0.66, -0.29]];
        let ([cx, cy], radius) = (self.rim.centre, self.rim.radius);
        let mut values = Vec::new();
        let table: Vec<Vec<f64>> = places
            .into_iter()
            .map(|[x, y]| {
                self.values([cx + radius * x, cy + radius * y], &mut values);
                values.clone()
            })
            .collect();
        let twins = |a: usize, b: usize| {
            let near = |sign: f64| {
                table.iter().all(|v| {
                    let (p, q) = (v.get(a).copied().unwrap_or(0.0), v.get(b).copied().unwrap_or(1.0));
                    (p - sign * q).abs() <= 1e-9 * (1.0 + p.abs())
                })
            };
            near(1.0) || near(-1.0)
        };
        let count = self.curves.len();
        let kept: Vec<bool> = (0..count).map(|b| !(0..b).any(|a| twins(a, b))).collect();
        let mut keep = kept.iter();
        self.curves.retain(|_| *keep.next().unwrap_or(&true));
    }

    fn beam(&self) -> Option<&StarBeam> {
        match &self.body {
            Body::Star { beam, .. } => Some(beam),
            Body::Terms { .. } => None,
        }
    }

    /// Whether a stop's circle may cross the rim's disc.
    fn reaches(&self, prepared: &Prepared, index: usize) -> bool {
        let Body::Star { beam, .. } = &self.body else { return false };
        let (stop, rim_mm) = (&prepared.stops()[index], prepared.open_radius_mm());
        let shadow = stop.is_shadow();
        let excess = |share: f64, angle: f64| {
            let (sin, cos) = angle.sin_cos();
            let ray = beam.ray(prepared.mirror(), share * rim_mm * cos, share * rim_mm * sin);
            stop.excess_mm(&ray, beam)
        };
        if shadow {
            return true;
        }
        (0..128).any(|i| excess(1.0, TAU * f64::from(i) / 128.0) > -NEAR * stop.radius_mm())
    }

    /// Whether a strip begins well within a shadow.
    fn begins_hidden(&self, prepared: &Prepared, index: usize) -> bool {
        let Body::Star { beam, .. } = &self.body else { return false };
        let hidden = |[x, y]: [f64; 2]| {
            let ray = beam.ray(prepared.mirror(), x, y);
            prepared.stops().iter().any(|s| s.is_shadow() && s.excess_mm(&ray, beam) > 0.1 * s.radius_mm())
        };
        prepared.strips()[index].beginning(prepared, beam).into_iter().all(hidden)
    }

    /// The train behind which a star of the sky is seen, and the direction toward it; none for a lamp and given terms.
    pub(super) fn distant_star(&self) -> Option<(&Prepared, [f64; 3])> {
        match &self.body {
            Body::Star { prepared, beam } if beam.distance_mm().is_none() => Some((prepared, beam.towards)),
            _ => None,
        }
    }

    pub(super) fn reference_mm(&self) -> [f64; 3] {
        self.reference_mm
    }

    /// A circle on the mirror about its vertex, in the units of the nodes, as the image sees it.
    fn ring(&self, radius: f64) -> Ring {
        let corners = [[radius, 0.0], [0.0, radius], [-radius, 0.0], [0.0, -radius]].map(|p| self.seen(p));
        let middle = |i: usize| corners.iter().map(|c| c[i]).sum::<f64>() / 4.0;
        let centre = [middle(0), middle(1)];
        let away = |c: &[f64; 2]| (c[0] - centre[0]).hypot(c[1] - centre[1]);
        Ring { centre, radius: corners.iter().map(away).sum::<f64>() / 4.0 }
    }

    /// The conjugate coordinate of a point of the mirror.
    pub(super) fn seen(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        match &self.body {
            Body::Star { prepared, .. } => {
                let (_, line) = line_of_sight(prepared.surface(x, y).position_mm, self.reference_mm);
                [line[0], line[1]]
            }
            Body::Terms { focal_ratio, .. } => [-x / (2.0 * focal_ratio), -y / (2.0 * focal_ratio)],
        }
    }

    /// The light at m, whether a stop takes it or not; none where m leads to no point of the mirror.
    #[inline]
    pub(super) fn light(&self, m: [f64; 2]) -> Option<Light> {
        match &self.body {
            Body::Star { prepared, beam } => {
                let (line, height) = upward(m)?;
                let (point, distance) = prepared.mirror().seen_from(self.reference_mm, line)?;
                let [sx, sy] = point.slope;
                let falls = beam.cross_section(&point);
                let leaves = height - m[0] * sx - m[1] * sy;
                let [x, y, _] = point.position_mm;
                let reflected = prepared.reflectance(x, y).sqrt();
                Some(Light {
                    // Seen from the image a piece of the mirror fills height (line.N)/distance^2 of the plane of m.
                    amplitude: reflected * falls * distance * distance / (height * leaves),
                    path_nm: -(beam.down_mm(point.position_mm) + distance) * NM_PER_MM,
                })
            }
            Body::Terms { terms, focal_ratio } => {
                let (line, _) = upward(m)?;
                let [x, y] = m.map(|c| -2.0 * focal_ratio * c);
                let moved = dot(&line, &self.reference_mm) * NM_PER_MM;
                Some(Light {
                    amplitude: 4.0 * focal_ratio * focal_ratio,
                    path_nm: terms.path_nm(x, y) - moved,
                })
            }
        }
    }

    /// Every curve's function at m, of one sign on one side of it and nearly a parabola along any line; and whether light
    /// passes there. False and no values where m leads to no point of the mirror.
    pub(super) fn values(&self, m: [f64; 2], values: &mut Vec<f64>) -> bool {
        values.clear();
        match &self.body {
            Body::Star { prepared, beam } => {
                let hit = upward(m).and_then(|(l, _)| prepared.mirror().seen_from(self.reference_mm, l));
                let Some((point, _)) = hit else { return false };
                let ray = beam.reflect(&point);
                let square = ray.hit_mm[0].powi(2) + ray.hit_mm[1].powi(2);
                values.extend(self.curves.iter().map(|curve| match *curve {
                    Curve::Rim(r) | Curve::Joint(r, _) => square - r * r,
                    Curve::Stop(i, edge) => prepared.stops()[i].beyond_edge(edge, &ray, beam),
                    Curve::Patch(i) => {
                        let patch = &prepared.coat().discs()[i];
                        let [x, y, _] = ray.hit_mm;
                        (x - patch.x_mm).powi(2) + (y - patch.y_mm).powi(2) - patch.radius_mm.powi(2)
                    }
                    Curve::Strip(i, bound) => prepared.strips()[i].inside_mm(bound, &ray, beam),
                }));
                values[0] <= 0.0 && prepared.lets_pass(&ray, beam)
            }
            Body::Terms { focal_ratio, .. } => {
                let square = 4.0 * focal_ratio * focal_ratio * (m[0] * m[0] + m[1] * m[1]);
                values.extend(self.curves.iter().map(|curve| match *curve {
                    Curve::Rim(r) | Curve::Joint(r, _) => square - r * r,
                    Curve::Stop(..) | Curve::Strip(..) | Curve::Patch(_) => 1.0,
                }));
                values[0] <= 0.0 && values.get(1).is_none_or(|v| *v >= 0.0)
            }
        }
    }
}

/// The unit vector from the mirror to the image with a transverse part, and its height.
#[inline]
fn upward([x, y]: [f64; 2]) -> Option<([f64; 3], f64)> {
    let square = 1.0 - x * x - y * y;
    (square > 0.0).then(|| {
        let height = square.sqrt();
        ([x, y, height], height)
    })
}

/// Radii at which a surface has a corner or a bend, or a coating a step: rows and panels must not run across them.
fn joints_mm(prepared: &Prepared) -> Vec<f64> {
    let primary = prepared.train().primary();
    let mut radii: Vec<f64> = prepared.coat().joints_mm().collect();
    for layer in &primary.figure {
        match layer {
            FigureLayer::TurnedEdge(edge) => radii.push(prepared.clear_radius_mm() - edge.width_mm),
            FigureLayer::EdgeStep(step) => radii.push(prepared.clear_radius_mm() - step.width_mm),
            FigureLayer::EdgeRollOff(edge) => {
                let from_rim = ROLL_OFF_PANELS.iter().take(3).map(|k| k * edge.reach_mm);
                radii.extend(from_rim.map(|back| prepared.clear_radius_mm() - back));
            }
            FigureLayer::CentralHill(hill) => radii.push(hill.radius_mm),
            FigureLayer::RadialProfile(profile) if profile.joined == Joined::StraightInArea => {
                radii.extend(&profile.radius_mm);
            }
            _ => {}
        }
    }
    radii
}

/// Width of the finest smooth feature of the figure that no joint marks, mm.
fn finest_mm(prepared: &Prepared) -> Option<f64> {
    let layers = prepared.train().primary().figure.iter().filter_map(|layer| match layer {
        FigureLayer::Zone(zone) => Some(zone.half_width_mm),
        FigureLayer::RadialProfile(profile) => {
            profile.radius_mm.windows(2).map(|pair| pair[1] - pair[0]).reduce(f64::min)
        }
        _ => None,
    });
    let uneven = prepared.light_detail().into_iter().flat_map(|detail| {
        let order = detail.azimuthal_order.max(detail.radial_order);
        // A term of order n has n/2 bumps on a diameter, the narrowest by the rim.
        let term = (order > 0).then(|| 2.0 * prepared.open_radius_mm() / f64::from(order));
        [term, detail.pixel_mm]
    });
    // A rim that fades as 1/(1 + exp) is known by its poles, pi times the softness away: a node for each softness tells them,
    // and the cusp that it leaves in the patch's centre.
    let faded = prepared.coat().finest_mm();
    layers.chain(uneven.flatten()).chain(faded).reduce(f64::min)
}
