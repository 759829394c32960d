//! A batch of diagonals: what is compared, its checks, and its rows in order.

use std::ops::Range;
use std::sync::OnceLock;
use std::sync::atomic::{AtomicUsize, Ordering};

use serde::{Deserialize, Serialize};

use super::comparison::DiagonalComparison;
use super::row::DiagonalRow;
use crate::error::{Error, Findings, Result};
use crate::model::{Diagonal, Drawtube, FocalPlane, Train};
use crate::numeric::pool;
use crate::trace::Prepared;
use crate::units::{ARCSEC_PER_RADIAN, DEFAULT_WAVELENGTH_NM, NM_PER_MM};

/// Rows that one run holds in memory at once, at most.
const MOST_ROWS: usize = 1_000_000;
/// Azimuths around the field, unless stated.
const AZIMUTHS: usize = 24;

/// The offset that every diagonal of a batch gets.
///
/// ```
/// use catoptric::OffsetRule;
/// assert_eq!(OffsetRule::default(), OffsetRule::Fitted);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum OffsetRule {
    /// That of the largest lit circle which the size serves.
    #[default]
    Fitted,
    /// None: the face's centre on the axis.
    None,
    /// The same length for all sizes, toward the primary and equally away from the focuser.
    StatedMm(f64),
}

/// What a batch of diagonals compares, before its checks.
///
/// Units: mm; arcsec for the full period of a detail on the sky; nm. Prices in any currency.
/// Shapes: lists of any length; `price` has one entry a size, or none.
///
/// ```
/// use catoptric::{DiagonalBatchInput, FocalLengthMm, Primary, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
/// let mut input = DiagonalBatchInput::new(vec![train], vec![63.0, 70.0], vec![0.0, 15.0]);
/// input.axis_to_focus_mm = vec![235.0];
/// assert_eq!(input.check()?.len(), 2);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DiagonalBatchInput {
    /// The trains that the diagonals stand in; their own diagonal gives its reflectance, glass and place.
    pub trains: Vec<Train>,
    /// Minor axes, mm, in any order, which is kept; none twice.
    pub minor_axis_mm: Vec<f64>,
    /// Distances of the focal plane from the tube's axis, mm; empty: each train's own.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub axis_to_focus_mm: Vec<f64>,
    /// Drawtubes; empty: each train's own, or none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub drawtubes: Vec<Drawtube>,
    /// Radii in the focal plane, mm; the largest is called the edge.
    pub field_radius_mm: Vec<f64>,
    /// Azimuths around the field from which worst and mean are taken.
    #[serde(default = "azimuths")]
    pub azimuths: usize,
    /// Full periods of details on the sky, arcsec, for the contrast.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub detail_arcsec: Vec<f64>,
    /// Wavelength of the contrast, nm.
    #[serde(default = "wavelength")]
    pub wavelength_nm: f64,
    /// What each size costs; empty: not told.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub price: Vec<f64>,
    /// The offset of all diagonals.
    #[serde(default)]
    pub offset: OffsetRule,
    /// The first row and the row after the last, of a part of a batch.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rows: Option<(usize, usize)>,
}

fn azimuths() -> usize {
    AZIMUTHS
}

fn wavelength() -> f64 {
    DEFAULT_WAVELENGTH_NM
}

impl DiagonalBatchInput {
    /// A batch of sizes in some trains, looked at over some radii; the rest as usual.
    ///
    /// ```
    /// let input = catoptric::DiagonalBatchInput::new(vec![], vec![63.0], vec![0.0]);
    /// assert!(input.check().is_err(), "no train");
    /// ```
    pub fn new(trains: Vec<Train>, minor_axis_mm: Vec<f64>, field_radius_mm: Vec<f64>) -> Self {
        Self {
            trains,
            minor_axis_mm,
            axis_to_focus_mm: Vec::new(),
            drawtubes: Vec::new(),
            field_radius_mm,
            azimuths: AZIMUTHS,
            detail_arcsec: Vec::new(),
            wavelength_nm: DEFAULT_WAVELENGTH_NM,
            price: Vec::new(),
            offset: OffsetRule::Fitted,
            rows: None,
        }
    }

