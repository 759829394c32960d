//! The inner loops of the fast lit fraction: eight angles side by side over a bare conic mirror. Products are not fused: the
//! answers have the same bits with all instructions.

// A helper that is not inlined is compiled without the instructions of its caller.
#![allow(clippy::inline_always)]

use super::stops::{Circle, Met};
use crate::numeric::phase::sine_and_cosine;
use crate::numeric::simd::{Instructions, each_set};

/// Angles that are taken side by side.
pub(super) const LANES: usize = 8;
type Lanes = [f64; LANES];

/// Angles at which every curve is looked at.
pub(super) const LOOKS: usize = 2 * LANES;
/// Their cosines and sines.
pub(super) type Looks = ([f64; LOOKS], [f64; LOOKS]);

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
    /// Which instructions the loops use.
    pub(super) set: Instructions,
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

    /// The radii at which light begins to pass outside of a circle, for some angles, and the last step toward them.
    ///
    /// A parabola through the centre, half way and the rim, then secants: always the root where the excess rises.
    ///
    /// Loops without an exit, a call or a sum across the lanes, and too long to be unrolled: only such become vector
    /// instructions. `clamp` has an exit, for limits that are none, and the greatest of all lanes is a sum across.
    #[inline(always)]
    fn solve<const UP: bool, const N: usize>(
        &self,
        circle: &Circle,
        at_centre: f64,
        cos: &[f64; N],
        sin: &[f64; N],
    ) -> ([f64; N], f64) {
        let (rim, half, far, end_of_all) =
            (self.rim_mm, 0.5 * self.rim_mm, FAR * self.rim_mm, 2.0 * self.rim_mm);
        let per_bend = 1.0 / (2.0 * half * half);
        let near = 1e-7 * rim;
        // 1 where a radius is looked for, 0 where it lies too far beyond the rim to be needed.
        let mut wanted = [0.0; N];
        let (mut r, mut last, mut value, mut slope) = ([0.0; N], [0.0; N], [0.0; N], [0.0; N]);
        let mut change = [0.0_f64; N];
        for i in 0..N {
            let middle = self.excess::<UP>(circle, half, cos[i], sin[i]);
            let end = self.excess::<UP>(circle, rim, cos[i], sin[i]);
            let bend = (at_centre - 2.0 * middle + end) * per_bend;
            let rise = (4.0 * middle - 3.0 * at_centre - end) / (2.0 * half);
            let root = greater(rise * rise - 4.0 * bend * at_centre, 0.0).sqrt();
            let first = -2.0 * at_centre / (rise + root);
            // Far beyond the rim a conic may have no height at all; what is no number lies there too.
            let is_near = if first <= far && first >= -far { 1.0 } else { 0.0 };
            let start = if is_near > 0.0 { first } else { far };
            let at_start = self.excess::<UP>(circle, start, cos[i], sin[i]);
            let steep = rise + 2.0 * bend * start;
            let moved = if is_near > 0.0 { at_start / steep } else { 0.0 };
            (wanted[i], last[i], value[i], slope[i]) = (is_near, start, at_start, steep);
            r[i] = lesser(greater(start - moved, 0.0), end_of_all);
        }
        let mut step = f64::INFINITY;
        for _ in 0..STEPS {
            for i in 0..N {
                let now = self.excess::<UP>(circle, r[i], cos[i], sin[i]);
                let moved = r[i] - last[i];
                // Below this a difference of two values tells no slope.
                let tells = moved.abs() > near;
                let secant = (now - value[i]) / if tells { moved } else { 1.0 };
                let steep = if tells { secant } else { slope[i] };
                let by = if wanted[i] > 0.0 { now / steep } else { 0.0 };
                (last[i], value[i], slope[i], change[i]) = (r[i], now, steep, by);
                r[i] = lesser(greater(r[i] - by, 0.0), end_of_all);
            }
            step = change.iter().fold(0.0, |most: f64, by| most.max(by.abs()));
            if step <= 1e-8 * rim {
                break;
            }
        }
        // `greater` and `lesser` let a number that is none go by.
        let wrong = change.iter().any(|by| !by.is_finite());
        (r, if wrong { f64::NAN } else { step })
    }

    #[inline(always)]
    fn radii_of<const N: usize>(
        &self,
        circle: &Circle,
        at_centre: f64,
        cos: &[f64; N],
        sin: &[f64; N],
    ) -> ([f64; N], f64) {
        match circle.met {
            Met::Mirror => ([circle.radius_mm; N], 0.0),
            Met::Down => self.solve::<false, N>(circle, at_centre, cos, sin),
            Met::Up => self.solve::<true, N>(circle, at_centre, cos, sin),
        }
    }
}

