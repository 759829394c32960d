//! A pupil cut into pieces over each of which the plain figure's phase is exactly straight.
//!
//! Between two knots the height is straight in s = r^2, and W = 2h/(1 + s/R^2). In t = s/(1 + s/R^2) the obliquity is 1 - t/R^2
//! and obliquity times s is t, so W is straight in t; so is a move of the focus. The light of ds is dt/(1 - t/R^2)^2: next to even,
//! with a small lean along each piece. With half the phase difference d of a piece, its middle phase and its place u from -1 to 1,
//!
//! ```text
//! integral of light(u) exp(i d u) = light sin(d)/d + i 3 first j1(d)      first = integral of light(u) u
//! ```
//!
//! Left out: the second Legendre term of the light, below 0.02 of the square of the lean; pieces are cut until that is below 2e-8.

use std::f64::consts::PI;

use super::noise::ZoneMeans;
use super::noise_lanes::{MOST_RAD, Piece, Spread, Study, Zone};
use super::options::ReduceOptions;
use super::plain::{errors_mm, knots_mm2, nm_per_mm3};
use super::readings::KnifeEdgeReadings;
use crate::error::{Error, Result};
use crate::numeric::counter::Runs;
use crate::numeric::gauss::on_interval;

/// Pieces are cut so that so many standard deviations of noise leave half of a phase difference within this many radians.
const SIGMAS: f64 = 4.5;
const PLANNED_RAD: f64 = 1.0;
const _: () = assert!(PLANNED_RAD < MOST_RAD);
/// Half of the change of the light's density over a piece, as a share of it, at most.
const LEAN: f64 = 6e-4;
/// Pieces of a pupil, at most: readings that need more show no mirror.
const MOST_PIECES: f64 = 20_000.0;
/// Nodes on each piece for its moments: exact to rounding.
const NODES: usize = 8;

/// What turns squared radii into phases.
struct Pupil {
    squares: Vec<f64>,
    curvature_mm2: f64,
    nm_per_mm3: f64,
    /// Radians of wavefront for each nm.
    wavenumber: f64,
    /// t at the mirror's rim, and its mean and variance over the light, as shares of that.
    rim: f64,
    mean: f64,
    variance: f64,
    /// Squared radius of the shadow.
    inner_mm2: f64,
    /// Squared radii that are lit, all together.
    lit_mm2: f64,
}

impl Pupil {
    fn new(readings: &KnifeEdgeReadings, options: &ReduceOptions) -> Self {
        let squares = knots_mm2(readings);
        let rim_mm2 = squares[squares.len() - 1];
        let inner_mm2 = options.obstruction_ratio.powi(2) * rim_mm2;
        let curvature_mm2 = readings.radius_of_curvature().0.powi(2);
        let mut pupil = Self {
            squares,
            curvature_mm2,
            nm_per_mm3: nm_per_mm3(readings),
            wavenumber: 2.0 * PI / options.wavelength_nm,
            rim: 1.0,
            mean: 0.0,
            variance: 1.0,
            inner_mm2,
            lit_mm2: rim_mm2 - inner_mm2,
        };
        pupil.rim = pupil.place(rim_mm2);
        let whole = (pupil.place(inner_mm2), pupil.rim);
        pupil.mean = pupil.over(whole).map(|(t, light)| light * t / pupil.rim).sum();
        pupil.variance =
            pupil.over(whole).map(|(t, light)| light * (t / pupil.rim - pupil.mean).powi(2)).sum();
        pupil
    }

    /// t of a squared radius, and back.
    fn place(&self, square: f64) -> f64 {
        square / (1.0 + square / self.curvature_mm2)
    }

    fn square(&self, place: f64) -> f64 {
        place / (1.0 - place / self.curvature_mm2)
    }

