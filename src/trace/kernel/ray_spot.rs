//! Statistics of rays that are never stored.

use serde::{Deserialize, Serialize};

use super::lanes::{LANES, Lanes};
use crate::numeric::sums;
use crate::units::UM_PER_MM;

/// How rays scatter in a plane square to the focuser's axis.
///
/// Units: um in the plane, from where the axis meets it: `along` positive toward the sky end, `across` along +y; mm.
/// The statistics are weighted by the light of each ray: its weight times the reflectance of the mirrors.
/// Leaves out: diffraction, and what lies between the rays.
///
/// ```
/// use catoptric::{Field, FocalLengthMm, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(250.0, FocalLengthMm(1250.0))).build()?;
/// let spot = Prepared::new(&train).spot_of_rings(Field::arcmin(15.0, 0.0), 0.0, 100, 100)?;
/// assert!((spot.rms_radius_um / 11.232_246 - 1.0).abs() < 1e-4); // exact trace in 40 digits, own computation
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RaySpot {
    /// Rays that were traced.
    pub rays: usize,
    /// Rays that reach the plane.
    pub passed: usize,
    /// Light of all rays that reach the plane: the sum of their weights times the reflectance.
    pub light: f64,
    /// How far behind the paraxial focal plane the rays are caught, mm; positive: further from the primary.
    pub focus_shift_mm: f64,
    /// The centroid, um: `[along, across]`.
    pub centroid_um: [f64; 2],
    /// Root of the mean squared distance from the centroid, um.
    pub rms_radius_um: f64,
    /// The least and the greatest place along, um.
    pub along_range_um: [f64; 2],
    /// The least and the greatest place across, um.
    pub across_range_um: [f64; 2],
}

/// What one chunk of rays adds up to, about a centre that all chunks share.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sums {
    passed: f64,
    light: f64,
    along: f64,
    across: f64,
    square: f64,
    along_range: [f64; 2],
    across_range: [f64; 2],
}

impl Sums {
    /// Both together.
    pub(super) fn with(self, other: Self) -> Self {
        let wider = |[a, b]: [f64; 2], [c, d]: [f64; 2]| [a.min(c), b.max(d)];
        Self {
            passed: self.passed + other.passed,
            light: self.light + other.light,
            along: self.along + other.along,
            across: self.across + other.across,
            square: self.square + other.square,
            along_range: wider(self.along_range, other.along_range),
            across_range: wider(self.across_range, other.across_range),
        }
    }
}

impl From<&Lanes> for Sums {
    fn from(lanes: &Lanes) -> Self {
        let sum = |l: &[f64; LANES]| sums::pairwise(l);
        let least = |l: &[f64; LANES]| l.iter().copied().fold(f64::INFINITY, f64::min);
        let most = |l: &[f64; LANES]| l.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        Self {
            passed: sum(&lanes.passed),
            light: sum(&lanes.light),
            along: sum(&lanes.along),
            across: sum(&lanes.across),
            square: sum(&lanes.square),
            along_range: [least(&lanes.least_along), most(&lanes.most_along)],
            across_range: [least(&lanes.least_across), most(&lanes.most_across)],
        }
    }
}

/// The statistics of all chunks; none where no light arrives.
pub(super) fn of(chunks: &[Sums], rays: usize, centre_mm: [f64; 2], focus_shift_mm: f64) -> Option<RaySpot> {
    let total = |part: fn(&Sums) -> f64| sums::pairwise(&chunks.iter().map(part).collect::<Vec<_>>());
    let light = total(|s| s.light);
    if light <= 0.0 {
        return None;
    }
    let (x, y) = (total(|s| s.along) / light, total(|s| s.across) / light);
    let square = total(|s| s.square) / light - (x * x + y * y);
    let range = |part: fn(&Sums) -> [f64; 2], centre: f64| {
        let ends = chunks.iter().map(part);
        let [low, high] =
            ends.fold([f64::INFINITY, f64::NEG_INFINITY], |a, b| [a[0].min(b[0]), a[1].max(b[1])]);
        [(low + centre) * UM_PER_MM, (high + centre) * UM_PER_MM]
    };
    Some(RaySpot {
        rays,
        passed: total(|s| s.passed) as usize,
        light,
        focus_shift_mm,
        centroid_um: [(centre_mm[0] + x) * UM_PER_MM, (centre_mm[1] + y) * UM_PER_MM],
        rms_radius_um: square.max(0.0).sqrt() * UM_PER_MM,
        along_range_um: range(|s| s.along_range, centre_mm[0]),
        across_range_um: range(|s| s.across_range, centre_mm[1]),
    })
}
