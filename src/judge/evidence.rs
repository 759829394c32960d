//! What is known of a mirror's figure, whoever measured it.

use serde::{Deserialize, Serialize};

use crate::error::{Error, Result};
use crate::numeric::random::Stream;
use crate::numeric::stats;
use crate::shop_test::{Bounds, FigureEstimate, Interval, Measured, SheetFigure, ZernikeFigure};

/// Draws of evidence that brings none of its own.
const DRAWS: usize = 2000;
/// Fewer draws cannot tell a 95 % interval.
const LEAST_DRAWS: usize = 100;
/// The stream that shuffles.
const SHUFFLE: u64 = 150 << 32;
/// What a range on paper is taken to hold.
const SHARE: f64 = 0.95;

/// What a refigure can be judged from: readings, an optician's numbers, or a list of coefficients.
///
/// Leaves out: a range on paper is no interval with a probability; it is taken as one of 95 %, evenly spread in the
/// logarithm of the RMS. Noise and total interval of evidence on paper are one and the same.
///
/// ```
/// use catoptric::{Evidence, SurfaceOrWavefront, TestSheet, TestSheetInput};
/// let sheet = TestSheet::new(TestSheetInput {
///     rms_nm: Some(20.0),
///     ..TestSheetInput::new(200.0, 200.0, SurfaceOrWavefront::Wavefront, 632.8)
/// })?;
/// let evidence = Evidence::from(&sheet.figure(550.0)?);
/// assert!((evidence.rms_nm().value - 20.0).abs() < 0.5);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Evidence {
    /// A figure estimated from knife-edge readings.
    Readings(Box<FigureEstimate>),
    /// What a test sheet means.
    Sheet(Box<SheetFigure>),
    /// What a report of Zernike coefficients means.
    Report(Box<ZernikeFigure>),
}

impl From<&FigureEstimate> for Evidence {
    fn from(figure: &FigureEstimate) -> Self {
        Self::Readings(Box::new(figure.clone()))
    }
}

impl From<&SheetFigure> for Evidence {
    fn from(figure: &SheetFigure) -> Self {
        Self::Sheet(Box::new(figure.clone()))
    }
}

impl From<&ZernikeFigure> for Evidence {
    fn from(figure: &ZernikeFigure) -> Self {
        Self::Report(Box::new(figure.clone()))
    }
}

impl From<&Evidence> for Evidence {
    fn from(evidence: &Evidence) -> Self {
        evidence.clone()
    }
}

impl Evidence {
    /// Strehl with both intervals: of readings at the brightest focus, of a report at that of least RMS, of a sheet by the
    /// exponential form, with the median of its draws for a value.
    pub fn strehl(&self) -> Measured {
        match self {
            Self::Readings(figure) => figure.strehl,
            Self::Sheet(sheet) => {
                let draws = sheet.strehl_draws(DRAWS, 1).unwrap_or_default();
                on_paper(middle(&draws).clamp(sheet.strehl.low, sheet.strehl.high), sheet.strehl)
            }
            Self::Report(report) => on_paper(report.strehl, report.strehl_interval),
        }
    }

    /// RMS of the wavefront with both intervals, nm.
    pub fn rms_nm(&self) -> Measured {
        match self {
            Self::Readings(figure) => figure.rms_nm,
            Self::Sheet(sheet) => on_paper((sheet.rms_nm.low * sheet.rms_nm.high).sqrt(), sheet.rms_nm),
            Self::Report(report) => on_paper(report.rms_nm, report.rms_nm_interval),
        }
    }

    /// The estimate from readings, if that is what it is.
    pub fn readings(&self) -> Option<&FigureEstimate> {
        match self {
            Self::Readings(figure) => Some(figure),
            _ => None,
        }
    }

    /// Wavelength of the Strehl, nm.
    pub fn wavelength_nm(&self) -> f64 {
        match self {
            Self::Readings(figure) => figure.options.wavelength_nm,
            Self::Sheet(sheet) => sheet.wavelength_nm,
            Self::Report(report) => report.wavelength_nm,
        }
    }

