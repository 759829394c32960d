//! Readings of a lamp that shines on single places of the mirror, checked.

use std::path::Path;

use serde::{Deserialize, Serialize};

use super::coating_estimate::CoatingEstimate;
use super::coating_fit;
use super::coating_outline::CoatingOutline;
use crate::error::{Error, Findings, Result};
use crate::model::text::read_text;

const WHAT: &str = "a table of lamp readings";
/// No mirror is brighter than a known flat by more than this: silver over poor aluminium.
const MOST_RATIO: f64 = 1.5;
/// What a text of figures may be rounded to, coarse to fine.
const STEPS: [f64; 5] = [0.01, 0.005, 0.002, 0.001, 0.0001];

/// One place on the mirror, and what the lamp's light there came to beside that from the known flat.
///
/// Units: mm, +x toward the focuser; ratios of light.
///
/// ```
/// let spot = catoptric::CoatingSpot::new(40.0, 0.0, vec![0.96, 0.95, 0.95]);
/// assert_eq!(spot.ratios.len(), 3);
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CoatingSpot {
    /// Where the spot lies, mm toward the focuser's side.
    pub x_mm: f64,
    /// Where it lies across, mm.
    pub y_mm: f64,
    /// Repeats: light from the mirror over light from the flat.
    pub ratios: Vec<f64>,
}

impl CoatingSpot {
    /// A spot from its place, mm, and the repeats of its ratio.
    ///
    /// ```
    /// assert_eq!(catoptric::CoatingSpot::new(40.0, -7.0, vec![0.9]).y_mm, -7.0);
    /// ```
    pub fn new(x_mm: f64, y_mm: f64, ratios: Vec<f64>) -> Self {
        Self { x_mm, y_mm, ratios }
    }
}

/// Lamp readings as they are written down, before any check.
///
/// Units: mm; ratios of light; shares of the power.
///
/// ```
/// use catoptric::{CoatingSpot, CoatingSpotsInput};
/// let input = CoatingSpotsInput::new(356.0, 0.90, vec![CoatingSpot::new(40.0, 0.0, vec![0.96])]);
/// assert_eq!(input.reference_sigma, 0.0);
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CoatingSpotsInput {
    /// Clear aperture of the mirror, mm.
    pub clear_aperture_mm: f64,
    /// Share of the power that the known flat returns.
    pub reference_reflectance: f64,
    /// Standard deviation of that share; it moves all levels together. 0: taken as exact.
    #[serde(default)]
    pub reference_sigma: f64,
    /// Standard deviation of one ratio; none: from the repeats.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ratio_sigma: Option<f64>,
    /// The places that were read.
    pub spots: Vec<CoatingSpot>,
}

impl CoatingSpotsInput {
    /// Readings beside a flat of which the reflectance is taken as exact, the noise to come from the repeats.
    ///
    /// ```
    /// assert_eq!(catoptric::CoatingSpotsInput::new(356.0, 0.90, vec![]).ratio_sigma, None);
    /// ```
    pub fn new(clear_aperture_mm: f64, reference_reflectance: f64, spots: Vec<CoatingSpot>) -> Self {
        Self { clear_aperture_mm, reference_reflectance, reference_sigma: 0.0, ratio_sigma: None, spots }
    }
}

/// Readings of a lamp at places on the mirror, each beside a flat of known reflectance.
///
/// Units: mm, +x toward the focuser; ratios of light; shares of the power.
/// Errors: [`Error::Input`] at construction, with all faults found: spots off the mirror, ratios above 1.5 or not above
/// 0, a reflectance that cannot be, no spot with repeats and no stated noise either.
/// Leaves out: the size of the lit spot. A disc of diameter d reads the mean over itself: d^2/32 times the sum of the
/// second derivatives more than its middle, 0.003 for 5 mm on the bottom of a ring 27 mm wide and 0.13 deep. The lamp's
/// colour stands for that of the starlight, and what the coating scatters by more than the receiver takes in counts as
/// lost.
///
/// ```
/// use catoptric::{CoatingOutline, CoatingSpot, CoatingSpots, CoatingSpotsInput};
/// let spots = CoatingSpots::new(CoatingSpotsInput::new(200.0, 0.90, vec![
///     CoatingSpot::new(30.0, 0.0, vec![0.95, 0.97]),
///     CoatingSpot::new(0.0, 70.0, vec![0.96, 0.96]),
/// ]))?;
/// let estimate = spots.fit(&CoatingOutline::default())?;
/// assert!((estimate.levels[0].reflectance - 0.864).abs() < 1e-12); // 0.90 x 0.96
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "CoatingSpotsInput", into = "CoatingSpotsInput")]
pub struct CoatingSpots(CoatingSpotsInput);