/// The smaller of two numbers; unlike [`f64::min`] one instruction.
#[inline(always)]
fn lesser(a: f64, b: f64) -> f64 {
    if a < b { a } else { b }
}

/// The larger of two numbers.
#[inline(always)]
fn greater(a: f64, b: f64) -> f64 {
    if a > b { a } else { b }
}

/// The sum of eight numbers, always in the same order.
#[inline(always)]
fn sum(of: &Lanes) -> f64 {
    ((of[0] + of[4]) + (of[2] + of[6])) + ((of[1] + of[5]) + (of[3] + of[7]))
}

/// The excess on the circle of this radius, for the angles of the looks.
pub(super) fn around(sight: &Sight, circle: &Circle, r: f64, looks: &Looks) -> [f64; LOOKS] {
    around_in_lanes(sight.set, sight, circle, r, looks)
}

each_set! {
    fn around_in_lanes(sight: &Sight, circle: &Circle, r: f64, looks: &Looks) -> [f64; LOOKS] = around_with;
}

#[inline(always)]
fn around_with<const FUSED: bool>(sight: &Sight, circle: &Circle, r: f64, looks: &Looks) -> [f64; LOOKS] {
    let (cos, sin) = (&looks.0, &looks.1);
    let mut excess = [0.0; LOOKS];
    match circle.met {
        Met::Mirror => excess = [r - circle.radius_mm; LOOKS],
        Met::Down => {
            for i in 0..LOOKS {
                excess[i] = sight.excess::<false>(circle, r, cos[i], sin[i]);
            }
        }
        Met::Up => {
            for i in 0..LOOKS {
                excess[i] = sight.excess::<true>(circle, r, cos[i], sin[i]);
            }
        }
    }
    excess
}

/// The excess on the rim at an angle, and a step before and after it.
pub(super) fn three(sight: &Sight, circle: &Circle, angle: f64, step: f64) -> [f64; 3] {
    three_in_lanes(sight.set, sight, circle, angle, step)
}

each_set! {
    fn three_in_lanes(sight: &Sight, circle: &Circle, angle: f64, step: f64) -> [f64; 3] = three_with;
}

#[inline(always)]
fn three_with<const FUSED: bool>(sight: &Sight, circle: &Circle, angle: f64, step: f64) -> [f64; 3] {
    let mut excess = [0.0; LANES];
    match circle.met {
        Met::Mirror => excess = [sight.rim_mm - circle.radius_mm; LANES],
        Met::Down => {
            for i in 0..LANES {
                let (sin, cos) = sine_and_cosine(angle + step * (i as f64 - 1.0));
                excess[i] = sight.excess::<false>(circle, sight.rim_mm, cos, sin);
            }
        }
        Met::Up => {
            for i in 0..LANES {
                let (sin, cos) = sine_and_cosine(angle + step * (i as f64 - 1.0));
                excess[i] = sight.excess::<true>(circle, sight.rim_mm, cos, sin);
            }
        }
    }
    [excess[0], excess[1], excess[2]]
}

/// The radii at which light begins to pass outside of a circle, for the angles of the looks, and the last step
/// toward them.
pub(super) fn radii(sight: &Sight, circle: &Circle, at_centre: f64, looks: &Looks) -> ([f64; LOOKS], f64) {
    radii_in_lanes(sight.set, sight, circle, at_centre, looks)
}

each_set! {
    fn radii_in_lanes(
        sight: &Sight, circle: &Circle, at_centre: f64, looks: &Looks
    ) -> ([f64; LOOKS], f64) = radii_with;
}