    /// The batch, or every fault found.
    ///
    /// ```
    /// use catoptric::{DiagonalBatchInput, FocalLengthMm, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
    /// let input = DiagonalBatchInput::new(vec![train], vec![63.0, 63.0], vec![0.0]);
    /// let error = input.check().unwrap_err();
    /// assert!(error.problems().iter().any(|p| p.field == "minor_axis_mm[1]"), "a size twice");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn check(self) -> Result<DiagonalBatch> {
        DiagonalBatch::try_from(self)
    }

    /// The number of the largest field radius.
    pub(super) fn edge(&self) -> usize {
        let radii = &self.field_radius_mm;
        (0..radii.len()).fold(0, |edge, i| if radii[i] > radii[edge] { i } else { edge })
    }

    /// The number of rows of the whole batch; none where it cannot be counted.
    fn all_rows(&self) -> Option<usize> {
        let settings = self.axis_to_focus_mm.len().max(1).checked_mul(self.drawtubes.len().max(1))?;
        let rows = settings.checked_mul(self.trains.len())?.checked_mul(self.minor_axis_mm.len())?;
        (rows < usize::MAX / 1024).then_some(rows)
    }

    fn note_problems(&self, findings: &mut Findings) {
        if self.trains.is_empty() {
            findings.fault("trains", "no trains", "one train or more", "");
        }
        self.note_sizes(findings);
        if self.field_radius_mm.is_empty() {
            findings.fault("field_radius_mm", "no radii", "one radius or more", "");
        }
        let smallest = |of: fn(&Train) -> f64| self.trains.iter().map(of).fold(f64::INFINITY, f64::min);
        let aperture = smallest(|t| t.primary().clear_aperture_mm);
        for (i, radius) in self.field_radius_mm.iter().enumerate() {
            findings.number(
                &format!("field_radius_mm[{i}]"),
                *radius,
                |r| r >= 0.0 && r <= aperture / 2.0,
                "from 0 to half of the smallest clear aperture",
                "a sign, or micrometres?",
            );
        }
        for (i, distance) in self.axis_to_focus_mm.iter().enumerate() {
            let fits = |t: &Train| {
                *distance > t.primary().clear_aperture_mm / 2.0 && *distance < t.primary().focal_length_mm
            };
            findings.number(
                &format!("axis_to_focus_mm[{i}]"),
                *distance,
                |_| self.trains.iter().all(fits),
                "more than half the clear aperture and less than the focal length, of every train",
                "counted from the tube's wall instead of its axis?",
            );
        }
        if self.axis_to_focus_mm.is_empty()
            && let Some(i) = self.trains.iter().position(|t| t.focal_plane().is_none())
        {
            let cause = format!("train {i} has no focal plane of its own");
            findings.fault(
                "axis_to_focus_mm",
                "nothing",
                "distances of the focal plane from the axis",
                &cause,
            );
        }
        if !(2..=3600).contains(&self.azimuths) {
            findings.fault("azimuths", self.azimuths, "from 2 to 3600", "");
        }
        let wave = |nm: f64| (100.0..=20_000.0).contains(&nm);
        let wavelength =
            findings.number("wavelength_nm", self.wavelength_nm, wave, "from 100 to 20 000", "other units?");
        if wavelength {
            let finest = self.wavelength_nm / NM_PER_MM * ARCSEC_PER_RADIAN / smallest(open_diameter_mm);
            for (i, detail) in self.detail_arcsec.iter().enumerate() {
                let allowed = format!("a full period that every mirror resolves: above {finest:.3} arcsec");
                let coarser = |d: f64| d > finest && d < 3600.0;
                findings.number(
                    &format!("detail_arcsec[{i}]"),
                    *detail,
                    coarser,
                    &allowed,
                    "half of a period?",
                );
            }
        }
    }

    fn note_sizes(&self, findings: &mut Findings) {
        let aperture =
            self.trains.iter().map(|t| t.primary().clear_aperture_mm).fold(f64::INFINITY, f64::min);
        if self.minor_axis_mm.is_empty() {
            findings.fault("minor_axis_mm", "no sizes", "one size or more", "");
        }
        let least = if let OffsetRule::StatedMm(offset) = self.offset {
            let sizes = "a finite length, not beyond half of the smallest minor axis";
            findings.number("offset_mm", offset, |_| true, sizes, "");
            2.0 * offset.abs()
        } else {
            0.0
        };
        let mut order: Vec<usize> = (0..self.minor_axis_mm.len()).collect();
        let good = |size: f64| size > 0.0 && size < aperture && size >= least;
        let bad = order.iter().filter(|i| !good(self.minor_axis_mm[**i]));
        // A longer list of faults helps nobody.
        for i in bad.take(20) {
            findings.number(
                &format!("minor_axis_mm[{i}]"),
                self.minor_axis_mm[*i],
                good,
                "above 0, below the smallest clear aperture, not below twice a stated offset",
                "inches, or the primary's own diameter?",
            );
        }
        order.sort_by(|&a, &b| self.minor_axis_mm[a].total_cmp(&self.minor_axis_mm[b]).then(a.cmp(&b)));
        for pair in order.windows(2) {
            let (first, again) = (pair[0], pair[1]);
            if self.minor_axis_mm[first].to_bits() == self.minor_axis_mm[again].to_bits() {
                findings.fault(
                    &format!("minor_axis_mm[{again}]"),
                    self.minor_axis_mm[again],
                    "each size once",
                    &format!("the same as minor_axis_mm[{first}]: two offers of one size are two batches"),
                );
                break;
            }
        }
        if !self.price.is_empty() && self.price.len() != self.minor_axis_mm.len() {
            let found = format!("{} prices beside {} sizes", self.price.len(), self.minor_axis_mm.len());
            findings.fault("price", found, "one price a size, or none at all", "");
        }
        for (i, price) in self.price.iter().enumerate() {
            if !(price.is_finite() && *price >= 0.0) {
                findings.fault(&format!("price[{i}]"), price, "a number of 0 or more", "a sign?");
                break;
            }
        }
    }
}

