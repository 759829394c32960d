//! The light of one row of the mirror behind a half-plane, by diffraction.
//!
//! A straight edge through the point E of its plane lets the part to its right pass. In the mirror's image beyond it, the
//! field of a row is
//!
//! ```text
//! U'(x) = U(x)/2 + (i/2pi) PV integral U(x')/(x - x') dx',   U = exp(2 pi i (path slit -> Q -> E)/lambda)
//! ```
//!
//! half of the field and half of its Hilbert transform; to its left the sign of the second term changes. The integral
//! is taken with the singularity subtracted, `(U(x') - U(x))/(x - x')`, on Gauss-Legendre nodes: this is smooth up to
//! the mirror's rim, where the subtracted part leaves the logarithm that makes the rim bright.
//!
//! Source: Rayleigh 1917, Phil. Mag. 33, 161 (from memory); the Hilbert transform of the half-plane derived anew.

use std::f64::consts::TAU;

use super::bench_picture::lit_stretches;
use super::bench_ray::Bench;
use super::opening::MaskOpening;
use crate::numeric::gauss;

/// Places in each stretch of a row at which the steepness of the path is looked at.
const LOOKS: usize = 9;

/// A straight edge, its slit, and how finely both integrals are taken.
#[derive(Clone, Debug)]
pub(super) struct HalfPlane {
    pub(super) bench: Bench,
    pub(super) openings: Vec<MaskOpening>,
    /// Where the edge stands, mm from the axis.
    pub(super) edge_mm: f64,
    /// +1 where light to the right of the edge passes, -1 where light to its left does.
    pub(super) passes: f64,
    pub(super) slit_width_mm: f64,
    pub(super) wavelengths_nm: Vec<f64>,
    /// Factor on all counts of nodes.
    pub(super) fineness: f64,
}

/// The waves at one point, one for each slit point and wavelength; real parts first, then imaginary parts.
type Waves = Vec<f64>;

impl HalfPlane {
    /// Brightness along a row at the given places; 1 is the mirror without the knife.
    pub(super) fn row(&self, y_mm: f64, x_mm: &[f64], pixel_mm: f64) -> Vec<f64> {
        let slit = self.slit_points();
        let panels: Vec<Panel> = self
            .panels(y_mm)
            .into_iter()
            .map(|stretch| {
                Panel::new(stretch, self.node_count(stretch.ends_mm, y_mm), &|x| self.waves(x, y_mm, &slit))
            })
            .collect();
        x_mm.iter().map(|x| self.brightness(*x, y_mm, pixel_mm, &panels, &slit)).collect()
    }

    /// Brightness at one place: |U'|^2, over the slit and the wavelengths.
    fn brightness(&self, x_mm: f64, y_mm: f64, pixel_mm: f64, panels: &[Panel], slit: &[(f64, f64)]) -> f64 {
        // A node here would divide rounding errors by nearly nothing, and a joint belongs to no panel: a hair aside the
        // picture is the same.
        let hair = 1e-5 * pixel_mm;
        let met = |at: f64| (at - x_mm).abs() < 0.1 * hair;
        let meets =
            |p: &Panel| p.stretch.ends_mm.into_iter().any(met) || p.nodes.iter().any(|(x, _)| met(*x));
        let x_mm = if panels.iter().any(meets) { x_mm + hair } else { x_mm };
        let columns = slit.len() * self.wavelengths_nm.len();
        let lit = panels.iter().any(|p| p.holds(x_mm));
        let here = if lit { self.waves(x_mm, y_mm, slit) } else { vec![0.0; 2 * columns] };
        let mut turned = vec![0.0; 2 * columns];
        for panel in panels {
            let near = if panel.holds(x_mm) {
                Some(here.clone())
            } else {
                panel.continued(x_mm, |x| self.waves(x, y_mm, slit))
            };
            panel.add_hilbert(x_mm, near, pixel_mm, &mut turned);
        }
        let sign = self.passes / TAU;
        let of = |c: usize| {
            let re = 0.5 * here[c] - sign * turned[columns + c];
            let im = 0.5 * here[columns + c] + sign * turned[c];
            slit[c % slit.len()].1 * (re * re + im * im)
        };
        (0..columns).map(of).sum::<f64>() / self.wavelengths_nm.len() as f64
    }

