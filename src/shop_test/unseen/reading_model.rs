//! What a reading is: the area-weighted mean of the axis crossing over an opening.
//!
//! To first order in the height h of the glass that mean integrates in closed form,
//!
//! ```text
//! y = zero + ideal - 2 k R^2 (h(r2) - h(r1)) / (r2^2 - r1^2),     k = 1 moving, 2 fixed source,
//! ```
//!
//! so a reading measures the difference of height between the two rims of its opening and nothing else.
//! Source: own derivation from the normal of the surface, which meets the axis at R/(1 + x) for a source
//! that moves with the knife and at R/(1 + 2x) for a fixed one, x = R h'/r.

use super::prior::EdgeShape;
use crate::numeric::gauss::on_interval;
use crate::shop_test::opening::MaskOpening;
use crate::shop_test::readings::KnifeEdgeReadings;

/// Millimetres in a nanometre.
const MM_PER_NM: f64 = 1e-6;
/// Quadrature nodes for the mean square and cube of an edge's slope over an opening.
const SLOPE_NODES: usize = 24;

/// A reading at a single radius stands for a ring that reaches this share of the mirror's radius to either
/// side, less where the rim cuts it: the stretch over which an eye matches two greys.
const RING_SHARE: f64 = 0.005;

/// The mirror, the mask and the source: all that is known before a reading is taken.
#[derive(Clone, Debug)]
pub(crate) struct Bench {
    pub(crate) rim_radius_mm: f64,
    pub(crate) radius_of_curvature_mm: f64,
    /// k above.
    pub(crate) gain: f64,
    /// The openings; single radii as narrow rings.
    pub(crate) rings: Vec<MaskOpening>,
    /// The readings of the perfect paraboloid, up to the zero of a run, mm.
    pub(crate) ideal_mm: Vec<f64>,
}

impl Bench {
    pub(crate) fn new(readings: &KnifeEdgeReadings) -> Self {
        let (source, radius) = (readings.source(), readings.radius_of_curvature());
        let rim_radius_mm = readings.clear_aperture_mm() / 2.0;
        Self {
            rim_radius_mm,
            radius_of_curvature_mm: radius.0,
            gain: source.gain(),
            rings: readings.openings().iter().map(|o| ring(o, rim_radius_mm)).collect(),
            ideal_mm: readings.openings().iter().map(|o| o.ideal_reading_mm(source, radius)).collect(),
        }
    }

    /// By how much a reading grows for each nm that the outer rim stands above the inner one, mm/nm.
    pub(crate) fn gain_mm_per_nm(&self, opening: &MaskOpening) -> f64 {
        -2.0 * self.gain * self.radius_of_curvature_mm.powi(2) * MM_PER_NM / opening.square_mm2()
    }

    /// By how much the paraboloid's reading grows for each mm that an opening stands too far out.
    pub(crate) fn radius_gain(&self, opening: &MaskOpening) -> f64 {
        self.gain * opening.middle_mm() / self.radius_of_curvature_mm
    }
}

/// An opening, widened to a ring if it has no width of its own.
fn ring(opening: &MaskOpening, rim_radius_mm: f64) -> MaskOpening {
    let reach = RING_SHARE * rim_radius_mm;
    if opening.outer_radius_mm - opening.inner_radius_mm >= 2.0 * reach {
        return MaskOpening { outer_radius_mm: opening.outer_radius_mm.min(rim_radius_mm), ..*opening };
    }
    let middle = opening.middle_mm();
    MaskOpening {
        inner_radius_mm: (middle - reach).max(0.0),
        outer_radius_mm: (middle + reach).min(rim_radius_mm),
    }
}

/// A turned edge as the readings see it, for a drop of 1 nm at the rim.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Edge {
    pub(crate) width_mm: f64,
    pub(crate) shape: EdgeShape,
    pub(crate) rim_radius_mm: f64,
}

impl Edge {
    /// Height at a radius, nm for each nm of drop.
    pub(crate) fn height(&self, radius_mm: f64) -> f64 {
        self.shape.height(self.share(radius_mm))
    }

    /// Slope at a radius, nm/mm for each nm of drop.
    pub(crate) fn slope_per_mm(&self, radius_mm: f64) -> f64 {
        self.shape.slope(self.share(radius_mm)) / self.width_mm
    }

    /// What the square and the cube of the slope add to a reading for a drop g in nm: g^2 times the
    /// first and -g^3 times the second, mm.
    ///
    /// They are the means over the opening of R X^2 and R X^3, X = k R h'/r: the next terms of
    /// R/(1 + X). The fourth power, left out, is |X| times the last.
    pub(crate) fn square_and_cube_mm(&self, bench: &Bench, opening: &MaskOpening) -> (f64, f64) {
        let start = opening.inner_radius_mm.max(self.rim_radius_mm - self.width_mm);
        let length = opening.outer_radius_mm - start;
        if length <= 0.0 {
            return (0.0, 0.0);
        }
        let radius = bench.radius_of_curvature_mm;
        let steepness = bench.gain * radius * MM_PER_NM;
        let (mut square, mut cube) = (0.0, 0.0);
        // In the cube root of the way from the edge's start its powers are smooth.
        for (s, weight) in on_interval(SLOPE_NODES, 0.0, 1.0) {
            let r = start + length * s * s * s;
            let x = steepness * self.slope_per_mm(r) / r;
            let area = weight * 3.0 * s * s * length * r * 2.0 / opening.square_mm2();
            square += area * x * x;
            cube += area * x * x * x;
        }
        (radius * square, radius * cube)
    }

