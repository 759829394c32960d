//! Candidates beside one another: which are dominated, and beyond which size nothing improves.

use serde::{Deserialize, Serialize};

use super::batch::DiagonalBatch;
use super::row::DiagonalRow;
use super::words;
use crate::error::{Error, Result};
use crate::trace::Part;

/// Differences that are none: of shares and ratios, and of the fully lit diameter, mm.
const SAME_SHARE: f64 = 1e-6;
const SAME_DIAMETER_MM: f64 = 5e-3;
/// A gain at the edge below this share of the light, 0.005 magnitudes, is no improvement: common practice, no source.
const NO_GAIN: f64 = 0.005;
/// The same of the fully lit diameter, mm.
const NO_GAIN_MM: f64 = 0.1;

/// What candidates are held against one another by.
///
/// ```
/// assert_eq!(catoptric::Criterion::Obstruction.key(), "obstruction_ratio");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Criterion {
    /// The obstruction by diameter: less is better.
    Obstruction,
    /// The share of the light that reaches the darkest azimuth of the edge.
    EdgeLight,
    /// The share of the light that reaches the middle of the field.
    AxisLight,
    /// The fully lit diameter.
    FullyLit,
    /// The price: less is better.
    Price,
}

impl Criterion {
    /// The column that it looks at.
    pub fn key(self) -> &'static str {
        match self {
            Self::Obstruction => "obstruction_ratio",
            Self::EdgeLight => "edge_light",
            Self::AxisLight => "on_axis",
            Self::FullyLit => "fully_lit_diameter_mm",
            Self::Price => "price",
        }
    }

    /// A number that is greater the better, and the difference that counts as none.
    fn value(self, row: &DiagonalRow, edge: usize) -> (f64, f64) {
        match self {
            Self::Obstruction => (-row.obstruction_ratio, 0.0),
            Self::EdgeLight => (row.absolute_worst(edge), SAME_SHARE),
            Self::AxisLight => (row.on_axis, SAME_SHARE),
            Self::FullyLit => (row.fully_lit_diameter_mm, SAME_DIAMETER_MM),
            Self::Price => (-row.price.unwrap_or(0.0), 0.0),
        }
    }
}

/// The size beyond which nothing improves in one setting, because another part is the stop.
///
/// Nothing improves: no larger size lights the darkest azimuth of the edge, the shadow left out, by 0.005 more of the
/// light, or widens the fully lit circle by 0.1 mm. Common practice, no source.
///
/// ```
/// use catoptric::{Ceiling, Part};
/// let ceiling = Ceiling {
///     train: 0, drawtube: None, axis_to_focus_mm: 303.0, minor_axis_mm: 88.9,
///     stopped_by: Part::DrawtubeInnerEnd,
/// };
/// assert_eq!(ceiling.stopped_by.key(), "drawtube_inner_end");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Ceiling {
    /// Number of the train.
    pub train: usize,
    /// Number of the drawtube; none: the train's own.
    pub drawtube: Option<usize>,
    /// Distance from the tube's axis to the focal plane, mm.
    pub axis_to_focus_mm: f64,
    /// The smallest size that no larger one of the list improves on, mm.
    pub minor_axis_mm: f64,
    /// The part that is the stop from there on.
    pub stopped_by: Part,
}

/// Candidates beside one another.
///
/// Shapes: `dominated` has one entry a row. A row is dominated by another of the same train, height and drawtube that is
/// better by one criterion and worse by none.
///
/// ```
/// use catoptric::{Diagonal, DiagonalBatchInput, FocalLengthMm, FocalPlane, Opening, Primary, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(70.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .build()?;
/// // With nothing but a diagonal, each larger one lights more of the field: none is dominated.
/// let found = DiagonalBatchInput::new(vec![train], vec![50.0, 63.0, 70.0], vec![0.0, 15.0]).check()?.run()?;
/// assert_eq!(found.dominated, [false; 3]);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DiagonalComparison {
    /// What was compared.
    pub batch: DiagonalBatch,
    /// The candidates.
    pub rows: Vec<DiagonalRow>,
    /// What they are held against one another by.
    pub criteria: Vec<Criterion>,
    /// Whether another candidate is better by one of these and worse by none.
    pub dominated: Vec<bool>,
    /// For each setting in which there is one, the size beyond which nothing improves.
    pub ceilings: Vec<Ceiling>,
}

impl DiagonalComparison {
    /// Compares rows of a batch by obstruction, edge light and fully lit diameter, and by the price where it is given.
    pub fn new(batch: DiagonalBatch, rows: Vec<DiagonalRow>) -> Self {
        let mut criteria = vec![Criterion::Obstruction, Criterion::EdgeLight, Criterion::FullyLit];
        if !batch.input().price.is_empty() {
            criteria.push(Criterion::Price);
        }
        let edge = edge_of(&batch);
        let dominated = dominated(&rows, &criteria, edge);
        let ceilings = settings(&rows).filter_map(ceiling).collect();
        Self { batch, rows, criteria, dominated, ceilings }
    }

