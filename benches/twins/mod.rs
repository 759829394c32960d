//! The slow obvious ways that more than one bench stands beside, and the invented telescopes that they share.

#![allow(dead_code, reason = "each bench takes what it needs")]

use std::f64::consts::{PI, TAU};

use catoptric::numeric::random::Stream;
use catoptric::{
    Diagonal, Drawtube, Field, FocalLengthMm, FocalPlane, Holder, KnifeEdgeReadings, MirrorClips, Opening,
    Prepared, Primary, RadiusOfCurvatureMm, ReadingsIncrease, Spider, TestSource, Train, TrainBuilder,
    TurnedEdge, Wavefront, Zone,
};
use nalgebra::{DMatrix, DVector};

pub(crate) const RIM_MM: f64 = 159.0;
pub(crate) const FOCAL_MM: f64 = 1558.0;
pub(crate) const CURVATURE_MM: f64 = 2.0 * FOCAL_MM;
pub(crate) const OBSTRUCTION: f64 = 0.22;
pub(crate) const WAVELENGTH_NM: f64 = 550.0;
pub(crate) const EDGE_WIDTH_MM: f64 = 9.0;

pub(crate) fn mirror() -> Primary {
    Primary::new(2.0 * RIM_MM, FocalLengthMm(FOCAL_MM))
        .layer(TurnedEdge::new(EDGE_WIDTH_MM, 90.0))
        .layer(Zone::new(95.0, 13.0, 28.0))
}

/// An invented 318 mm f/4.9 with a turned edge and a zone.
pub(crate) fn parts(mirror: Primary) -> TrainBuilder {
    Train::builder(mirror).diagonal(Diagonal::new(70.0)).focal_plane(FocalPlane::new(235.0))
}

/// The same mirror with vanes, clips and cuts from all sides.
pub(crate) fn crowded() -> Prepared {
    let parts = parts(mirror())
        .diagonal(Diagonal::new(60.0))
        .front_opening(Opening::new(322.0, 1650.0))
        .drawtube(Drawtube::new(47.0, 50.0, 18.0))
        .holder(Holder::new(66.0))
        .spider(Spider::new(4, 1.0))
        .mirror_clips(MirrorClips::new(3, 20.0, 6.0));
    prepared(parts)
}

pub(crate) fn prepared(parts: TrainBuilder) -> Prepared {
    Prepared::new(&parts.build().expect("a sound train"))
}

/// Five runs of an invented 318 mm mirror.
pub(crate) fn readings(name: &str) -> KnifeEdgeReadings {
    let path = format!("{}/notebooks-demo/data/fenlight_{name}.csv", env!("CARGO_MANIFEST_DIR"));
    let away = ReadingsIncrease::AwayFromMirror;
    let curvature = RadiusOfCurvatureMm(CURVATURE_MM);
    KnifeEdgeReadings::load_csv(path, 2.0 * RIM_MM, curvature, TestSource::Moving, away).expect("readings")
}

/// The same readings drawn again within their noise: the knots, mm (the centre, the rims between openings, which touch, and the
/// mirror's rim), and the heights there, nm.
fn read_again(readings: &KnifeEdgeReadings, draw: usize) -> (Vec<f64>, Vec<f64>) {
    let openings = readings.openings();
    let meeting = openings[1..].iter().map(|opening| opening.inner_radius_mm);
    let knots_mm: Vec<f64> = std::iter::once(0.0).chain(meeting).chain([RIM_MM]).collect();
    let (mean_mm, sigma_mm) = (readings.mean_mm(), readings.sigma_mm());
    let runs = readings.runs_mm().len() as f64;
    let mut stream = Stream::new(1, draw as u64);
    let too_long_mm = openings.iter().enumerate().map(|(k, opening)| {
        let ideal_mm = opening.ideal_reading_mm(TestSource::Moving, RadiusOfCurvatureMm(CURVATURE_MM));
        mean_mm[k] + sigma_mm[k] / runs.sqrt() * stream.normal() - ideal_mm
    });
    let too_long_mm: Vec<f64> = too_long_mm.collect();
    let height_nm = solved_heights_nm(&knots_mm, &too_long_mm);
    (knots_mm, height_nm)
}

