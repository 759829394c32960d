//! Where the nodes of a pupil lie in the image's own rates, and what they count.
//!
//! A star on the axis, or one in the plane of the diagonal, mostly shines on a pupil whose upper half mirrors the lower one. The
//! light in its image is then that of one half, counted twice, and even in the coordinate across.

// A helper that is not inlined is compiled without the instructions of its caller.
#![allow(clippy::inline_always)]

use super::lanes::LANES;
use super::source::Pupil;
use crate::numeric::phase::sine_and_cosine;
use crate::numeric::simd::{Instructions, each_set};
use crate::numeric::sums;

/// The largest odd part of the light, as a share of all of it, and of the path, in waves, that is rounding: paths of a metre and
/// more are good to 1e-9 of a wave for a node.
const ROUNDING: f64 = 1e-12;
const ROUNDING_WAVES: f64 = 1e-10;

/// Places of the list of nodes from which they are taken in turn.
pub(super) const STREAMS: usize = 16;

/// Where the nodes lie and what they count, whatever the wavelength.
pub(super) struct Places {
    /// Rates along and across: the conjugate coordinate with the other sign.
    pub(super) along: Vec<f64>,
    pub(super) across: Vec<f64>,
    pub(super) path_nm: Vec<f64>,
    /// Light of each node as a share of the whole.
    pub(super) light: Vec<f64>,
    /// Middle of the rates along and across.
    pub(super) middle: [f64; 2],
    /// Half-width of the rates in both directions, one square for both.
    pub(super) half: f64,
    /// The largest distance from the middle.
    pub(super) radius: f64,
    /// The lower half, which mirrors the upper one, has been left out, and the upper one counts twice.
    pub(super) is_even: bool,
}

impl Places {
    /// The nodes as seen from a reference point. The lower half may be left out if paths agree for waves of this length.
    pub(super) fn new(
        set: Instructions,
        pupil: &Pupil,
        reference_mm: [f64; 3],
        shortest_nm: Option<f64>,
    ) -> Self {
        let [along, across, path_nm] = pupil.rates(set, reference_mm);
        let mut light: Vec<f64> = pupil.weight.iter().zip(&pupil.amplitude).map(|(w, a)| w * a).collect();
        let per_peak = sums::pairwise(&light).recip();
        for share in &mut light {
            *share *= per_peak;
        }
        let ends = |rates: &[f64]| {
            rates.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &r| {
                (if r < l { r } else { l }, if r > h { r } else { h })
            })
        };
        let (ends_along, ends_across) = (ends(&along), ends(&across));
        let half = 0.5 * (ends_along.1 - ends_along.0).max(ends_across.1 - ends_across.0);
        let middle = [f64::midpoint(ends_along.0, ends_along.1), f64::midpoint(ends_across.0, ends_across.1)];
        let mut places = Self { along, across, path_nm, light, middle, half, radius: 0.0, is_even: false };
        if shortest_nm.is_some_and(|nm| places.lower_half_mirrors_the_upper(set, nm)) {
            places.fold();
        }
        places.radius = places.farthest();
        places
    }

    fn farthest(&self) -> f64 {
        let square = self.along.iter().zip(&self.across).fold(0.0, |most: f64, (u, v)| {
            let (x, y) = (u - self.middle[0], v - self.middle[1]);
            let square = x * x + y * y;
            if square > most { square } else { most }
        });
        square.sqrt()
    }

    /// A rate across that is 0 but for rounding.
    fn on_the_line(&self) -> f64 {
        1e-12 * self.half
    }

    /// Whether nodes above and below cancel in sums that no pupil makes 0 by chance: an odd function of the rate across, of all
    /// azimuthal orders, alone and times the path.
    fn lower_half_mirrors_the_upper(&self, set: Instructions, shortest_nm: f64) -> bool {
        if self.middle[1].abs() > self.on_the_line() {
            return false;
        }
        let scale = [17.3 / self.half, 23.1 / self.half];
        let nodes = (&self.along[..], &self.across[..], &self.light[..], &self.path_nm[..]);
        let [light, paths] = odd_parts(set, nodes, scale, self.on_the_line());
        light <= ROUNDING && paths <= ROUNDING_WAVES * shortest_nm
    }

    /// Leaves out the lower half and counts the upper one twice.
    fn fold(&mut self) {
        let line = self.on_the_line();
        let mut kept = 0;
        for i in 0..self.across.len() {
            let v = self.across[i];
            if v < -line {
                continue;
            }
            let times = if v > line { 2.0 } else { 1.0 };
            (self.along[kept], self.across[kept]) = (self.along[i], v);
            (self.path_nm[kept], self.light[kept]) = (self.path_nm[i], times * self.light[i]);
            kept += 1;
        }
        for list in [&mut self.along, &mut self.across, &mut self.path_nm, &mut self.light] {
            list.truncate(kept);
        }
        self.middle[1] = 0.0;
        self.is_even = true;
    }

    /// The numbers of the nodes in the order in which they are spread, so many at a time.
    ///
    /// Neighbours of the list lie beside each other in the net; taken from sixteen places of the list in turn, a node does not wait
    /// for what its neighbour has just written.
    pub(super) fn blocks(&self, size: usize) -> impl Iterator<Item = Vec<usize>> {
        let (count, part) = (self.light.len(), self.light.len().div_ceil(STREAMS));
        let rounds = size / STREAMS;
        (0..part).step_by(rounds).map(move |from| {
            let mut block = Vec::with_capacity(size);
            for k in from..(from + rounds).min(part) {
                block.extend((k..count).step_by(part));
            }
            block
        })
    }
}

