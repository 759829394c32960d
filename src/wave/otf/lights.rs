//! The light at many points of the plane, column by column: what `Plane::light` finds one by one, eight side by side.

// A helper that is not inlined is compiled without the instructions of its caller.
#![allow(clippy::inline_always)]

use super::plane::Plane;
use crate::numeric::phase::sine_and_cosine;
use crate::numeric::simd::{Instructions, each_set};
use crate::units::NM_PER_MM;
use crate::wave::lanes::LANES;

/// Points of the plane and what the light is there; nothing where a point leads past the mirror.
#[derive(Debug, Default)]
struct Lights {
    /// The conjugate coordinate.
    m: [Vec<f64>; 2],
    /// Amplitude for a unit of the area of m.
    amplitude: Vec<f64>,
    /// The wavefront, nm, piston left in.
    path_nm: Vec<f64>,
    /// Where the lines of sight meet the conic and then the surface, mm.
    hit_mm: [Vec<f64>; 3],
    /// How far from the reference point that is, mm.
    distance_mm: Vec<f64>,
    /// What lies on the conic there: height, mm, and slopes along x and y.
    over: [Vec<f64>; 3],
}

/// Two copies of the plane laid over each other, one moved forward and one back.
#[derive(Debug, Default)]
pub(super) struct Copies {
    forward: Lights,
    back: Lights,
}

impl Copies {
    /// One more point: where the light comes from in either copy.
    pub(super) fn push(&mut self, forward: [f64; 2], back: [f64; 2]) {
        for (copy, m) in [(&mut self.forward, forward), (&mut self.back, back)] {
            copy.m[0].push(m[0]);
            copy.m[1].push(m[1]);
        }
    }

    pub(super) fn len(&self) -> usize {
        self.forward.m[0].len()
    }

    pub(super) fn clear(&mut self) {
        for list in self.forward.m.iter_mut().chain(&mut self.back.m) {
            list.clear();
        }
    }

    /// Looks at the points that were pushed.
    pub(super) fn look(&mut self, set: Instructions, plane: &Plane<'_>) {
        self.forward.look(set, plane);
        self.back.look(set, plane);
    }

    /// The difference of both paths at a point, nm; 0 where one of them leads past the mirror.
    pub(super) fn path_nm(&self, i: usize) -> f64 {
        let paths = self.forward.path_nm(i).zip(self.back.path_nm(i));
        paths.map_or(0.0, |(forward, back)| forward - back)
    }

    /// The sum over points of weights times the light of one copy times the conjugate of the other's: real and imaginary
    /// part.
    pub(super) fn products(&self, set: Instructions, weight: &[f64], wavelength_nm: f64) -> [f64; 2] {
        let (a, b) = (&self.forward, &self.back);
        let per_nm = std::f64::consts::TAU / wavelength_nm;
        products(set, (&a.amplitude, &a.path_nm), (&b.amplitude, &b.path_nm), weight, per_nm)
    }
}

/// What is the same for all points: the reference point, the conic, the direction of parallel light.
#[derive(Clone, Copy, Debug)]
struct Sight {
    reference_mm: [f64; 3],
    curvature_per_mm: f64,
    /// 1 + conic constant.
    shape: f64,
    towards: [f64; 3],
}

impl Lights {
    /// Looks at the points of `m`.
    fn look(&mut self, set: Instructions, plane: &Plane<'_>) {
        let count = self.m[0].len();
        let lists = self.hit_mm.iter_mut().chain(&mut self.over);
        for list in lists.chain([&mut self.amplitude, &mut self.path_nm, &mut self.distance_mm]) {
            list.resize(count, 0.0);
        }
        let Some((prepared, towards)) = plane.distant_star() else { return self.look_one_by_one(plane) };
        let mirror = prepared.mirror();
        let (curvature_per_mm, shape) = mirror.conic();
        let sight = Sight { reference_mm: plane.reference_mm(), curvature_per_mm, shape, towards };
        let [u, v] = &self.m;
        let [x, y, z] = &mut self.hit_mm;
        conic_hits(set, (u, v), sight, (x, y, z, &mut self.distance_mm));
        let [height, slope_x, slope_y] = &mut self.over;
        if mirror.is_conic_alone() {
            height.fill(0.0);
            slope_x.fill(0.0);
            slope_y.fill(0.0);
        } else {
            for i in 0..count {
                (height[i], [slope_x[i], slope_y[i]]) = mirror.over_conic(x[i], y[i]);
            }
        }
        let over = (&height[..], &slope_x[..], &slope_y[..]);
        let hits = (&mut x[..], &mut y[..], &z[..], &self.distance_mm[..]);
        seen(set, (u, v), sight, over, hits, (&mut self.amplitude, &mut self.path_nm));
        if let Some(share) = prepared.even_share() {
            let share = share.sqrt();
            self.amplitude.iter_mut().for_each(|amplitude| *amplitude *= share);
        } else {
            for (i, amplitude) in self.amplitude.iter_mut().enumerate() {
                *amplitude *= prepared.reflectance(x[i], y[i]).sqrt();
            }
        }
    }