impl CoatingSpots {
    /// Readings from their parts.
    ///
    /// ```
    /// use catoptric::{CoatingSpot, CoatingSpots, CoatingSpotsInput};
    /// let far = CoatingSpot::new(150.0, 150.0, vec![95.0, 96.0]);
    /// let error = CoatingSpots::new(CoatingSpotsInput::new(356.0, 90.0, vec![far])).unwrap_err();
    /// let fields: Vec<&str> = error.problems().iter().map(|p| p.field.as_str()).collect();
    /// assert_eq!(fields, ["reference_reflectance", "spots[0].y_mm", "spots[0].ratios[0]", "spots[0].ratios[1]"]);
    /// ```
    pub fn new(input: CoatingSpotsInput) -> Result<Self> {
        input.try_into()
    }

    /// Readings from a table: a row a spot, columns `x_mm` and `y_mm`, and one column a repeat, named `ratio_...`; an
    /// empty field or `nan` is a repeat that was not taken. Lines that begin with `#` are passed over.
    ///
    /// Units: mm; ratios of light; a share of the power.
    /// Errors: [`Error::Unreadable`] for a missing or unknown column or text in place of a number, with its line;
    /// [`Error::Input`] as at construction.
    ///
    /// ```
    /// let table = "x_mm,y_mm,ratio_1,ratio_2\n40,0,0.96,0.95\n0,75,0.97,\n";
    /// let spots = catoptric::CoatingSpots::from_csv_text(table, 356.0, 0.90)?;
    /// assert_eq!(spots.input().spots[1].ratios, [0.97]);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn from_csv_text(text: &str, clear_aperture_mm: f64, reference_reflectance: f64) -> Result<Self> {
        Self::new(CoatingSpotsInput::new(clear_aperture_mm, reference_reflectance, parse(text)?))
    }

    /// The same from a file.
    ///
    /// Errors: [`Error::File`], and those of [`CoatingSpots::from_csv_text`].
    ///
    /// ```
    /// assert!(catoptric::CoatingSpots::load_csv("no such file", 356.0, 0.90).is_err());
    /// ```
    pub fn load_csv(
        path: impl AsRef<Path>,
        clear_aperture_mm: f64,
        reference_reflectance: f64,
    ) -> Result<Self> {
        Self::from_csv_text(&read_text(path.as_ref())?, clear_aperture_mm, reference_reflectance)
    }

    /// The same readings beside a flat whose reflectance has this standard deviation.
    ///
    /// Errors: [`Error::Input`] unless it is a share from 0 to 0.2.
    ///
    /// ```
    /// let spots = catoptric::CoatingSpots::from_csv_text("x_mm,y_mm,ratio_1,ratio_2\n40,0,0.96,0.95\n", 356.0, 0.90)?;
    /// assert_eq!(spots.reference_sigma(0.01)?.input().reference_sigma, 0.01);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn reference_sigma(self, reference_sigma: f64) -> Result<Self> {
        Self::new(CoatingSpotsInput { reference_sigma, ..self.0 })
    }

    /// The parts as they were given.
    pub fn input(&self) -> &CoatingSpotsInput {
        &self.0
    }

    /// The levels of a coating whose shapes are known, from these readings.
    ///
    /// Weighted least squares: each spot's mean weighs as its repeats, whose noise is pooled over all spots.
    ///
    /// Units, shapes, what is left out: see [`CoatingEstimate`].
    /// Errors: [`Error::Input`] for an outline that leaves the mirror, a part of it (or the coating between the parts)
    /// that no spot touches, parts that the spots cannot tell apart.
    ///
    /// ```
    /// use catoptric::{CoatingOutline, CoatingSpots, OutlineRing};
    /// let spots = CoatingSpots::from_csv_text("x_mm,y_mm,ratio_1,ratio_2\n40,0,0.96,0.95\n", 356.0, 0.90)?;
    /// let outline = CoatingOutline::default().ring(OutlineRing::flat(112.0, 139.0));
    /// assert!(spots.fit(&outline).unwrap_err().to_string().contains("rings[0]"));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn fit(&self, outline: &CoatingOutline) -> Result<CoatingEstimate> {
        coating_fit::fit(self, outline)
    }

    /// The mean ratio of each spot.
    pub fn mean_ratios(&self) -> Vec<f64> {
        let mean = |spot: &CoatingSpot| spot.ratios.iter().sum::<f64>() / spot.ratios.len() as f64;
        self.0.spots.iter().map(mean).collect()
    }

    /// Standard deviation of one ratio: the stated one, or that of the repeats within their spots, pooled; not below
    /// what the rounding of the figures makes of it. With it the degrees of freedom, none for a stated one.
    pub(super) fn noise(&self) -> (f64, Option<usize>) {
        if let Some(sigma) = self.0.ratio_sigma {
            return (sigma, None);
        }
        let (mut squares, mut freedom) = (0.0, 0);
        for (spot, mean) in self.0.spots.iter().zip(self.mean_ratios()) {
            squares += spot.ratios.iter().map(|r| (r - mean).powi(2)).sum::<f64>();
            freedom += spot.ratios.len() - 1;
        }
        let rounding = self.step() / 12.0_f64.sqrt();
        ((squares / freedom as f64).sqrt().max(rounding), Some(freedom))
    }

    /// The step to which the ratios were rounded: the largest of the usual ones of which all are whole multiples.
    fn step(&self) -> f64 {
        let is_multiple = |step: f64| {
            let all = self.0.spots.iter().flat_map(|spot| &spot.ratios);
            all.map(|r| r / step).all(|steps| (steps - steps.round()).abs() < 1e-6)
        };
        // Noise of nothing would be the claim that one reading settles it.
        STEPS.into_iter().find(|&step| is_multiple(step)).unwrap_or(1e-5)
    }
}