    /// Clear aperture of the mirror, mm.
    pub fn clear_aperture_mm(&self) -> f64 {
        match self {
            Self::Readings(figure) => figure.readings.clear_aperture_mm(),
            Self::Sheet(sheet) => sheet.sheet.input().clear_aperture_mm,
            Self::Report(report) => report.report.input().clear_aperture_mm,
        }
    }

    /// Diameter of the diagonal's shadow over the clear aperture that the Strehl counts with; a sheet has none.
    pub fn obstruction_ratio(&self) -> Option<f64> {
        match self {
            Self::Readings(figure) => Some(figure.options.obstruction_ratio),
            Self::Sheet(_) => None,
            Self::Report(report) => Some(report.obstruction_ratio),
        }
    }

    /// Radius of curvature, mm; a sheet has none.
    pub fn radius_of_curvature_mm(&self) -> Option<f64> {
        match self {
            Self::Readings(figure) => Some(figure.readings.radius_of_curvature().0),
            Self::Sheet(_) => None,
            Self::Report(report) => Some(report.report.input().radius_of_curvature_mm),
        }
    }

    /// What it is, in a word.
    pub(super) fn name(&self) -> &'static str {
        match self {
            Self::Readings(_) => "readings",
            Self::Sheet(_) => "a test sheet",
            Self::Report(_) => "a report of coefficients",
        }
    }

    /// Sentences on what it means, what it contradicts and what it assumes.
    pub(super) fn remarks(&self) -> Vec<String> {
        match self {
            Self::Readings(_) => Vec::new(),
            Self::Sheet(s) => {
                [vec![s.words.clone()], s.contradictions.clone(), s.assumptions.clone()].concat()
            }
            Self::Report(r) => [vec![r.words.clone()], r.cautions.clone(), r.assumptions.clone()].concat(),
        }
    }

    /// Draws of Strehl and RMS, in an order that `stream` shuffles: all that the evidence leaves open, and for the Strehl the
    /// part of it that is reading noise.
    ///
    /// Errors: [`Error::Input`] where draws were taken out of a hand-made estimate.
    pub(super) fn draws(&self, stream: u64) -> Result<EvidenceDraws> {
        let (strehl, rms_nm, noise) = match self {
            Self::Readings(figure) => (
                figure.total_draws.strehl.clone(),
                figure.total_draws.rms_nm.clone(),
                figure.draws.strehl.clone(),
            ),
            Self::Sheet(sheet) => {
                let strehl = sheet.strehl_draws(DRAWS, stream)?;
                (strehl.clone(), sheet.rms_draws_nm(DRAWS, stream)?, strehl)
            }
            Self::Report(report) => {
                (report.strehl_draws.clone(), report.rms_nm_draws.clone(), report.strehl_draws.clone())
            }
        };
        if strehl.len() < LEAST_DRAWS || strehl.len() != rms_nm.len() || noise.len() < LEAST_DRAWS {
            let allowed = "100 draws or more, as many of the Strehl as of the RMS";
            return Err(Error::input("draws", strehl.len(), allowed, "an estimate changed by hand?"));
        }
        Ok(EvidenceDraws {
            strehl: shuffled(&strehl, stream),
            rms_nm: shuffled(&rms_nm, stream),
            noise: shuffled(&noise, stream),
        })
    }
}

/// Draws of one piece of evidence; those of Strehl and RMS in one order.
pub(super) struct EvidenceDraws {
    pub(super) strehl: Vec<f64>,
    pub(super) rms_nm: Vec<f64>,
    pub(super) noise: Vec<f64>,
}

fn on_paper(value: f64, bounds: Bounds) -> Measured {
    let interval = Interval { low: bounds.low, high: bounds.high, share: SHARE };
    Measured { value, noise: interval, total: interval }
}

/// The value that half of the draws lie below.
fn middle(draws: &[f64]) -> f64 {
    stats::quantile_weighted(draws, &vec![1.0; draws.len()], 0.5).unwrap_or(0.0)
}

/// The draws in another order, so that two lists from one stream of noise are strangers to each other.
fn shuffled(draws: &[f64], stream: u64) -> Vec<f64> {
    let mut list = draws.to_vec();
    Stream::new(stream, SHUFFLE).shuffle(&mut list);
    list
}
