//! The judgement of a whole train: what to do first, and why.

use serde::{Deserialize, Serialize};

use super::coating::CoatingEffect;
use super::evidence::Evidence;
use super::judgement_parts as parts;
use super::ladder::{
    AsItIs, LadderGain, LadderOptions, LadderRow, ValueLadder, Work, brief_change, capital, compared, money,
};
use super::mask::MaskSweep;
use super::words::{all_cautions, of_readings};
use crate::error::{Error, Result};
use crate::model::Train;
use crate::shop_test::{Interval, NextMeasurement};
use crate::trace::obstruction_ratio;

/// Most proposals of what to measure next.
const MOST_NEXT: usize = 4;
/// Rows whose sentences are among the reasons.
const MOST_ROWS: usize = 3;

/// A number with its interval and what it means.
///
/// ```
/// let strehl = catoptric::NamedInterval {
///     name: "Strehl ratio".to_owned(), unit: String::new(), meaning: String::new(),
///     value: 0.77, low: 0.68, high: 0.86,
/// };
/// assert!(strehl.low <= strehl.value && strehl.value <= strehl.high);
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NamedInterval {
    /// What it is called.
    pub name: String,
    /// Its unit; empty for a share.
    pub unit: String,
    /// The number.
    pub value: f64,
    /// Lower end of 95 %; the value itself where nothing is uncertain.
    pub low: f64,
    /// Upper end.
    pub high: f64,
    /// What it means, in one sentence.
    pub meaning: String,
}

/// The judgement of a train: what to do first and why, three numbers, what to measure next, and what all that rests on.
///
/// Shapes: `numbers` holds three: the Strehl ratio at the brightest focus, the diameter of the perfect clear aperture
/// that gathers as much light, and the contrast of the first detail in still air.
/// Errors: those of [`judgement`], which makes it, also when it is read back from a file.
/// Leaves out: what [`ValueLadder`] leaves out.
///
/// ```
/// use catoptric::{Coating, FocalLengthMm, LadderOptions, Primary, Train, Work, judgement};
/// let dull = Primary::new(200.0, FocalLengthMm(1200.0)).coating(Coating::new(0.7));
/// let train = Train::builder(dull).build()?;
/// let found = judgement(&train, None, &[Work::recoat_primary(0.91, 90.0)], &LadderOptions::default())?;
/// assert!(found.verdict.starts_with("First: recoat of the primary"), "{}", found.verdict);
/// assert_eq!(found.numbers.len(), 3);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Asked", into = "Asked")]
pub struct TrainJudgement {
    /// What to do first and why, in one sentence.
    pub verdict: String,
    /// Strehl, light, contrast.
    pub numbers: Vec<NamedInterval>,
    /// All works beside one another; none: no works were offered.
    pub ladder: Option<ValueLadder>,
    /// Masks from the clear aperture inward, for the figures that the readings allow or the figure as described; none
    /// where the evidence does not say where the error lies.
    pub mask: Option<MaskSweep>,
    /// What the readings say of the edge, in sentences.
    pub edge: Vec<String>,
    /// What the coats take, against those that the works offer; none where they offer none.
    pub coating: Option<CoatingEffect>,
    /// What to measure next, the most useful first, each with what it brings.
    pub next: Vec<String>,
    /// Why.
    pub reasons: Vec<String>,
    /// What was assumed.
    pub assumptions: Vec<String>,
    /// Cautions for whoever does the work.
    pub cautions: Vec<String>,
    /// Diameter of the shadow over the diameter that gathers light.
    pub obstruction_ratio: f64,
    /// The train as given.
    pub train: Train,
    /// The same with a figure that stands for the evidence.
    pub train_now: Train,
    /// Which figure that is.
    pub figure_words: String,
    /// What is known of the figure; none: the train's own is taken as known.
    pub evidence: Option<Evidence>,
    /// The works that were offered.
    pub works: Vec<Work>,
    /// How they were compared.
    pub options: LadderOptions,
}

/// What a judgement is written down as; all else follows from it, bit for bit, and is judged anew when read back.
#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct Asked {
    train: Train,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    evidence: Option<Evidence>,
    works: Vec<Work>,
    options: LadderOptions,
}

impl TryFrom<Asked> for TrainJudgement {
    type Error = Error;

    fn try_from(asked: Asked) -> Result<Self> {
        judgement(&asked.train, asked.evidence.as_ref(), &asked.works, &asked.options)
    }
}

impl From<TrainJudgement> for Asked {
    fn from(found: TrainJudgement) -> Self {
        let TrainJudgement { train, evidence, works, options, .. } = found;
        Self { train, evidence, works, options }
    }
}