/// Diameter of the mirror that gathers light.
fn open_diameter_mm(train: &Train) -> f64 {
    train.primary().open_diameter_mm()
}

/// A batch of diagonals that has passed its checks: sizes x heights of the focal plane x drawtubes x trains.
///
/// Rows come train by train, within these height by height, drawtube by drawtube, and last size by size.
///
/// Units: see [`DiagonalBatchInput`]. Errors: at construction, all faults found.
/// Method: exact fractions, good to 1e-9; some microseconds a field point for a mirror without figure and parts that are
/// plain circles, as long as [`crate::Prepared::light`] for others. Leaves out: see [`DiagonalRow`].
///
/// ```
/// use catoptric::{Diagonal, DiagonalBatchInput, FocalLengthMm, FocalPlane, Primary, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(70.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .build()?;
/// let batch = DiagonalBatchInput::new(vec![train], vec![45.0, 63.0, 70.0], vec![0.0, 15.0]).check()?;
/// let whole = batch.run()?;
/// let halves = [batch.part(0, 2)?.run()?, batch.part(1, 2)?.run()?];
/// let joined: Vec<_> = halves.iter().flat_map(|half| half.rows.clone()).collect();
/// assert_eq!(joined, whole.rows);
/// assert!(whole.rows[0].clipped_axis && !whole.rows[2].clipped_axis);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "DiagonalBatchInput", into = "DiagonalBatchInput")]
pub struct DiagonalBatch {
    input: DiagonalBatchInput,
    range: (usize, usize),
}

impl TryFrom<DiagonalBatchInput> for DiagonalBatch {
    type Error = Error;

    fn try_from(input: DiagonalBatchInput) -> Result<Self> {
        let mut findings = Findings::default();
        input.note_problems(&mut findings);
        findings.refuse()?;
        let whole = input.all_rows().ok_or_else(|| {
            Error::input("minor_axis_mm", "too many", "a number of rows that can be counted", "")
        })?;
        let range = input.rows.unwrap_or((0, whole));
        if range.0 > range.1 || range.1 > whole {
            let found = format!("{} to {}", range.0, range.1);
            return Err(Error::input("rows", found, format!("within 0 to {whole}, rising"), ""));
        }
        let batch = Self { input, range };
        batch.try_settings()?;
        Ok(batch)
    }
}

impl From<DiagonalBatch> for DiagonalBatchInput {
    fn from(batch: DiagonalBatch) -> Self {
        batch.input
    }
}

/// Where a row stands in a batch.
#[derive(Clone, Copy, Debug)]
pub(super) struct Place {
    pub(super) row: usize,
    pub(super) train: usize,
    pub(super) drawtube: Option<usize>,
    pub(super) axis_to_focus_mm: f64,
    pub(super) size: usize,
}