impl TryFrom<CoatingSpotsInput> for CoatingSpots {
    type Error = Error;

    fn try_from(input: CoatingSpotsInput) -> Result<Self> {
        let mut findings = Findings::default();
        let rim_mm = if findings.length("clear_aperture_mm", input.clear_aperture_mm) {
            input.clear_aperture_mm / 2.0
        } else {
            f64::INFINITY
        };
        let known = input.reference_reflectance;
        let cause = if known > 1.0 { "per cent given for a share?" } else { "" };
        findings.number(
            "reference_reflectance",
            known,
            |r| r > 0.0 && r <= 1.0,
            "a share above 0 and not above 1",
            cause,
        );
        let allowed = "a standard deviation from 0 to 0.2";
        findings.number(
            "reference_sigma",
            input.reference_sigma,
            |s| (0.0..=0.2).contains(&s),
            allowed,
            "per cent?",
        );
        if let Some(sigma) = input.ratio_sigma {
            let allowed = "a standard deviation above 0 and not above 0.5";
            findings.number("ratio_sigma", sigma, |s| s > 0.0 && s <= 0.5, allowed, "per cent?");
        }
        if input.spots.is_empty() {
            findings.fault("spots", "none", "one spot or more", "an empty table?");
        }
        for (i, spot) in input.spots.iter().enumerate() {
            findings.within(format!("spots[{i}]"), |f| note_spot(spot, rim_mm, f));
        }
        let repeated = input.spots.iter().any(|spot| spot.ratios.len() > 1);
        if !repeated && input.ratio_sigma.is_none() && !input.spots.is_empty() {
            let allowed = "the standard deviation of one ratio, where no spot was read twice";
            findings.fault(
                "ratio_sigma",
                "nothing",
                allowed,
                "read each spot three times, or state the noise",
            );
        }
        findings.refuse()?;
        Ok(Self(input))
    }
}