/// Judges a train: its worth, what to do first, what to measure next.
///
/// `evidence` is what was measured of the figure; without it the train's own figure is taken as known. Without works
/// the verdict says what the train is worth.
/// Units: see [`LadderOptions`] and [`Work`].
/// Errors: those of [`value_ladder`](crate::value_ladder).
/// Method and what it leaves out: see [`ValueLadder`].
///
/// ```
/// use catoptric::{FocalLengthMm, LadderOptions, Primary, Train, judgement};
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
/// let found = judgement(&train, None, &[], &LadderOptions::default())?;
/// assert!(found.ladder.is_none() && found.numbers[0].value > 0.999_999);
/// assert_eq!(found.numbers[1].value, 200.0, "perfect coats, nothing in the way");
/// # Ok::<(), catoptric::Error>(())
/// ```
pub fn judgement(
    train: &Train,
    evidence: Option<&Evidence>,
    works: &[Work],
    options: &LadderOptions,
) -> Result<TrainJudgement> {
    let (ladder, as_it_is) = compared(train, evidence, works, options)?;
    let proposals = match evidence.and_then(Evidence::readings) {
        Some(figure) => figure.next_measurements()?,
        None => Vec::new(),
    };
    let next = next_words(&proposals, evidence);
    let numbers = numbers(train, &as_it_is, options);
    let verdict = verdict(&ladder, &numbers, next.first().map(String::as_str), evidence);
    let mut reasons = vec![standing(&numbers)];
    if let Some(outside) = outside(&numbers[0], evidence) {
        reasons.push(outside);
    }
    reasons.extend(ladder.rows.iter().take(MOST_ROWS).map(|row| row.words.clone()));
    reasons.extend(
        ladder.rows.iter().skip(MOST_ROWS).filter(|row| row.upper_bound).map(|row| row.words.clone()),
    );
    let mut assumptions = ladder.assumptions.clone();
    match evidence {
        Some(Evidence::Readings(figure)) => {
            reasons.extend(of_readings(figure).iter().map(|remark| format!("The readings: {remark}")));
        }
        Some(paper) => {
            let head = format!("From {}", paper.name());
            assumptions.extend(paper.remarks().into_iter().map(|remark| format!("{head}: {remark}")));
        }
        None => {}
    }
    let figure_words = match evidence {
        Some(Evidence::Readings(_)) => "the figure of the plain reduction",
        Some(_) => "spherical aberration of the stated RMS",
        None => "the figure of the train as described",
    };
    let mask = parts::masks(train, evidence, options)?;
    let coating = parts::coating(&as_it_is.train_now, works)?;
    Ok(TrainJudgement {
        verdict,
        numbers,
        mask,
        edge: parts::edge(evidence),
        coating,
        next,
        reasons,
        assumptions,
        cautions: all_cautions(),
        obstruction_ratio: obstruction_ratio(&as_it_is.train_now),
        train: train.clone(),
        train_now: as_it_is.train_now,
        figure_words: figure_words.to_owned(),
        evidence: evidence.cloned(),
        works: works.to_vec(),
        options: options.clone(),
        ladder: (!works.is_empty()).then_some(ladder),
    })
}

fn numbers(train: &Train, as_it_is: &AsItIs, options: &LadderOptions) -> Vec<NamedInterval> {
    let named = |name: &str, unit: &str, (value, interval): (f64, Interval), meaning: &str| NamedInterval {
        name: name.to_owned(),
        unit: unit.to_owned(),
        value,
        low: interval.low,
        high: interval.high,
        meaning: meaning.to_owned(),
    };
    let clear_mm = train.primary().clear_aperture_mm;
    let acts_mm = clear_mm * as_it_is.light.sqrt();
    let light = (acts_mm, Interval { low: acts_mm, high: acts_mm, share: 0.95 });
    let detail = options.details_arcsec[0];
    vec![
        named(
            "Strehl ratio",
            "",
            as_it_is.strehl,
            "Brightness of the middle of a star's image over that of a perfect mirror with the same obstruction, at \
             the focus an observer would choose.",
        ),
        named(
            "gathers light like a clear aperture of",
            "mm",
            light,
            "Diameter of a perfect mirror with nothing in its way that would send as much light to the middle of the \
             field; from the reflectances as typed, which have no interval.",
        ),
        named(
            &format!("contrast at {detail} arcsec"),
            "",
            as_it_is.contrast,
            "Share of the contrast of fine stripes, from one bright stripe to the next as far apart as this, that \
             reaches the image in still air.",
        ),
    ]
}