/// Heights at the knots: each reading is a difference of two of them; its zero is free, and the centre is at 0.
fn solved_heights_nm(knots_mm: &[f64], too_long_mm: &[f64]) -> Vec<f64> {
    let zones = too_long_mm.len();
    let zero_mm = too_long_mm.iter().sum::<f64>() / zones as f64;
    let gain = |k: usize| 2.0 * CURVATURE_MM.powi(2) / (knots_mm[k + 1].powi(2) - knots_mm[k].powi(2)) / 1e6;
    let equations = DMatrix::from_fn(zones, zones, |k, knot| match k as isize - knot as isize {
        0 => -gain(k),
        1 => gain(k),
        _ => 0.0,
    });
    let readings = DVector::from_iterator(zones, too_long_mm.iter().map(|mm| mm - zero_mm));
    let heights = equations.lu().solve(&readings).expect("as many heights as readings");
    [vec![0.0], heights.as_slice().to_vec()].concat()
}

/// A height between knots, straight in the square of the radius.
fn between(knots_mm: &[f64], height_nm: &[f64], r: f64) -> f64 {
    let zone = knots_mm.partition_point(|knot| *knot <= r).clamp(1, knots_mm.len() - 1) - 1;
    let (inner, outer) = (knots_mm[zone].powi(2), knots_mm[zone + 1].powi(2));
    height_nm[zone] + (height_nm[zone + 1] - height_nm[zone]) * (r * r - inner) / (outer - inner)
}

/// The Strehl of readings drawn again, solved for their heights, ring by ring.
pub(crate) fn strehl_read_again(readings: &KnifeEdgeReadings, draw: usize) -> f64 {
    let (knots_mm, height_nm) = read_again(readings, draw);
    ring_by_ring(OBSTRUCTION * RIM_MM, RIM_MM, |r| between(&knots_mm, &height_nm, r))
}

/// Equal areas of a disc, one point each.
pub(crate) fn sunflower(radius_mm: f64, count: usize) -> impl Iterator<Item = [f64; 2]> {
    (0..count).map(move |k| {
        let r = radius_mm * ((k as f64 + 0.5) / count as f64).sqrt();
        let (sin, cos) = (PI * (3.0 - 5.0_f64.sqrt()) * k as f64).sin_cos();
        [r * cos, r * sin]
    })
}

/// The Strehl of a round mirror at the greatest of 61 foci within a wave about that of least RMS, from 400 rings of equal
/// area; good to about 1e-3.
pub(crate) fn ring_by_ring(inner_mm: f64, outer_mm: f64, height_nm: impl Fn(f64) -> f64) -> f64 {
    const RINGS: usize = 400;
    let (inner, outer) = (inner_mm.powi(2), outer_mm.powi(2));
    let ring = |k: usize| {
        let share = (k as f64 + 0.5) / RINGS as f64;
        let r = (inner + share * (outer - inner)).sqrt();
        (share - 0.5, 2.0 * height_nm(r) / (1.0 + (r / CURVATURE_MM).powi(2)))
    };
    let points: Vec<(f64, f64)> = (0..RINGS).map(ring).collect();
    let mean = |value: &dyn Fn(&(f64, f64)) -> f64| points.iter().map(value).sum::<f64>() / RINGS as f64;
    let slope = 12.0 * mean(&|p| p.0 * p.1);
    let strehl = |step: i32| {
        let defocus = slope + f64::from(step - 30) / 30.0 * WAVELENGTH_NM;
        let phase = |p: &(f64, f64)| TAU / WAVELENGTH_NM * (p.1 - defocus * p.0);
        mean(&|p| phase(p).cos()).powi(2) + mean(&|p| phase(p).sin()).powi(2)
    };
    (0..=60).map(strehl).fold(0.0, f64::max)
}