impl From<CoatingSpots> for CoatingSpotsInput {
    fn from(spots: CoatingSpots) -> Self {
        spots.0
    }
}

fn note_spot(spot: &CoatingSpot, rim_mm: f64, findings: &mut Findings) {
    let (allowed, cause) = ("a place on the mirror, counted from its centre", "counted from the rim?");
    let beyond = |y: f64| y.hypot(spot.x_mm) <= rim_mm;
    if findings.number("x_mm", spot.x_mm, |x| x.abs() <= rim_mm, allowed, cause) {
        findings.number("y_mm", spot.y_mm, beyond, allowed, cause);
    } else {
        findings.number("y_mm", spot.y_mm, |y| y.abs() <= rim_mm, allowed, cause);
    }
    if spot.ratios.is_empty() {
        findings.fault("ratios", "none", "one reading or more", "a row without readings?");
    }
    for (k, &ratio) in spot.ratios.iter().enumerate() {
        let cause =
            if ratio > MOST_RATIO { "per cent given for a ratio?" } else { "the lamp off, or a sign?" };
        let allowed = "light from the mirror over light from the flat: above 0 and not above 1.5";
        findings.number(&format!("ratios[{k}]"), ratio, |r| r > 0.0 && r <= MOST_RATIO, allowed, cause);
    }
}

/// What a column holds.
#[derive(Clone, Copy, PartialEq)]
enum Column {
    X,
    Y,
    Ratio,
}

/// The spots of a table with a header line.
fn parse(text: &str) -> Result<Vec<CoatingSpot>> {
    let mut reader =
        csv::ReaderBuilder::new().comment(Some(b'#')).trim(csv::Trim::All).from_reader(text.as_bytes());
    let header = reader.headers().map_err(|e| malformed(&e))?.clone();
    let columns = header.iter().map(column).collect::<Result<Vec<_>>>()?;
    let count = |kind| columns.iter().filter(|c| **c == kind).count();
    if count(Column::X) != 1 || count(Column::Y) != 1 || count(Column::Ratio) == 0 {
        let message = "it needs one column x_mm, one column y_mm, and a column ratio_... for each repeat";
        return Err(unreadable("its first line", message));
    }
    let mut spots = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|e| malformed(&e))?;
        let line = record.position().map_or(0, csv::Position::line);
        let mut spot = CoatingSpot::new(0.0, 0.0, Vec::new());
        for ((text, column), name) in record.iter().zip(&columns).zip(&header) {
            if *column == Column::Ratio && (text.is_empty() || text.eq_ignore_ascii_case("nan")) {
                continue;
            }
            let value: f64 = text.parse().map_err(|_| {
                unreadable(&format!("line {line}, column {name}"), &format!("`{text}` is no number"))
            })?;
            match column {
                Column::X => spot.x_mm = value,
                Column::Y => spot.y_mm = value,
                Column::Ratio => spot.ratios.push(value),
            }
        }
        spots.push(spot);
    }
    Ok(spots)
}

fn column(name: &str) -> Result<Column> {
    match name {
        "x_mm" => Ok(Column::X),
        "y_mm" => Ok(Column::Y),
        _ if name.starts_with("ratio") => Ok(Column::Ratio),
        _ => {
            let message = format!("column `{name}` is not known; it may have x_mm, y_mm, ratio_1, ratio_2");
            Err(unreadable("its first line", &message))
        }
    }
}

fn malformed(error: &csv::Error) -> Error {
    let line = error.position().map_or_else(|| "its lines".to_owned(), |p| format!("line {}", p.line()));
    unreadable(&line, &error.to_string())
}

fn unreadable(place: &str, message: &str) -> Error {
    Error::Unreadable { what: WHAT, place: place.to_owned(), message: message.to_owned() }
}