type Columns<'a> = (&'a [f64], &'a [f64], &'a [f64], &'a [f64]);

each_set! {
    /// The sum over nodes (along, across, light, path) of an odd function of the rate across times the light, and of that times
    /// the path: their sizes.
    fn odd_parts(nodes: Columns<'_>, scale: [f64; 2], line: f64) -> [f64; 2] = odd_parts_with;
}

#[inline(always)]
fn odd_parts_with<const FUSED: bool>(
    (along, across, light, path): Columns<'_>,
    scale: [f64; 2],
    line: f64,
) -> [f64; 2] {
    let mut sums = [[0.0; LANES]; 4];
    let count = along.len();
    let (across, light, path) = (&across[..count], &light[..count], &path[..count]);
    let mut start = 0;
    while start < count {
        let (mut u, mut v, mut l, mut w) = ([0.0; LANES], [0.0; LANES], [0.0; LANES], [0.0; LANES]);
        let held = (count - start).min(LANES);
        u[..held].copy_from_slice(&along[start..start + held]);
        v[..held].copy_from_slice(&across[start..start + held]);
        l[..held].copy_from_slice(&light[start..start + held]);
        w[..held].copy_from_slice(&path[start..start + held]);
        for lane in 0..LANES {
            let side = if v[lane] > line {
                l[lane]
            } else if v[lane] < -line {
                -l[lane]
            } else {
                0.0
            };
            let (sine, cosine) = sine_and_cosine(scale[0] * u[lane] + scale[1] * v[lane].abs());
            let path = w[lane] - path[0];
            sums[0][lane] += side * sine;
            sums[1][lane] += side * cosine;
            sums[2][lane] += side * sine * path;
            sums[3][lane] += side * cosine * path;
        }
        start += LANES;
    }
    let [a, b, c, d] = sums.map(|lanes| lanes.iter().sum::<f64>());
    [a.hypot(b), c.hypot(d)]
}

each_set! {
    /// Rates along and across, and path in nm, of hit points behind paths `down` as seen from a reference point.
    pub(super) fn rates_of_hits(
        hits_mm: &[[f64; 3]],
        down_mm: &[f64],
        reference_mm: [f64; 3],
        nm_per_mm: f64,
        found: [&mut [f64]; 3],
    ) = rates_of_hits_with;
}

#[inline(always)]
fn rates_of_hits_with<const FUSED: bool>(
    hits_mm: &[[f64; 3]],
    down_mm: &[f64],
    reference_mm: [f64; 3],
    nm_per_mm: f64,
    [along, across, path]: [&mut [f64]; 3],
) {
    let count = hits_mm.len();
    let (along, across) = (&mut along[..count], &mut across[..count]);
    let (path, down_mm) = (&mut path[..count], &down_mm[..count]);
    let mut start = 0;
    while start < count {
        let held = (count - start).min(LANES);
        // Eight lines side by side; those beyond the end repeat the last one.
        let mut gap = [[0.0; LANES]; 3];
        for lane in 0..LANES {
            let hit = hits_mm[start + lane.min(held - 1)];
            for axis in 0..3 {
                gap[axis][lane] = reference_mm[axis] - hit[axis];
            }
        }
        let (mut distance, mut per_mm) = ([0.0; LANES], [0.0; LANES]);
        for lane in 0..LANES {
            let [x, y, z] = [gap[0][lane], gap[1][lane], gap[2][lane]];
            distance[lane] = (x * x + y * y + z * z).sqrt();
            per_mm[lane] = -1.0 / distance[lane];
        }
        let here = start..start + held;
        let lists = along[here.clone()].iter_mut().zip(&mut across[here.clone()]);
        let lists = lists.zip(path[here.clone()].iter_mut().zip(&down_mm[here]));
        for (lane, ((u, v), (path, down))) in lists.enumerate() {
            *u = gap[0][lane] * per_mm[lane];
            *v = gap[1][lane] * per_mm[lane];
            *path = -(down + distance[lane]) * nm_per_mm;
        }
        start += LANES;
    }
}
