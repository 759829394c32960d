//! The rows of a ladder: what each work, and each pair of works, gains for its price.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::options::{CONTRAST_STEP, FIELD_STEP, LIGHT_STEP_MAGNITUDES, LadderOptions, STREHL_STEP};
use super::work::Work;
use crate::model::Train;
use crate::shop_test::{Estimated, Interval};

/// A gain up to this is none that could be seen: of shares (Strehl, contrast, light), and of the field's diameter, mm.
/// Common practice, no source.
pub(super) const LEAST_GAIN: f64 = 0.002;
pub(super) const LEAST_GAIN_MM: f64 = 1.0;
/// Differences that are none: of shares, and of the field's diameter, mm.
const SAME: f64 = 1e-6;
const SAME_MM: f64 = 5e-3;
/// Names of quantities.
pub(super) const STREHL: &str = "Strehl ratio";
pub(super) const LIGHT: &str = "light";
/// What leaving everything as it is is called.
pub(super) const LEAVE_IT: &str = "leave it as it is";

/// What a gain rests on.
///
/// ```
/// assert_eq!(catoptric::GainBasis::Promised.key(), "promised");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum GainBasis {
    /// The train as described: sizes, reflectances, and a figure that is taken as known.
    Described,
    /// Figures that the evidence allows, the same figure before and after.
    Drawn,
    /// A range that is promised for the figure afterwards, evenly spread.
    Promised,
    /// A size on paper with an assumed shape: spherical aberration.
    AssumedShape,
    /// A figure without any error.
    UpperBound,
}

impl GainBasis {
    /// The name as files and tables write it.
    ///
    /// ```
    /// assert_eq!(catoptric::GainBasis::Drawn.key(), "drawn");
    /// ```
    pub fn key(self) -> &'static str {
        match self {
            Self::Described => "described",
            Self::Drawn => "drawn",
            Self::Promised => "promised",
            Self::AssumedShape => "assumed_shape",
            Self::UpperBound => "upper_bound",
        }
    }
}

impl fmt::Display for GainBasis {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.key())
    }
}

/// One quantity before and after some work.
///
/// Units: Strehl, contrast and light are shares (`unit` is empty), the usable field is in mm.
/// Shapes: the draws are paired, the same figure before and after; empty where nothing is drawn.
/// The values are those of the plain figure; they may stand at an end of their intervals, or outside, for the same
/// reason as in [`crate::Measured`]. What a work is worth is better read off `median_gain`, which the order goes by.
///
/// ```
/// use catoptric::{FocalLengthMm, LadderOptions, Primary, Train, Work, value_ladder};
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0)).conic(-0.7)).build()?;
/// let ladder = value_ladder(&train, None, &[Work::mask(180.0, 4.0)], &LadderOptions::default())?;
/// let strehl = &ladder.rows[0].gains[0];
/// assert!(strehl.name == "Strehl ratio" && strehl.gain > 0.05 && strehl.proven);
/// assert_eq!(strehl.gain_per_price, Some(strehl.median_gain / 4.0));
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LadderGain {
    /// Of what.
    pub name: String,
    /// Its unit; empty for a share.
    pub unit: String,
    /// As it is.
    pub before: f64,
    /// After the work.
    pub after: f64,
    /// The one less the other.
    pub gain: f64,
    /// Half of the draws gain less; the gain itself where nothing is drawn.
    pub median_gain: f64,
    /// 95 % of its draws; of no width where nothing is drawn.
    pub before_interval: Interval,
    /// The same after the work.
    pub after_interval: Interval,
    /// The same of the gain, draw by draw.
    pub gain_interval: Interval,
    /// The median gain for a unit of money; none where it costs nothing.
    pub gain_per_price: Option<f64>,
    /// What the gain rests on.
    pub basis: GainBasis,
    /// Whether the whole interval lies above a gain of 0.002 (of the field: 1 mm). An assumed shape and an upper bound
    /// prove nothing; a promise is taken at its word.
    pub proven: bool,
    /// Draws as it is.
    pub before_draws: Vec<f64>,
    /// Draws after the work, in the same order.
    pub after_draws: Vec<f64>,
}

/// Draws before and after, where there are any.
pub(super) type Draws = Option<(Vec<f64>, Vec<f64>)>;