    /// The path at a point that was looked at; none where it leads past the mirror.
    fn path_nm(&self, i: usize) -> Option<f64> {
        let met = self.amplitude[i].to_bits() != 0 || self.path_nm[i].to_bits() != 0;
        met.then(|| self.path_nm[i])
    }

    fn look_one_by_one(&mut self, plane: &Plane<'_>) {
        for i in 0..self.amplitude.len() {
            let light = plane.light([self.m[0][i], self.m[1][i]]);
            (self.amplitude[i], self.path_nm[i]) = light.map_or((0.0, 0.0), |l| (l.amplitude, l.path_nm));
        }
    }
}

type Columns3<'a> = (&'a [f64], &'a [f64], &'a [f64]);

each_set! {
    /// Where lines of sight from the reference point meet the conic, and at which distance.
    fn conic_hits(
        m: (&[f64], &[f64]),
        sight: Sight,
        found: (&mut [f64], &mut [f64], &mut [f64], &mut [f64]),
    ) = conic_hits_with;
}

#[inline(always)]
fn conic_hits_with<const FUSED: bool>(
    (u, v): (&[f64], &[f64]),
    sight: Sight,
    (x, y, z, distance): (&mut [f64], &mut [f64], &mut [f64], &mut [f64]),
) {
    let Sight { reference_mm: [rx, ry, rz], curvature_per_mm: c, shape: k, .. } = sight;
    let count = u.len();
    let (v, x, y) = (&v[..count], &mut x[..count], &mut y[..count]);
    let (z, distance) = (&mut z[..count], &mut distance[..count]);
    let q = c * (rx * rx + ry * ry + k * rz * rz) - 2.0 * rz;
    for i in 0..count {
        // The line goes down; the sheet that holds the vertex, as in `Mirror::conic_distance`.
        let (dx, dy, dz) = (-u[i], -v[i], -(1.0 - u[i] * u[i] - v[i] * v[i]).sqrt());
        let a = c * (dx * dx + dy * dy + k * dz * dz);
        let b = c * (rx * dx + ry * dy + k * rz * dz) - dz;
        let root = (b * b - a * q).sqrt();
        let t = -q / (b + if b < 0.0 { -root } else { root });
        (x[i], y[i], z[i]) = (rx + dx * t, ry + dy * t, rz + dz * t);
        distance[i] = t;
    }
}

each_set! {
    /// Amplitude and path where the conic is met there and something lies on it; the hit points are moved onto the surface.
    fn seen(
        m: (&[f64], &[f64]),
        sight: Sight,
        over: Columns3<'_>,
        hits: (&mut [f64], &mut [f64], &[f64], &[f64]),
        found: (&mut [f64], &mut [f64]),
    ) = seen_with;
}

#[inline(always)]
fn seen_with<const FUSED: bool>(
    (u, v): (&[f64], &[f64]),
    sight: Sight,
    (over, over_x, over_y): Columns3<'_>,
    (x, y, z, distance): (&mut [f64], &mut [f64], &[f64], &[f64]),
    (amplitude, path_nm): (&mut [f64], &mut [f64]),
) {
    let Sight { reference_mm: [rx, ry, rz], curvature_per_mm: c, shape: k, towards: [tx, ty, tz] } = sight;
    let count = u.len();
    let (v, over, over_x, over_y) = (&v[..count], &over[..count], &over_x[..count], &over_y[..count]);
    let (x, y, z, distance) = (&mut x[..count], &mut y[..count], &z[..count], &distance[..count]);
    let (amplitude, path_nm) = (&mut amplitude[..count], &mut path_nm[..count]);
    for i in 0..count {
        let height = (1.0 - u[i] * u[i] - v[i] * v[i]).sqrt();
        let per_mm = c / (1.0 - k * c * z[i]);
        let (sx, sy) = (x[i] * per_mm + over_x[i], y[i] * per_mm + over_y[i]);
        let leaves = height - u[i] * sx - v[i] * sy;
        let way = distance[i] - over[i] / leaves;
        let (px, py, pz) = (rx - u[i] * way, ry - v[i] * way, rz - height * way);
        let falls = tz - tx * sx - ty * sy;
        let light = falls * way * way / (height * leaves);
        let path = (tx * px + ty * py + tz * pz - way) * NM_PER_MM;
        let met = light.abs() < f64::MAX && path.abs() < f64::MAX;
        (x[i], y[i]) = (if met { px } else { 0.0 }, if met { py } else { 0.0 });
        (amplitude[i], path_nm[i]) = (if met { light } else { 0.0 }, if met { path } else { 0.0 });
    }
}

each_set! {
    /// The sum of weights times products of both amplitudes times the phasor of the difference of the paths: real and
    /// imaginary part.
    fn products(
        forward: (&[f64], &[f64]),
        back: (&[f64], &[f64]),
        weight: &[f64],
        per_nm: f64,
    ) -> [f64; 2] = products_with;
}