    /// Nodes of t from one to another, with their shares of the pupil's light.
    fn over(&self, (from, to): (f64, f64)) -> impl Iterator<Item = (f64, f64)> + '_ {
        on_interval(NODES, from, to)
            .map(|(t, width)| (t, width / (1.0 - t / self.curvature_mm2).powi(2) / self.lit_mm2))
    }

    /// Phase of a height of 1 nm at a squared radius, radians.
    fn phase(&self, square: f64) -> f64 {
        2.0 * self.wavenumber / (1.0 + square / self.curvature_mm2)
    }

    /// Defocus of least squares for an error of 1 mm of a zone's reading.
    fn focus(&self, zone: usize) -> f64 {
        let (from, to) = (self.squares[zone], self.squares[zone + 1]);
        let lit = |square: f64| self.place(square.max(self.inner_mm2));
        let rise = |t: f64| {
            let square = self.square(t);
            self.phase(square) * self.nm_per_mm3 * (square.clamp(from, to) - from)
        };
        let stretches = [(lit(from), lit(to)), (lit(to), self.rim)];
        let lean = stretches
            .into_iter()
            .flat_map(|stretch| self.over(stretch))
            .map(|(t, light)| light * rise(t) * (t / self.rim - self.mean));
        lean.sum::<f64>() / self.variance
    }

    /// The stretch of a zone that is lit, in t.
    fn lit(&self, zone: usize) -> Option<(f64, f64)> {
        let (from, to) = (self.squares[zone].max(self.inner_mm2), self.squares[zone + 1]);
        (to > from).then(|| (self.place(from), self.place(to)))
    }

    fn piece(&self, zone: usize, (from, to): (f64, f64)) -> Piece {
        let (a, b) = (self.square(from), self.square(to));
        let (start, phase_a, phase_b) = (self.squares[zone], self.phase(a), self.phase(b));
        let place = |t: f64| (2.0 * t - from - to) / (to - from);
        let moment =
            |power: i32| self.over((from, to)).map(|(t, light)| light * place(t).powi(power)).sum::<f64>();
        let (light, first) = (moment(0), moment(1));
        let centre = first / light;
        Piece {
            by_height: 0.5 * (phase_b - phase_a),
            by_error: 0.5 * self.nm_per_mm3 * (phase_b * (b - start) - phase_a * (a - start)),
            by_focus: 0.5 * (to - from) / self.rim,
            light,
            centre,
            second: moment(2) - first * centre,
            lean: [first, -first / 10.0, first / 280.0],
        }
    }
}

impl Study {
    /// Everything about a set of readings that its noisy repeats share.
    ///
    /// Errors: [`Error::Input`] for readings so far from any mirror that their phase cannot be followed.
    pub(super) fn new(
        readings: &KnifeEdgeReadings,
        means: &ZoneMeans,
        options: &ReduceOptions,
    ) -> Result<Self> {
        let pupil = Pupil::new(readings, options);
        let error_mm = errors_mm(readings, &means.mean_mm);
        let spread = spread(readings, means)?;
        let scales: Vec<f64> = means.scales().iter().map(|scale| scale.sqrt()).collect();
        let mut zones: Vec<Zone> = (0..error_mm.len())
            .map(|zone| Zone {
                error_mm: error_mm[zone],
                rise_nm: pupil.nm_per_mm3 * (pupil.squares[zone + 1] - pupil.squares[zone]),
                focus: pupil.focus(zone),
                pieces: Vec::new(),
            })
            .collect();
        let widest = scales.iter().copied().fold(0.0, f64::max);
        let mut all = 0.0;
        for zone in 0..zones.len() {
            let Some((from, to)) = pupil.lit(zone) else { continue };
            let reach = reach(&zones, zone, &pupil.piece(zone, (from, to)), &spread, widest);
            let parts = (reach / PLANNED_RAD).max((to - from) / pupil.curvature_mm2 / LEAN).ceil().max(1.0);
            all += parts;
            if all > MOST_PIECES {
                let allowed =
                    "readings within some millimetres of what a paraboloid gives, with noise to match";
                return Err(Error::input(
                    "runs_mm",
                    "beyond what a mirror shows",
                    allowed,
                    "inches, or another radius?",
                ));
            }
            let end = |part: f64| from + (to - from) * (part / parts);
            let cut = (0..parts as usize).map(|k| pupil.piece(zone, (end(k as f64), end(k as f64 + 1.0))));
            zones[zone].pieces = cut.collect();
        }
        let nm_per_rad = 1.0 / pupil.wavenumber;
        Ok(Self { runs: Runs::new(options.seed), zones, spread, scales, nm_per_rad })
    }