    /// How many numbers the waves of the widest row take.
    pub(super) fn values_of_a_row(&self) -> usize {
        let nodes: usize = self.panels(0.0).into_iter().map(|s| self.node_count(s.ends_mm, 0.0)).sum();
        2 * nodes * self.slit_points().len() * self.wavelengths_nm.len()
    }

    /// Points of the slit, mm, and the share of its light that each stands for.
    fn slit_points(&self) -> Vec<(f64, f64)> {
        // The phase between the two rims turns this often from one side of the slit to the other.
        let shortest = self.wavelengths_nm.iter().copied().fold(f64::INFINITY, f64::min);
        let spread_mm = 2.0 * self.bench.mirror().open_radius_mm() / self.bench.knife_height_mm();
        let range = TAU * self.slit_width_mm * 1e6 / shortest * spread_mm;
        let count = self.fineness * (range / 4.0 + 2.0 * range.cbrt() + 2.0);
        let half = self.slit_width_mm / 2.0;
        gauss::on_interval(count.ceil() as usize, -half, half)
            .map(|(s, w)| (s, w / self.slit_width_mm))
            .collect()
    }

    /// The lit stretches of a row, split where the figure has joints, mm.
    fn panels(&self, y_mm: f64) -> Vec<Stretch> {
        let mut panels = Vec::new();
        for (from, to) in lit_stretches(&self.openings, y_mm) {
            let mut joints = vec![from, to];
            let mirror = self.bench.mirror();
            let crossings = |radius_mm: f64| {
                let x = (radius_mm.powi(2) - y_mm * y_mm).max(0.0).sqrt();
                [-x, x].into_iter().filter(move |x| from < *x && *x < to && *x != 0.0)
            };
            joints.extend(mirror.breaks().iter().flat_map(|joint| crossings(joint.radius_mm)));
            let steps: Vec<f64> = mirror.mirror().jumps_mm().flat_map(crossings).collect();
            joints.sort_by(f64::total_cmp);
            joints.dedup();
            let last = joints.len() - 2;
            let stretch = |(k, pair): (usize, &[f64])| Stretch {
                ends_mm: [pair[0], pair[1]],
                joined: [k > 0, k < last],
                steps: [pair[0], pair[1]].map(|x| steps.contains(&x)),
            };
            panels.extend(joints.windows(2).enumerate().map(stretch));
        }
        panels
    }

    fn node_count(&self, [from_mm, to_mm]: [f64; 2], y_mm: f64) -> usize {
        let slope = |i: usize| {
            let x = from_mm + (to_mm - from_mm) * i as f64 / (LOOKS - 1) as f64;
            self.bench.path_slope(x, y_mm, self.edge_mm).abs()
        };
        let steepest = (0..LOOKS).map(slope).fold(0.0, f64::max);
        // The outermost points of the slit see a slope more.
        let slit = self.slit_width_mm / 2.0 / self.bench.knife_height_mm();
        let shortest = self.wavelengths_nm.iter().copied().fold(f64::INFINITY, f64::min);
        let range = TAU * 1e6 / shortest * (steepest + slit) * (to_mm - from_mm);
        // An even number: an odd one would put a node on the middle of the row, where a pixel is as well.
        2 * (self.fineness * (range / 4.0 + 3.3 * range.cbrt() + 8.0) / 2.0).ceil() as usize
    }