/// What the train is worth, in one sentence.
fn standing(numbers: &[NamedInterval]) -> String {
    let [strehl, light, contrast] = [&numbers[0], &numbers[1], &numbers[2]];
    format!(
        "As it is: Strehl ratio {}, {} {}, light like a clear aperture of {:.0} mm.",
        with_interval(strehl),
        contrast.name,
        with_interval(contrast),
        light.value
    )
}

fn with_interval(number: &NamedInterval) -> String {
    if number.high > number.low {
        format!("{:.2} ({:.2} to {:.2})", number.value, number.low, number.high)
    } else {
        format!("{:.2}", number.value)
    }
}

/// Where the plain value stands outside of its interval, why.
fn outside(strehl: &NamedInterval, evidence: Option<&Evidence>) -> Option<String> {
    let is_outside = strehl.value < strehl.low || strehl.value > strehl.high;
    (is_outside && evidence.and_then(Evidence::readings).is_some()).then(|| {
        format!(
            "The plain reduction's Strehl {:.3} lies outside of its total interval: it spreads over an opening what \
             falls within a part of it.",
            strehl.value
        )
    })
}

fn next_words(proposals: &[NextMeasurement], evidence: Option<&Evidence>) -> Vec<String> {
    if evidence.is_none() {
        return vec![
            "Readings of the mirror through a mask, or a test sheet: its figure is only described."
                .to_owned(),
        ];
    }
    if evidence.and_then(Evidence::readings).is_none() {
        return vec![
            "Readings of the mirror through a mask: numbers on paper do not say where an error lies."
                .to_owned(),
        ];
    }
    let words = |next: &NextMeasurement| match next.half_width_then {
        Some(then) => format!(
            "{}: the Strehl would be known to +-{then:.3}, where it is +-{:.3} now.",
            capital(&next.what),
            next.half_width_now
        ),
        None => format!(
            "{}: expected to narrow the Strehl's interval (+-{:.3} now); too few draws are left to say by how much.",
            capital(&next.what),
            next.half_width_now
        ),
    };
    proposals.iter().take(MOST_NEXT).map(words).collect()
}

/// What to do first, in one sentence.
fn verdict(
    ladder: &ValueLadder,
    numbers: &[NamedInterval],
    next: Option<&str>,
    evidence: Option<&Evidence>,
) -> String {
    let standing = format!("its Strehl ratio is {}", with_interval(&numbers[0]));
    if ladder.works.is_empty() {
        return format!("No works were offered to choose from; as the train is, {standing}.");
    }
    let worthwhile = |row: &&LadderRow| {
        !row.no_proven_gain && !row.upper_bound && row.dominated_by.is_empty() && row.score > 0.0
    };
    // One sentence: what a measurement brings stands in the list of measurements.
    let measure = next.and_then(|next| next.split(':').next());
    let measure = measure.map_or_else(String::new, |what| format!("; measure first: {}", lower(what)));
    let Some(row) = ladder.rows.iter().find(worthwhile) else {
        let proves_less = ladder.rows.iter().all(|row| row.no_proven_gain || row.upper_bound);
        return match (evidence, proves_less) {
            (Some(_), true) => format!(
                "What was measured cannot tell whether any of these works helps ({standing}){measure}."
            ),
            (None, true) => format!(
                "None of these works brings a gain that could be seen: leave it as it is ({standing})."
            ),
            (_, false) => format!(
                "None of these works gains more than it loses by the weights given: leave it as it is ({standing})."
            ),
        };
    };
    // Short enough to be read at a glance: the best gain, what is lost, and what ties with it.
    let best = row.gains.iter().filter(|g| g.proven).max_by(|a, b| a.steps().total_cmp(&b.steps()));
    let lost = row.gains.iter().filter(|g| loses(g));
    let changes: Vec<String> = best.into_iter().chain(lost).map(brief_change).collect();
    let promised = row.gains.iter().any(|g| g.basis == super::ladder::GainBasis::Promised);
    let promise = if promised { "if the promise is kept, " } else { "" };
    let tied = if row.tied_with.is_empty() {
        String::new()
    } else {
        format!("; tied by gain for the money with {}", quoted(&row.tied_with))
    };
    let price = money(row.price, &ladder.options);
    format!("First: {} ({price}): {promise}{}{tied}.", row.name, changes.join(", "))
}

fn loses(gain: &LadderGain) -> bool {
    gain.gain_interval.high < if gain.unit == "mm" { -1.0 } else { -0.01 }
}

fn quoted(names: &[String]) -> String {
    let list: Vec<String> = names.iter().take(2).map(|name| format!("\"{name}\"")).collect();
    let rest = names.len().saturating_sub(2);
    if rest > 0 { format!("{} and {rest} more", list.join(", ")) } else { list.join(" and ") }
}

fn lower(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}