/// Strehls behind masks of a mirror with a turned edge alone.
pub(crate) fn masks_one_by_one(drop_nm: f64, masks_mm: &[f64]) -> Vec<f64> {
    let edge = |r: f64| -drop_nm * (1.0 + (r - RIM_MM) / EDGE_WIDTH_MM).max(0.0).powi(2);
    masks_mm.iter().map(|d| ring_by_ring(OBSTRUCTION * RIM_MM, 0.5 * d, edge)).collect()
}

/// Paths of the mirror's rays to a reference point.
pub(crate) struct Paths<'a> {
    telescope: &'a Prepared,
    field: Field,
    reference_mm: [f64; 3],
}

impl<'a> Paths<'a> {
    pub(crate) fn new(telescope: &'a Prepared, field: Field, wavefront: &Wavefront) -> Self {
        let [x, y] = field.tangents().map(|t| -FOCAL_MM * t);
        let [along, across] = wavefront.reference_um().map(|v| v / 1000.0);
        let reference_mm = [x + along, y + across, FOCAL_MM + wavefront.focus_shift_mm()];
        Self { telescope, field, reference_mm }
    }

    /// The path W = -(d.Q + |P - Q|) in mm and the direction toward the reference point; none where no light is.
    fn at(&self, [x, y]: [f64; 2]) -> Option<(f64, [f64; 2])> {
        if !self.telescope.passes(self.field, x, y) {
            return None;
        }
        let (hit, towards) = (self.telescope.ray(self.field, x, y).hit_mm, self.field.towards());
        let gap = [0, 1, 2].map(|a| self.reference_mm[a] - hit[a]);
        let distance = gap.iter().map(|g| g * g).sum::<f64>().sqrt();
        let down: f64 = (0..3).map(|a| -towards[a] * hit[a]).sum();
        Some((-(down + distance), [gap[0] / distance, gap[1] / distance]))
    }

    /// Intensities at places in um about the reference point, from 28 800 samples of the mirror of these amplitudes.
    pub(crate) fn star(&self, places_um: &[[f64; 2]], amplitude: impl Fn([f64; 2]) -> f64) -> Vec<f64> {
        let lit = |at: [f64; 2]| self.at(at).map(|(path, line)| (amplitude(at), path, line));
        let samples: Vec<_> = sunflower(RIM_MM, 28_800).filter_map(lit).collect();
        let (whole, first) = (samples.iter().map(|s| s.0).sum::<f64>(), samples[0].1);
        let intensity = |place: &[f64; 2]| {
            let (mut re, mut im) = (0.0, 0.0);
            for (weight, path, line) in &samples {
                let step = (line[0] * place[0] + line[1] * place[1]) / 1000.0;
                let (s, c) = (RADIANS_PER_MM * (path - first - step)).sin_cos();
                re += weight * c;
                im += weight * s;
            }
            (re * re + im * im) / (whole * whole)
        };
        places_um.iter().map(intensity).collect()
    }

    /// Contrast along x from a net of 300 x 300 places, the mirror against itself moved; good to about 1e-2, as the
    /// mirror's own x stands for the direction in the image.
    pub(crate) fn contrast(&self, frequency_per_mm: f64) -> f64 {
        const SIDE: usize = 300;
        let half_mm = 0.5 * WAVELENGTH_NM / 1e6 * FOCAL_MM * frequency_per_mm;
        let place = |k: usize| RIM_MM * (2.0 * (k as f64 + 0.5) / SIDE as f64 - 1.0);
        let (mut lit, mut re, mut im) = (0.0, 0.0, 0.0);
        for k in 0..SIDE * SIDE {
            let (x, y) = (place(k % SIDE), place(k / SIDE));
            lit += f64::from(u8::from(self.at([x, y]).is_some()));
            if let (Some((a, _)), Some((b, _))) = (self.at([x - half_mm, y]), self.at([x + half_mm, y])) {
                let (s, c) = (RADIANS_PER_MM * (a - b)).sin_cos();
                re += c;
                im += s;
            }
        }
        re.hypot(im) / lit
    }
}

const RADIANS_PER_MM: f64 = TAU * 1e6 / WAVELENGTH_NM;