#[inline(always)]
fn radii_with<const FUSED: bool>(
    sight: &Sight,
    circle: &Circle,
    at_centre: f64,
    looks: &Looks,
) -> ([f64; LOOKS], f64) {
    sight.radii_of(circle, at_centre, &looks.0, &looks.1)
}

/// The radius for one angle.
pub(super) fn radius(sight: &Sight, circle: &Circle, at_centre: f64, angle: f64) -> f64 {
    let (sin, cos) = sine_and_cosine(angle);
    sight.radii_of(circle, at_centre, &[cos], &[sin]).0[0]
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
pub(super) fn panel(sight: &Sight, takers: &[Taker], ends: (f64, f64)) -> Panel {
    panel_in_lanes(sight.set, sight, takers, ends)
}

each_set! {
    fn panel_in_lanes(sight: &Sight, takers: &[Taker], ends: (f64, f64)) -> Panel = panel_with;
}

#[inline(always)]
fn panel_with<const FUSED: bool>(sight: &Sight, takers: &[Taker], (from, to): (f64, f64)) -> Panel {
    let (middle, half) = (0.5 * (from + to), 0.5 * (to - from));
    let (mut cos, mut sin, mut radial) = ([0.0; LANES], [0.0; LANES], [0.0; LANES]);
    for i in 0..LANES {
        (sin[i], cos[i]) = sine_and_cosine(middle + half * NODES[i]);
        radial[i] = sight.towards[0] * cos[i] + sight.towards[1] * sin[i];
    }
    let (mut inner, mut outer, mut free) = ([0.0_f64; LANES], [sight.rim_mm; LANES], [sight.rim_mm; LANES]);
    let mut sums = Panel { taken_mm2: [0.0; MOST], outer_mm2: 0.0, error_mm2: 0.0 };
    let (mut share, mut seventh) = ([0.0; LANES], [0.0; LANES]);
    for taker in takers {
        let (radius, step) = sight.radii_of(&taker.circle, taker.at_centre, &cos, &sin);
        if taker.is_shadow {
            for i in 0..LANES {
                let edge = greater(lesser(radius[i], outer[i]), inner[i]);
                let taken = sight.within(radial[i], edge) - sight.within(radial[i], inner[i]);
                (share[i], seventh[i]) = (taken, SEVENTH[i] * taken);
                inner[i] = edge;
            }
        } else {
            for i in 0..LANES {
                let edge = lesser(greater(radius[i], 0.0), outer[i]);
                let (from_mm, to_mm) = (greater(edge, inner[i]), greater(outer[i], inner[i]));
                let taken = sight.within(radial[i], to_mm) - sight.within(radial[i], from_mm);
                (share[i], seventh[i]) = (taken, SEVENTH[i] * taken);
                outer[i] = edge;
                free[i] = lesser(edge, free[i]);
            }
        }
        let (taken, error) = summed(&share, &seventh);
        sums.taken_mm2[taker.place] += half * taken;
        sums.error_mm2 += half * (error + 2.0 * sight.rim_mm * step * 1e-3);
    }
    for i in 0..LANES {
        let taken = sight.within(radial[i], sight.rim_mm) - sight.within(radial[i], free[i]);
        (share[i], seventh[i]) = (taken, SEVENTH[i] * taken);
    }
    let (taken, error) = summed(&share, &seventh);
    sums.outer_mm2 = half * taken;
    sums.error_mm2 += half * error;
    sums
}

/// The integral on -1 to 1 of what is taken at the nodes, and its error.
#[inline(always)]
fn summed(taken: &Lanes, seventh: &Lanes) -> (f64, f64) {
    let (mut a, mut b) = ([0.0; LANES], [0.0; LANES]);
    for i in 0..LANES {
        (a[i], b[i]) = (WEIGHTS[i] * taken[i], WEIGHTS[i] * seventh[i]);
    }
    let largest = taken.iter().fold(0.0, |most, t| greater(*t, most));
    (sum(&a), rule_error(sum(&b), largest))
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