impl LadderGain {
    pub(super) fn new(
        name: String,
        unit: &str,
        (before, after): (f64, f64),
        draws: Draws,
        basis: GainBasis,
    ) -> Self {
        let (before_draws, after_draws) = draws.unwrap_or_default();
        let of = |list: &[f64], value: f64| {
            if list.is_empty() {
                Interval { low: value, high: value, share: 0.95 }
            } else {
                Interval::of(list)
            }
        };
        let gains: Vec<f64> = after_draws.iter().zip(&before_draws).map(|(a, b)| a - b).collect();
        let gain_interval = of(&gains, after - before);
        let median_gain = if gains.is_empty() { after - before } else { Estimated::of(&gains).median };
        let least = if unit == "mm" { LEAST_GAIN_MM } else { LEAST_GAIN };
        let can_prove = !matches!(basis, GainBasis::AssumedShape | GainBasis::UpperBound);
        Self {
            unit: unit.to_owned(),
            before,
            after,
            gain: after - before,
            median_gain,
            before_interval: of(&before_draws, before),
            after_interval: of(&after_draws, after),
            proven: can_prove && gain_interval.low > least,
            gain_interval,
            gain_per_price: None,
            basis,
            before_draws,
            after_draws,
            name,
        }
    }

    /// Difference that counts as none.
    fn same(&self) -> f64 {
        if self.unit == "mm" { SAME_MM } else { SAME }
    }

    /// How many steps that a trained eye tells apart the gain is.
    pub(in crate::judge) fn steps(&self) -> f64 {
        match (self.unit.as_str(), self.name.as_str()) {
            ("mm", _) => self.median_gain / self.before.max(1e-9) / FIELD_STEP,
            (_, LIGHT) => magnitudes(self.before, self.after) / LIGHT_STEP_MAGNITUDES,
            _ => self.median_gain / self.step(),
        }
    }

    /// The step of a Strehl or a contrast.
    fn step(&self) -> f64 {
        if self.name == STREHL { STREHL_STEP } else { CONTRAST_STEP }
    }
}

/// Light gained, magnitudes.
fn magnitudes(before: f64, after: f64) -> f64 {
    2.5 * (after / before).log10()
}

/// One work or one pair of works.
///
/// ```
/// use catoptric::{FocalLengthMm, LadderOptions, Primary, Train, Work, value_ladder};
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
/// let works = [Work::mask(180.0, 4.0), Work::recoat_primary(0.9, 100.0)];
/// let row = &value_ladder(&train, None, &works, &LadderOptions::default())?.rows[0];
/// assert!(row.no_proven_gain, "a perfect mirror that returns all light: nothing to gain");
/// assert_eq!(row.dominated_by, ["leave it as it is"]);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LadderRow {
    /// What is done.
    pub name: String,
    /// The works, one or two.
    pub works: Vec<Work>,
    /// What they cost together.
    pub price: f64,
    /// Quantities, the same in every row: Strehl ratio, contrast of each detail, light, usable field.
    pub gains: Vec<LadderGain>,
    /// Steps gained, weighted: what the order goes by.
    pub score: f64,
    /// 95 % of its draws.
    pub score_interval: Interval,
    /// Names of rows, or of leaving all as it is, that are no worse in any quantity, cost no more, and are better in
    /// one of these; an upper bound dominates nothing.
    pub dominated_by: Vec<String>,
    /// Whether no quantity has a proven gain.
    pub no_proven_gain: bool,
    /// Whether a figure without any error is part of it.
    pub upper_bound: bool,
    /// Names of rows that the order cannot tell from this one: the intervals of what it goes by overlap.
    pub tied_with: Vec<String>,
    /// The row in one sentence.
    pub words: String,
    /// The train after the work.
    pub train_after: Train,
}

impl LadderRow {
    /// What the order goes by: the score for a unit of money; where it costs nothing, or loses, the score itself. The
    /// interval is that of the score for a unit of money.
    fn worth(&self) -> (f64, Interval) {
        let by = if self.price > 0.0 { self.price } else { 1.0 };
        let Interval { low, high, share } = self.score_interval;
        // A loss does not become less by a higher price.
        let value = if self.score > 0.0 { self.score / by } else { self.score };
        (value, Interval { low: low / by, high: high / by, share })
    }

    /// Which of the groups of the order it belongs to.
    fn group(&self) -> u8 {
        if self.upper_bound {
            2
        } else if self.no_proven_gain {
            3
        } else {
            u8::from(!self.dominated_by.is_empty())
        }
    }