    /// The field at a point of the mirror, as the edge sees it.
    fn waves(&self, x_mm: f64, y_mm: f64, slit: &[(f64, f64)]) -> Waves {
        let columns = slit.len() * self.wavelengths_nm.len();
        let hit = self.bench.mirror().surface(x_mm, y_mm).position_mm;
        let home = self.bench.homeward_nm(hit, self.edge_mm);
        let mut waves = vec![0.0; 2 * columns];
        for (s, (slit_mm, _)) in slit.iter().enumerate() {
            let path = home + self.bench.outward_nm(hit, *slit_mm);
            for (l, wavelength) in self.wavelengths_nm.iter().enumerate() {
                let (sin, cos) = (TAU * path / wavelength).sin_cos();
                let column = l * slit.len() + s;
                (waves[column], waves[columns + column]) = (cos, sin);
            }
        }
        waves
    }
}

/// A stretch of a row on which the field is smooth.
#[derive(Clone, Copy)]
struct Stretch {
    ends_mm: [f64; 2],
    /// Which ends touch another stretch, rather than the dark.
    joined: [bool; 2],
    /// At which of these the glass has a step, and the field with it.
    steps: [bool; 2],
}

/// A stretch with its nodes, and what the field is there.
struct Panel {
    stretch: Stretch,
    end_waves: [Waves; 2],
    /// Places and weights, mm.
    nodes: Vec<(f64, f64)>,
    waves: Vec<Waves>,
}

impl Panel {
    fn new(stretch: Stretch, count: usize, field: &dyn Fn(f64) -> Waves) -> Self {
        let [from, to] = stretch.ends_mm;
        let nodes: Vec<(f64, f64)> = gauss::on_interval(count, from, to).collect();
        let waves = nodes.iter().map(|(x, _)| field(*x)).collect();
        // At a step the field is what it is on this side.
        let hair = 1e-9 * (to - from);
        let end = |end: usize| match (stretch.steps[end], end) {
            (false, _) => stretch.ends_mm[end],
            (true, 0) => from + hair,
            (true, _) => to - hair,
        };
        Self { stretch, end_waves: [field(end(0)), field(end(1))], nodes, waves }
    }

    fn holds(&self, x_mm: f64) -> bool {
        self.stretch.ends_mm[0] < x_mm && x_mm < self.stretch.ends_mm[1]
    }

    /// What continues the field of this panel smoothly to a place just outside of it: the field turned about the nearer
    /// end. Nothing where the place is so far that the integrand is smooth without it.
    fn continued(&self, x_mm: f64, field: impl Fn(f64) -> Waves) -> Option<Waves> {
        let [from, to] = self.stretch.ends_mm;
        let nearer = usize::from((x_mm - to).abs() < (x_mm - from).abs());
        let end = self.stretch.ends_mm[nearer];
        if (x_mm - end).abs() > 0.5 * (to - from) {
            return None;
        }
        let within = field(2.0 * end - x_mm);
        Some(self.end_waves[nearer].iter().zip(within).map(|(end, within)| 2.0 * end - within).collect())
    }

    /// Adds this panel's part of the integral of U(x')/(x - x').
    ///
    /// `near` is the field at x, or its continuation, which is subtracted under the integral and comes back with the
    /// closed integral of 1/(x - x').
    fn add_hilbert(&self, x_mm: f64, near: Option<Waves>, pixel_mm: f64, sums: &mut Waves) {
        let mut quadrature = 0.0;
        for ((node, weight), wave) in self.nodes.iter().zip(&self.waves) {
            let share = weight / (x_mm - node);
            quadrature += share;
            for (sum, value) in sums.iter_mut().zip(wave) {
                *sum += share * value;
            }
        }
        let Some(near) = near else { return };
        // On a rim, and on a step, the brightness has no bound: it is shown at half a pixel from it. At a joint two
        // logarithms cancel; the limit only keeps them finite.
        let distance = |end: usize| {
            let least = if self.stretch.joined[end] && !self.stretch.steps[end] { 1e-9 } else { 0.5 };
            (x_mm - self.stretch.ends_mm[end]).abs().max(least * pixel_mm).ln()
        };
        let rest = distance(0) - distance(1) - quadrature;
        for (sum, value) in sums.iter_mut().zip(near) {
            *sum += rest * value;
        }
    }
}
