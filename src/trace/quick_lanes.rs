//! The inner loops of the fast lit fraction: eight angles side by side over a bare conic mirror.

// A helper that is not inlined is compiled without the instructions of its caller.
#![allow(clippy::inline_always)]

use multiversion::multiversion;

use super::stops::{Circle, Met};
use crate::numeric::phase::sine_and_cosine;

/// Angles that are taken side by side.
pub(super) const LANES: usize = 8;
pub(super) type Lanes = [f64; LANES];

/// Stops that one train may have here.
pub(super) const MOST: usize = 8;

/// Radii beyond this many rim radii are not told apart.
const FAR: f64 = 1.4;
/// Secant steps toward a radius; three or four are needed.
const STEPS: usize = 12;

/// Nodes and weights of the Gauss-Legendre rule of eight nodes (Abramowitz & Stegun 1964, table 25.4).
const NODES: Lanes = [
    -0.960_289_856_497_536_2,
    -0.796_666_477_413_626_7,
    -0.525_532_409_916_329,
    -0.183_434_642_495_649_8,
    0.183_434_642_495_649_8,
    0.525_532_409_916_329,
    0.796_666_477_413_626_7,
    0.960_289_856_497_536_2,
];
const WEIGHTS: Lanes = [
    0.101_228_536_290_376_26,
    0.222_381_034_453_374_47,
    0.313_706_645_877_887_3,
    0.362_683_783_378_361_96,
    0.362_683_783_378_361_96,
    0.313_706_645_877_887_3,
    0.222_381_034_453_374_47,
    0.101_228_536_290_376_26,
];

/// A mirror without figure, and the direction to the star.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sight {
    pub(super) curvature_per_mm: f64,
    /// 1 + conic constant.
    pub(super) shape: f64,
    pub(super) rim_mm: f64,
    /// Unit vector from the vertex toward the star.
    pub(super) towards: [f64; 3],
}

impl Sight {
    /// How far outside of a circle the light at (r, angle) passes: (d^2 - R^2)/(2 R), which is the distance where it is
    /// small and is smooth everywhere, mm.
    #[inline(always)]
    fn excess<const UP: bool>(&self, circle: &Circle, r: f64, cos: f64, sin: f64) -> f64 {
        let [tx, ty, tz] = self.towards;
        let cr = self.curvature_per_mm * r;
        let root = (1.0 - self.shape * cr * cr).sqrt();
        let (z, slope) = (cr * r / (1.0 + root), cr / root);
        let (x, y) = (r * cos, r * sin);
        let [dx, dy, dz] = if UP {
            let beam = tz - (tx * cos + ty * sin) * slope;
            let scale = 2.0 * beam / (1.0 + slope * slope);
            [-tx - scale * slope * cos, -ty - scale * slope * sin, scale - tz]
        } else {
            [tx, ty, tz]
        };
        let t = (circle.height_mm + circle.tilt * x - z) / (dz - circle.tilt * dx);
        let (px, py) = (x + dx * t + circle.offset_mm, y + dy * t);
        let radius = circle.radius_mm;
        (px * px + py * py - radius * radius) * (0.5 / radius)
    }

    /// The same for a circle of any kind.
    #[inline]
    pub(super) fn excess_mm(&self, circle: &Circle, r: f64, angle: f64) -> f64 {
        let (sin, cos) = sine_and_cosine(angle);
        match circle.met {
            Met::Mirror => r - circle.radius_mm,
            Met::Down => self.excess::<false>(circle, r, cos, sin),
            Met::Up => self.excess::<true>(circle, r, cos, sin),
        }
    }

    /// The integral of |d.N| r dr from the centre to a radius: tz r^2/2 less the radial part of the star's direction times
    /// the integral of z' r, a series in (1 + K) (c r)^2.
    #[inline(always)]
    fn within(&self, radial: f64, r: f64) -> f64 {
        /// Coefficients of (1 - u)^(-1/2), each over 2n + 3.
        const SERIES: [f64; 9] = [
            1.0 / 3.0,
            0.5 / 5.0,
            0.375 / 7.0,
            0.312_5 / 9.0,
            0.273_437_5 / 11.0,
            0.246_093_75 / 13.0,
            0.225_585_937_5 / 15.0,
            0.209_472_656_25 / 17.0,
            0.196_380_615_234_375 / 19.0,
        ];
        let u = self.shape * (self.curvature_per_mm * r) * (self.curvature_per_mm * r);
        let mut sum = SERIES[8];
        for term in SERIES.iter().rev().skip(1) {
            sum = sum * u + term;
        }
        self.towards[2] * r * r * 0.5 - radial * self.curvature_per_mm * r * r * r * sum
    }