    /// Whether the order can put it beside another one: of one group, both with a price or both without.
    fn is_beside(&self, other: &Self) -> bool {
        self.group() == other.group() && (self.price > 0.0) == (other.price > 0.0)
    }
}

/// The weighted steps of a row, the median and 95 % of their draws. In still air the Strehl ratio (the mean of the
/// contrast of all details) counts as one more detail; in stated air the contrasts in that air count alone.
pub(super) fn score(gains: &[LadderGain], options: &LadderOptions) -> (f64, Interval) {
    let weights = options.weights;
    let in_air = options.seeing.is_some();
    let is_detail = |g: &&LadderGain| if in_air { is_in_air(g) } else { is_contrast(g) || g.name == STREHL };
    let details: Vec<&LadderGain> =
        gains.iter().filter(is_detail).filter(|g| is_in_air(g) == in_air).collect();
    let count = details.len().max(1) as f64;
    let by_name = |unit: &str, name: &str| {
        gains.iter().filter(|g| g.unit == unit && g.name == name).map(LadderGain::steps).sum::<f64>()
    };
    let certain = weights.light * by_name("", LIGHT) + weights.field * by_name("mm", "usable field");
    let drawn = details.iter().map(|g| g.before_draws.len()).min().unwrap_or(0);
    if drawn == 0 {
        let value = weights.contrast * details.iter().map(|g| g.steps()).sum::<f64>() / count + certain;
        return (value, Interval { low: value, high: value, share: 0.95 });
    }
    // Contrasts are those of evenly chosen figures, Strehls those of all.
    let steps = |g: &LadderGain, k: usize| {
        let place = k * g.before_draws.len() / drawn;
        (g.after_draws[place] - g.before_draws[place]) / g.step()
    };
    let of = |k: usize| weights.contrast * details.iter().map(|g| steps(g, k)).sum::<f64>() / count + certain;
    let Estimated { median, total } = Estimated::of(&(0..drawn).map(of).collect::<Vec<f64>>());
    (median, total)
}

fn is_contrast(gain: &LadderGain) -> bool {
    gain.name.starts_with("contrast")
}

fn is_in_air(gain: &LadderGain) -> bool {
    gain.name.contains(" in ")
}

/// Says of each row which others are no worse, cost no more, and are better in something.
pub(super) fn mark_dominated(rows: &mut [LadderRow]) {
    let at_least = |mine: &LadderRow, theirs: &[f64], price: f64| {
        let pairs = || mine.gains.iter().zip(theirs);
        let no_worse = price <= mine.price && pairs().all(|(g, t)| *t >= g.after - g.same());
        no_worse && (price < mine.price || pairs().any(|(g, t)| *t > g.after + g.same()))
    };
    let values: Vec<Vec<f64>> = rows.iter().map(|r| r.gains.iter().map(|g| g.after).collect()).collect();
    let others: Vec<(String, f64, bool)> =
        rows.iter().map(|r| (r.name.clone(), r.price, r.upper_bound)).collect();
    for row in rows {
        let now: Vec<f64> = row.gains.iter().map(|g| g.before).collect();
        let mut names: Vec<String> = Vec::new();
        if at_least(row, &now, 0.0) {
            names.push(LEAVE_IT.to_owned());
        }
        for ((name, price, upper_bound), theirs) in others.iter().zip(&values) {
            if !upper_bound && *name != row.name && at_least(row, theirs, *price) {
                names.push(name.clone());
            }
        }
        row.dominated_by = names;
    }
}

/// Puts rows in the order of the rule, and names those that it cannot tell apart.
pub(super) fn put_in_order(rows: &mut [LadderRow]) {
    rows.sort_by(|a, b| {
        let free = |row: &LadderRow| row.price > 0.0;
        let by_group = a.group().cmp(&b.group()).then(free(a).cmp(&free(b)));
        by_group.then(b.worth().0.total_cmp(&a.worth().0))
    });
    let known: Vec<(String, Interval)> = rows.iter().map(|r| (r.name.clone(), r.worth().1)).collect();
    for i in 0..rows.len() {
        let mine = known[i].1;
        let overlap = |j: &usize| {
            let theirs = known[*j].1;
            *j != i && rows[i].is_beside(&rows[*j]) && theirs.low <= mine.high && mine.low <= theirs.high
        };
        rows[i].tied_with = (0..rows.len()).filter(overlap).map(|j| known[j].0.clone()).collect();
    }
}