    /// The comparison that parts of one batch make together, given in their order.
    ///
    /// Errors: [`Error::Input`] for no parts, and for parts that do not follow one another.
    ///
    /// ```
    /// use catoptric::{DiagonalBatchInput, DiagonalComparison, FocalLengthMm, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0))).build()?;
    /// let mut input = DiagonalBatchInput::new(vec![train], vec![50.0, 63.0, 70.0], vec![0.0, 9.0]);
    /// input.axis_to_focus_mm = vec![235.0];
    /// let batch = input.check()?;
    /// let parts = [batch.part(0, 2)?.run()?, batch.part(1, 2)?.run()?];
    /// assert_eq!(DiagonalComparison::join(&parts)?, batch.run()?);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn join(parts: &[Self]) -> Result<Self> {
        let (Some(first), Some(last)) = (parts.first(), parts.last()) else {
            return Err(Error::input("parts", "no parts", "one part or more", ""));
        };
        for (i, pair) in parts.windows(2).enumerate() {
            let (end, next) = (pair[0].batch.range().1, pair[1].batch.range());
            if end != next.0 || pair[1].batch.over(next) != first.batch.over(next) {
                let found = format!("rows {} to {}", next.0, next.1);
                let allowed = format!("the part of the same batch that goes on at row {end}");
                return Err(Error::input(format!("parts[{}]", i + 1), found, allowed, "parts out of order?"));
            }
        }
        let batch = first.batch.over((first.batch.range().0, last.batch.range().1));
        Ok(Self::new(batch, parts.iter().flat_map(|part| part.rows.iter().cloned()).collect()))
    }

    /// The same, held against one another by other criteria.
    #[must_use]
    pub fn by(mut self, criteria: &[Criterion]) -> Self {
        self.dominated = dominated(&self.rows, criteria, edge_of(&self.batch));
        self.criteria = criteria.to_vec();
        self
    }

    /// The number of the largest field radius.
    pub fn edge(&self) -> usize {
        edge_of(&self.batch)
    }

    /// What the owner should know before any weights: axes that are cut, and sizes beyond which nothing improves.
    pub fn findings(&self) -> Vec<String> {
        words::findings(self)
    }

    /// The rows of each setting: one train, one height, one drawtube.
    pub(super) fn settings(&self) -> impl Iterator<Item = &[DiagonalRow]> {
        settings(&self.rows)
    }
}

fn edge_of(batch: &DiagonalBatch) -> usize {
    batch.input().edge()
}

/// Rows stand setting by setting.
fn settings(rows: &[DiagonalRow]) -> impl Iterator<Item = &[DiagonalRow]> {
    rows.chunk_by(|a, b| {
        a.train == b.train
            && a.drawtube == b.drawtube
            && a.axis_to_focus_mm.to_bits() == b.axis_to_focus_mm.to_bits()
    })
}

fn dominated(rows: &[DiagonalRow], criteria: &[Criterion], edge: usize) -> Vec<bool> {
    let mut found = Vec::with_capacity(rows.len());
    for setting in settings(rows) {
        let values: Vec<Vec<(f64, f64)>> =
            setting.iter().map(|row| criteria.iter().map(|c| c.value(row, edge)).collect()).collect();
        for own in &values {
            let beaten = values.iter().any(|other| {
                let pairs = || own.iter().zip(other);
                pairs().all(|((a, same), (b, _))| *b >= a - same)
                    && pairs().any(|((a, same), (b, _))| *b > a + same)
            });
            found.push(beaten);
        }
    }
    found
}

/// The smallest size of a setting that no larger one improves on, if there is a larger one and a part that stops.
fn ceiling(setting: &[DiagonalRow]) -> Option<Ceiling> {
    let mut rising: Vec<&DiagonalRow> = setting.iter().collect();
    rising.sort_by(|a, b| a.minor_axis_mm.total_cmp(&b.minor_axis_mm));
    let (mut most_light, mut most_mm) = (f64::NEG_INFINITY, f64::NEG_INFINITY);
    let mut least = None;
    // From the largest down: as long as all larger ones bring nothing.
    for (i, row) in rising.iter().enumerate().rev() {
        if i + 1 < rising.len() {
            let gains = most_light > row.edge_without_shadow + NO_GAIN
                || most_mm > row.fully_lit_diameter_mm + NO_GAIN_MM;
            if gains {
                break;
            }
            least = Some(*row);
        }
        most_light = most_light.max(row.edge_without_shadow);
        most_mm = most_mm.max(row.fully_lit_diameter_mm);
    }
    let row = least?;
    let last = rising[rising.len() - 1];
    // What stops behind the largest one is no diagonal.
    let other = |part: &Part| *part != Part::Diagonal;
    let stopped_by = last.fully_lit_limited_by.filter(other).or(last.edge_limited_by.filter(other))?;
    Some(Ceiling {
        train: row.train,
        drawtube: row.drawtube,
        axis_to_focus_mm: row.axis_to_focus_mm,
        minor_axis_mm: row.minor_axis_mm,
        stopped_by,
    })
}