    /// The radii at which light begins to pass outside of a circle, for eight angles, and the last step toward them.
    ///
    /// A parabola through the centre, half way and the rim, then secants: always the root where the excess rises.
    #[inline(always)]
    fn solve<const UP: bool>(
        &self,
        circle: &Circle,
        at_centre: f64,
        cos: &Lanes,
        sin: &Lanes,
    ) -> (Lanes, f64) {
        let (rim, half) = (self.rim_mm, 0.5 * self.rim_mm);
        let mut beyond = [false; LANES];
        let (mut r, mut last, mut value, mut slope) =
            ([0.0; LANES], [0.0; LANES], [0.0; LANES], [0.0; LANES]);
        for i in 0..LANES {
            let middle = self.excess::<UP>(circle, half, cos[i], sin[i]);
            let end = self.excess::<UP>(circle, rim, cos[i], sin[i]);
            let bend = (at_centre - 2.0 * middle + end) / (2.0 * half * half);
            let rise = (4.0 * middle - 3.0 * at_centre - end) / (2.0 * half);
            let root = (rise * rise - 4.0 * bend * at_centre).max(0.0).sqrt();
            last[i] = -2.0 * at_centre / (rise + root);
            // Far beyond the rim no radius is needed, and a conic may have none.
            beyond[i] = last[i] > FAR * rim || !last[i].is_finite();
            last[i] = if beyond[i] { FAR * rim } else { last[i] };
            slope[i] = rise + 2.0 * bend * last[i];
            value[i] = self.excess::<UP>(circle, last[i], cos[i], sin[i]);
            r[i] = if beyond[i] { last[i] } else { (last[i] - value[i] / slope[i]).clamp(0.0, 2.0 * rim) };
        }
        let mut step = f64::INFINITY;
        for _ in 0..STEPS {
            step = 0.0;
            for i in 0..LANES {
                let now = self.excess::<UP>(circle, r[i], cos[i], sin[i]);
                let moved = r[i] - last[i];
                // Below this a difference of two values tells no slope.
                let secant = (now - value[i]) / if moved.abs() > 1e-7 * rim { moved } else { 1.0 };
                slope[i] = if moved.abs() > 1e-7 * rim { secant } else { slope[i] };
                let change = if beyond[i] { 0.0 } else { now / slope[i] };
                (last[i], value[i]) = (r[i], now);
                r[i] = (r[i] - change).clamp(0.0, 2.0 * rim);
                step = change.abs().max(step);
            }
            if step <= 1e-8 * rim {
                break;
            }
        }
        let wrong = r.iter().any(|radius| !radius.is_finite());
        (r, if wrong { f64::NAN } else { step })
    }

    #[inline(always)]
    fn radii_of(&self, circle: &Circle, at_centre: f64, cos: &Lanes, sin: &Lanes) -> (Lanes, f64) {
        match circle.met {
            Met::Mirror => ([circle.radius_mm; LANES], 0.0),
            Met::Down => self.solve::<false>(circle, at_centre, cos, sin),
            Met::Up => self.solve::<true>(circle, at_centre, cos, sin),
        }
    }
}

/// The excess on the circle of this radius, for eight angles.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+fma", "x86_64+avx2+fma", "aarch64+neon"))]
pub(super) fn around(sight: &Sight, circle: &Circle, r: f64, cos: &Lanes, sin: &Lanes) -> Lanes {
    let mut excess = [0.0; LANES];
    match circle.met {
        Met::Mirror => excess = [r - circle.radius_mm; LANES],
        Met::Down => {
            for i in 0..LANES {
                excess[i] = sight.excess::<false>(circle, r, cos[i], sin[i]);
            }
        }
        Met::Up => {
            for i in 0..LANES {
                excess[i] = sight.excess::<true>(circle, r, cos[i], sin[i]);
            }
        }
    }
    excess
}

/// The radii at which light begins to pass outside of a circle, for eight angles, and the last step toward them.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+fma", "x86_64+avx2+fma", "aarch64+neon"))]
pub(super) fn radii(
    sight: &Sight,
    circle: &Circle,
    at_centre: f64,
    cos: &Lanes,
    sin: &Lanes,
) -> (Lanes, f64) {
    sight.radii_of(circle, at_centre, cos, sin)
}

/// A stop that cuts into the rim, or the shadow, as the integral over a panel takes it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Taker {
    pub(super) circle: Circle,
    /// The excess at the mirror's centre.
    pub(super) at_centre: f64,
    /// Where the part stands in the order of the train's stops.
    pub(super) place: usize,
    pub(super) is_shadow: bool,
}

/// What a panel of angles holds, mm^2.
#[derive(Clone, Copy, Debug)]
pub(super) struct Panel {
    /// What each stop takes, in the order of the train's stops.
    pub(super) taken_mm2: [f64; MOST],
    /// What the stops other than shadows take together of the whole disc.
    pub(super) outer_mm2: f64,
    /// Estimated error, mm^2.
    pub(super) error_mm2: f64,
}