#[inline(always)]
fn products_with<const FUSED: bool>(
    (a, path_a): (&[f64], &[f64]),
    (b, path_b): (&[f64], &[f64]),
    weight: &[f64],
    per_nm: f64,
) -> [f64; 2] {
    let mut sums = [[0.0; LANES]; 2];
    let count = weight.len();
    let (a, path_a, b, path_b) = (&a[..count], &path_a[..count], &b[..count], &path_b[..count]);
    let whole = count / LANES * LANES;
    for from in (0..whole).step_by(LANES) {
        for lane in 0..LANES {
            let i = from + lane;
            let (re, im) = phasor(weight[i] * a[i] * b[i], per_nm * (path_a[i] - path_b[i]));
            sums[0][lane] += re;
            sums[1][lane] += im;
        }
    }
    for i in whole..count {
        let (re, im) = phasor(weight[i] * a[i] * b[i], per_nm * (path_a[i] - path_b[i]));
        sums[0][i - whole] += re;
        sums[1][i - whole] += im;
    }
    let [re, im] = sums;
    [re.iter().sum(), im.iter().sum()]
}

#[inline(always)]
fn phasor(size: f64, phase: f64) -> (f64, f64) {
    let (sine, cosine) = sine_and_cosine(phase);
    (size * cosine, size * sine)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Coating, CoatingRing, Primary, Train, TurnedEdge, Zone};
    use crate::trace::{Prepared, Star};
    use crate::units::{Field, FocalLengthMm};
    use crate::wave::focus::Focus;

    fn mirrors() -> [Primary; 3] {
        let plain = || Primary::new(318.0, FocalLengthMm(1558.0));
        [
            plain().coating(Coating::new(0.87)),
            plain().conic(-0.7).layer(TurnedEdge::new(9.0, 330.0)).layer(Zone::new(90.0, 20.0, 40.0)),
            plain()
                .conic(0.4)
                .coating(Coating::new(0.9).ring(CoatingRing::new(120.0, 150.0, 0.5).softness_mm(2.0))),
        ]
    }

    #[test]
    fn eight_side_by_side_are_one_and_one() {
        let far = Star::from(Field::arcmin(11.0, -7.0));
        let near = Star { distance_mm: Some(40_000.0), ..far };
        for (primary, star) in mirrors().into_iter().flat_map(|p| [(p.clone(), far), (p, near)]) {
            let telescope = Prepared::new(&Train::builder(primary).build().expect("a sound train"));
            let wave = telescope.wavefront(star, Focus::LeastRms, 550.0).expect("a wavefront");
            let ratio = wave.image_focal_ratio().expect("a star has one");
            let plane = Plane::new(&wave.source, wave.reference_mm, ratio);
            for set in Instructions::ALL.into_iter().filter(|set| set.is_there()) {
                let mut lights = Lights::default();
                // Places inside and beyond, one of them on no line of sight at all.
                for k in 0..53 {
                    let (sin, cos) = (2.4 * f64::from(k)).sin_cos();
                    let share = 1.05 * f64::from(k) / 52.0;
                    lights.m[0].push(plane.rim.centre[0] + plane.rim.radius * share * cos);
                    lights.m[1].push(plane.rim.centre[1] + plane.rim.radius * share * sin);
                }
                lights.m[0].push(1.2);
                lights.m[1].push(0.0);
                lights.look(set, &plane);
                for i in 0..54 {
                    let (amplitude, path_nm) = plane
                        .light([lights.m[0][i], lights.m[1][i]])
                        .map_or((0.0, 0.0), |light| (light.amplitude, light.path_nm));
                    // Paths of 3 m are good to some 1e-12 mm.
                    assert!((lights.path_nm[i] - path_nm).abs() < 3e-6, "{set:?} {i}");
                    assert!((lights.amplitude[i] - amplitude).abs() <= 1e-13 * amplitude, "{set:?} {i}");
                }
                assert!(lights.amplitude[53].to_bits() == 0 && lights.path_nm[53].to_bits() == 0);
            }
        }
    }

    #[test]
    fn products_are_sums_of_phasors() {
        let list = |of: fn(f64) -> f64| (0..29).map(|k| of(f64::from(k))).collect::<Vec<f64>>();
        let forward =
            Lights { amplitude: list(|k| 1.0 + k), path_nm: list(|k| 9.0 * k * k), ..Lights::default() };
        let back =
            Lights { amplitude: list(|k| 2.0 - 0.1 * k), path_nm: list(|k| -31.0 * k), ..Lights::default() };
        let weight = list(|k| 0.3 + 0.01 * k * k);
        let copies = Copies { forward, back };
        let term = |i: usize| {
            let phase = std::f64::consts::TAU / 550.0 * copies.path_nm(i);
            let product = weight[i] * copies.forward.amplitude[i] * copies.back.amplitude[i];
            [product * phase.cos(), product * phase.sin()]
        };
        let sum = |part: usize| (0..29).map(|i| term(i)[part]).sum::<f64>();
        for set in Instructions::ALL.into_iter().filter(|set| set.is_there()) {
            let [re, im] = copies.products(set, &weight, 550.0);
            assert!((re - sum(0)).abs() < 1e-10 && (im - sum(1)).abs() < 1e-10, "{set:?}");
        }
    }
}