impl DiagonalBatch {
    /// The number of rows.
    ///
    /// ```
    /// use catoptric::{DiagonalBatchInput, FocalLengthMm, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
    /// let mut input = DiagonalBatchInput::new(vec![train], vec![63.0, 70.0], vec![0.0]);
    /// input.axis_to_focus_mm = vec![220.0, 235.0, 250.0];
    /// assert_eq!(input.check()?.len(), 6);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn len(&self) -> usize {
        self.range.1 - self.range.0
    }

    /// Whether there is no row: a part of a batch of few may be empty.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// What was given.
    pub fn input(&self) -> &DiagonalBatchInput {
        &self.input
    }

    /// Bytes that one row takes in memory, about.
    pub fn bytes_per_row(&self) -> usize {
        let radii = self.input.field_radius_mm.len();
        let lists = 8 * (2 * radii + self.input.detail_arcsec.len());
        size_of::<DiagonalRow>() + lists + 48
    }

    /// The k-th of `of` parts of the rows, from 0: joined in order they are the whole, bit for bit.
    ///
    /// Errors: [`Error::Input`] for a part that there is not.
    pub fn part(&self, k: usize, of: usize) -> Result<Self> {
        if k >= of {
            return Err(Error::input("k", k, format!("from 0 to below of = {of}"), "counted from 1?"));
        }
        let cut = |k: usize| self.range.0 + (self.len() as u128 * k as u128 / of as u128) as usize;
        Ok(self.over((cut(k), cut(k + 1))))
    }

    /// The first row and the row after the last, in the whole batch.
    pub(super) fn range(&self) -> (usize, usize) {
        self.range
    }

    /// The same batch over other rows of the whole.
    pub(super) fn over(&self, range: (usize, usize)) -> Self {
        let rows = (Some(range.1 - range.0) != self.input.all_rows()).then_some(range);
        Self { input: DiagonalBatchInput { rows, ..self.input.clone() }, range }
    }

    /// All rows at once, with what they mean beside one another.
    ///
    /// Errors: [`Error::Input`] for more than a million rows, with the memory they would take: [`DiagonalBatch::chunks`]
    /// hands them out piece by piece.
    pub fn run(&self) -> Result<DiagonalComparison> {
        self.run_counting(&AtomicUsize::new(0))
    }

    /// The same, with a count of the rows that are done.
    pub fn run_counting(&self, done: &AtomicUsize) -> Result<DiagonalComparison> {
        if self.len() > MOST_ROWS {
            let bytes = self.len() as f64 * self.bytes_per_row() as f64;
            return Err(Error::input(
                "rows",
                self.len(),
                format!("at most {MOST_ROWS} rows at once; these would take {:.1} GB", bytes / 1e9),
                "chunks(rows) hands them out piece by piece in memory that does not grow",
            ));
        }
        let rows = self.rows(0..self.len(), done)?;
        Ok(DiagonalComparison::new(self.clone(), rows))
    }

    /// The rows piece by piece, each piece of so many: memory does not grow with the number of rows.
    ///
    /// Errors: [`Error::Input`] for pieces of no row, or of more than a million.
    ///
    /// ```
    /// use catoptric::{DiagonalBatchInput, FocalLengthMm, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
    /// let mut input = DiagonalBatchInput::new(vec![train], vec![50.0, 63.0, 70.0], vec![0.0]);
    /// input.axis_to_focus_mm = vec![235.0];
    /// let lengths: Vec<usize> = input.check()?.chunks(2)?.map(|rows| rows.map_or(0, |r| r.len())).collect();
    /// assert_eq!(lengths, [2, 1]);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn chunks(&self, rows: usize) -> Result<RowChunks<'_>> {
        if rows == 0 || rows > MOST_ROWS {
            return Err(Error::input("rows", rows, format!("from 1 to {MOST_ROWS} rows a piece"), ""));
        }
        Ok(RowChunks { batch: self, next: 0, rows })
    }

    /// Rows by their numbers in this batch, computed on the library's threads; stops between two rows on request.
    pub fn rows(&self, range: Range<usize>, done: &AtomicUsize) -> Result<Vec<DiagonalRow>> {
        let first = self.range.0 + range.start.min(self.len());
        let count = range.end.min(self.len()).saturating_sub(range.start);
        // Rows of one train share its mirror.
        let mirrors: Vec<OnceLock<Prepared>> = self.input.trains.iter().map(|_| OnceLock::new()).collect();
        let rows = pool::map_ordered(count, count > 3, |i| {
            let row = self.row(first + i, &mirrors);
            done.fetch_add(1, Ordering::Relaxed);
            row
        });
        rows.into_iter().collect()
    }

    fn row(&self, row: usize, mirrors: &[OnceLock<Prepared>]) -> Result<DiagonalRow> {
        let place = self.place(row);
        let given = mirrors[place.train].get_or_init(|| Prepared::new(&self.input.trains[place.train]));
        Ok(DiagonalRow::new(&self.input, place, given.changed(&self.train(place)?)))
    }

    fn place(&self, row: usize) -> Place {
        let (sizes, tubes) = (self.input.minor_axis_mm.len(), self.input.drawtubes.len());
        let (rest, size) = (row / sizes, row % sizes);
        let (rest, tube) = (rest / tubes.max(1), rest % tubes.max(1));
        let heights = self.input.axis_to_focus_mm.len();
        let (train, height) = (rest / heights.max(1), rest % heights.max(1));
        let own = || self.input.trains[train].focal_plane().map_or(0.0, |p| p.axis_to_focus_mm);
        let axis_to_focus_mm = self.input.axis_to_focus_mm.get(height).copied().unwrap_or_else(own);
        Place { row, train, drawtube: (tubes > 0).then_some(tube), axis_to_focus_mm, size }
    }

    /// The train of a row.
    fn train(&self, place: Place) -> Result<Train> {
        let mut parts = self.input.trains[place.train].to_parts();
        let minor_axis_mm = self.input.minor_axis_mm[place.size];
        let base = parts.diagonal.unwrap_or_else(|| Diagonal::new(minor_axis_mm));
        let offset_mm = match self.input.offset {
            OffsetRule::Fitted => None,
            OffsetRule::None => Some(0.0),
            OffsetRule::StatedMm(offset) => Some(offset),
        };
        parts.diagonal = Some(Diagonal { minor_axis_mm, offset_mm, ..base });
        parts.focal_plane = Some(FocalPlane::new(place.axis_to_focus_mm));
        if let Some(tube) = place.drawtube {
            parts.drawtube = Some(self.input.drawtubes[tube]);
        }
        parts.build_after(&self.input.trains[place.train])
    }

    /// Refuses settings that cannot be: each is tried with the sizes that are the first to fail.
    fn try_settings(&self) -> Result<()> {
        let sizes = &self.input.minor_axis_mm;
        let settings = self.input.trains.len()
            * self.input.axis_to_focus_mm.len().max(1)
            * self.input.drawtubes.len().max(1);
        let nearest = |target: f64| {
            let apart = |i: &usize| (sizes[*i] - target).abs();
            (0..sizes.len()).min_by(|a, b| apart(a).total_cmp(&apart(b))).unwrap_or(0)
        };
        let (smallest, largest) = (nearest(0.0), nearest(f64::MAX));
        let mut middles: Vec<usize> = Vec::new();
        for train in &self.input.trains {
            middles.push(nearest(train.primary().clear_aperture_mm / 2.0));
        }
        for setting in 0..settings {
            let row = setting * sizes.len();
            let middle = middles[self.place(row).train];
            for size in [smallest, largest, middle] {
                self.train(Place { size, ..self.place(row) })?;
            }
        }
        Ok(())
    }
}

/// The rows of a batch, piece by piece.
///
/// ```
/// use catoptric::{DiagonalBatchInput, FocalLengthMm, Primary, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
/// let mut input = DiagonalBatchInput::new(vec![train], vec![63.0, 70.0], vec![0.0]);
/// input.axis_to_focus_mm = vec![235.0];
/// let batch = input.check()?;
/// assert_eq!(batch.chunks(1)?.count(), 2);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Debug)]
pub struct RowChunks<'a> {
    batch: &'a DiagonalBatch,
    next: usize,
    rows: usize,
}

impl Iterator for RowChunks<'_> {
    type Item = Result<Vec<DiagonalRow>>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.next >= self.batch.len() {
            return None;
        }
        let range = self.next..(self.next + self.rows).min(self.batch.len());
        self.next = range.end;
        Some(self.batch.rows(range, &AtomicUsize::new(0)))
    }
}