/// Integrates what the takers stop between two angles, by eight Gauss nodes.
///
/// The error estimate: the seventh Legendre coefficient of what is taken, squared, over its size: with coefficients that
/// fall by a steady factor that is about the fourteenth one, and the rule's own error is the sixteenth.
#[multiversion(targets("x86_64+avx512f+avx512vl+avx512dq+fma", "x86_64+avx2+fma", "aarch64+neon"))]
pub(super) fn panel(sight: &Sight, takers: &[Taker], (from, to): (f64, f64)) -> Panel {
    let (middle, half) = (0.5 * (from + to), 0.5 * (to - from));
    let (mut cos, mut sin, mut radial) = ([0.0; LANES], [0.0; LANES], [0.0; LANES]);
    for i in 0..LANES {
        (sin[i], cos[i]) = sine_and_cosine(middle + half * NODES[i]);
        radial[i] = sight.towards[0] * cos[i] + sight.towards[1] * sin[i];
    }
    let (mut inner, mut outer, mut free) = ([0.0_f64; LANES], [sight.rim_mm; LANES], [sight.rim_mm; LANES]);
    let mut sums = Panel { taken_mm2: [0.0; MOST], outer_mm2: 0.0, error_mm2: 0.0 };
    for taker in takers {
        let (radius, step) = sight.radii_of(&taker.circle, taker.at_centre, &cos, &sin);
        let (mut sum, mut seventh, mut largest) = (0.0, 0.0, 0.0_f64);
        for i in 0..LANES {
            let (from_mm, to_mm) = if taker.is_shadow {
                let edge = radius[i].min(outer[i]).max(inner[i]);
                let taken = (inner[i], edge);
                inner[i] = edge;
                taken
            } else {
                let edge = radius[i].clamp(0.0, outer[i]);
                let taken = (edge.max(inner[i]), outer[i].max(inner[i]));
                outer[i] = edge;
                free[i] = free[i].min(edge);
                taken
            };
            let taken = sight.within(radial[i], to_mm) - sight.within(radial[i], from_mm);
            sum += WEIGHTS[i] * taken;
            seventh += WEIGHTS[i] * SEVENTH[i] * taken;
            largest = largest.max(taken);
        }
        sums.taken_mm2[taker.place] += half * sum;
        sums.error_mm2 += half * (rule_error(seventh, largest) + 2.0 * sight.rim_mm * step * 1e-3);
    }
    let (mut sum, mut seventh, mut largest) = (0.0, 0.0, 0.0_f64);
    for i in 0..LANES {
        let taken = sight.within(radial[i], sight.rim_mm) - sight.within(radial[i], free[i]);
        sum += WEIGHTS[i] * taken;
        seventh += WEIGHTS[i] * SEVENTH[i] * taken;
        largest = largest.max(taken);
    }
    sums.outer_mm2 = half * sum;
    sums.error_mm2 += half * rule_error(seventh, largest);
    sums
}

/// The Legendre polynomial of degree 7 at the nodes, times 15/2.
const SEVENTH: Lanes = {
    let mut values = [0.0; LANES];
    let mut i = 0;
    while i < LANES {
        let x = NODES[i];
        let x2 = x * x;
        values[i] = 7.5 * x * (((429.0 * x2 - 693.0) * x2 + 315.0) * x2 - 35.0) / 16.0;
        i += 1;
    }
    values
};

/// The error of the rule on -1 to 1 from the seventh coefficient and the size of what is integrated.
#[inline(always)]
fn rule_error(seventh: f64, largest: f64) -> f64 {
    if largest > 0.0 { 2.0 * seventh * seventh / largest } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::gauss::gauss_legendre;

    #[test]
    fn the_rule_is_the_general_one() {
        let rule = gauss_legendre(LANES);
        for i in 0..LANES {
            assert!((rule.nodes[i] - NODES[i]).abs() < 1e-15 && (rule.weights[i] - WEIGHTS[i]).abs() < 1e-15);
        }
        // Orthogonality: the polynomial of degree 7 has no share of lower powers, and norm 2/15.
        for power in 0..7 {
            let sum: f64 = (0..LANES).map(|i| WEIGHTS[i] * SEVENTH[i] * NODES[i].powi(power)).sum();
            assert!(sum.abs() < 1e-13, "power {power}: {sum:e}");
        }
        let norm: f64 = (0..LANES).map(|i| WEIGHTS[i] * (SEVENTH[i] / 7.5).powi(2)).sum();
        assert!((norm - 2.0 / 15.0).abs() < 1e-14);
    }
}