    /// Strehl ratio and RMS, nm, of one set of errors, by Gauss nodes on every piece, however steep its phase.
    pub(super) fn by_nodes(&self, errors_mm: &[f64]) -> (f64, f64) {
        let focus: f64 = self.zones.iter().zip(errors_mm).map(|(zone, error)| zone.focus * error).sum();
        let (mut height, mut phase) = (0.0, 0.0);
        let (mut re, mut im, mut mean, mut square) = (0.0, 0.0, 0.0, 0.0);
        for (zone, error) in self.zones.iter().zip(errors_mm) {
            for piece in &zone.pieces {
                let d = piece.by_height * height + piece.by_error * error - piece.by_focus * focus;
                let middle = phase + d;
                let panels = d.abs().ceil().max(1.0);
                for (u, width) in on_interval(NODES * panels as usize, -1.0, 1.0) {
                    let (light, angle) =
                        (0.5 * width * piece.light * (1.0 + 3.0 * piece.centre * u), middle + d * u);
                    re += light * libm::cos(angle);
                    im += light * libm::sin(angle);
                    mean += light * angle;
                    square += light * angle * angle;
                }
                phase = middle + d;
            }
            height += zone.rise_nm * error;
        }
        ((re * re + im * im).min(1.0), self.nm_per_rad * (square - mean * mean).max(0.0).sqrt())
    }
}

/// How far half of a zone's phase difference may reach with noise, radians.
fn reach(zones: &[Zone], zone: usize, piece: &Piece, spread: &Spread, scale: f64) -> f64 {
    // Radians for each mm of each reading.
    let gain: Vec<f64> = zones
        .iter()
        .enumerate()
        .map(|(k, other)| {
            let height = if k < zone { piece.by_height * other.rise_nm } else { 0.0 };
            let own = if k == zone { piece.by_error } else { 0.0 };
            height + own - piece.by_focus * other.focus
        })
        .collect();
    let middle: f64 = gain.iter().zip(zones).map(|(gain, zone)| gain * zone.error_mm).sum();
    let variance = match spread {
        Spread::Independent(sigmas) => gain.iter().zip(sigmas).map(|(g, s)| (g * s).powi(2)).sum::<f64>(),
        Spread::Together(rows, draws) => (0..*draws)
            .map(|draw| {
                let of_draw = gain.iter().enumerate().map(|(k, g)| g * rows[k * draws + draw]);
                of_draw.sum::<f64>().powi(2)
            })
            .sum(),
    };
    middle.abs() + SIGMAS * scale * variance.sqrt()
}

/// Without missing readings the means are independent: their common zero is pure defocus, which the focus takes up.
fn spread(readings: &KnifeEdgeReadings, means: &ZoneMeans) -> Result<Spread> {
    let runs = readings.runs_mm();
    if runs.iter().flatten().all(Option::is_some) {
        let by = 1.0 / (runs.len() as f64).sqrt();
        return Ok(Spread::Independent(means.sigma_mm.iter().map(|sigma| sigma * by).collect()));
    }
    let spread = means.spread().ok_or_else(super::reduce::unequal)?;
    Ok(Spread::Together(spread.transpose().as_slice().to_vec(), spread.ncols()))
}