    fn share(&self, radius_mm: f64) -> f64 {
        (radius_mm - self.rim_radius_mm + self.width_mm) / self.width_mm
    }
}

/// The covariance of contrasts of readings that have these variances and nothing in common.
pub(crate) fn contrast_covariance(rows: &[f64], variance: &[f64]) -> Vec<f64> {
    let (m, q) = (variance.len(), rows.len() / variance.len());
    let mut matrix = vec![0.0; q * q];
    for (c, row) in matrix.chunks_exact_mut(q).enumerate() {
        for (d, value) in row.iter_mut().enumerate() {
            *value = (0..m).map(|i| rows[c * m + i] * variance[i] * rows[d * m + i]).sum();
        }
    }
    matrix
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shop_test::{ReadingsIncrease, TestSource};
    use crate::units::RadiusOfCurvatureMm;

    fn bench(source: TestSource, openings: Vec<MaskOpening>) -> Bench {
        let radius = RadiusOfCurvatureMm(3116.0);
        let perfect = openings.iter().map(|o| o.ideal_reading_mm(source, radius)).collect();
        let away = ReadingsIncrease::AwayFromMirror;
        let readings =
            KnifeEdgeReadings::through_openings(318.0, radius, source, away, openings, vec![perfect]);
        Bench::new(&readings.expect("a perfect mirror"))
    }

    fn openings() -> Vec<MaskOpening> {
        let rims = [30.0, 90.0, 130.0, 149.5, 158.0];
        let opening = |pair: &[f64]| MaskOpening { inner_radius_mm: pair[0], outer_radius_mm: pair[1] };
        rims.windows(2).map(opening).collect()
    }

    /// The mean crossing by brute force: many thin rings of the exact crossing of the normal (moving)
    /// or of the reflected ray's mean (fixed), slopes exact.
    fn brute_mm(bench: &Bench, opening: &MaskOpening, slope: impl Fn(f64) -> f64) -> f64 {
        let (radius, k) = (bench.radius_of_curvature_mm, bench.gain);
        let (mut sum, mut area) = (0.0, 0.0);
        // The edge begins at 150 mm, where its slope has a kink.
        let pieces = [(opening.inner_radius_mm, 150.0), (150.0, opening.outer_radius_mm)];
        for (r, weight) in pieces.into_iter().flat_map(|(from, to)| on_interval(60, from, to)) {
            // x = R h'/r, with the paraboloid's own terms added separately.
            let x = k * radius * slope(r) / r;
            let fixed = if k > 1.0 { r.powi(4) / (2.0 * radius.powi(3)) } else { 0.0 };
            let ideal = k * r * r / (2.0 * radius) + fixed;
            sum += weight * r * (ideal + radius / (1.0 + x) - radius);
            area += weight * r;
        }
        sum / area
    }

    #[test]
    fn a_reading_is_the_mean_crossing_over_the_opening() {
        for source in [TestSource::Moving, TestSource::Fixed] {
            let edge = Edge { width_mm: 9.0, shape: EdgeShape::Power(2.0), rim_radius_mm: 159.0 };
            let drop_nm = 330.0;
            let bench = bench(source, openings());
            let (opening, ideal_mm) = (&bench.rings[3], bench.ideal_mm[3]);
            let rise_nm = drop_nm * (edge.height(158.0) - edge.height(149.5));
            let (square, cube) = edge.square_and_cube_mm(&bench, opening);
            let reading = ideal_mm
                + bench.gain_mm_per_nm(opening) * rise_nm
                + drop_nm * drop_nm * (square - drop_nm * cube);
            let brute = brute_mm(&bench, opening, |r| drop_nm * 1e-6 * edge.slope_per_mm(r));
            // The term left out is the mean of R X^4; a mean of a rising fourth power is well below half
            // of the largest value, at the outer rim.
            let steepest = bench.gain * 3116.0 * drop_nm * 1e-6 * edge.slope_per_mm(158.0) / 158.0;
            let left_out = 3116.0 * steepest.powi(4);
            assert!((reading - brute).abs() < 0.5 * left_out, "{source:?}: {reading} for {brute}");
            // A turned-down edge crosses further out: the direction pin.
            assert!(reading > ideal_mm + 1.0);
        }
    }

    #[test]
    fn a_single_radius_becomes_a_narrow_ring_within_the_mirror() {
        let at = |r: f64| MaskOpening { inner_radius_mm: r, outer_radius_mm: r };
        let bench = bench(TestSource::Moving, vec![at(0.5), at(80.0), at(120.0), at(159.0)]);
        let ends: Vec<(f64, f64)> =
            bench.rings.iter().map(|o| (o.inner_radius_mm, o.outer_radius_mm)).collect();
        // 0.005 of 159 mm to either side.
        assert_eq!(ends[0], (0.0, 1.295));
        assert_eq!(ends[1], (79.205, 80.795));
        assert_eq!(ends[3], (158.205, 159.0));
    }
}
