//! Which size for which aim: weights that are shown and may be changed, scores, and the reason in words.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::comparison::DiagonalComparison;
use super::row::DiagonalRow;
use super::words;
use crate::error::{Error, Result};

/// Scores nearer than this cannot be told apart: common practice, no source.
const TIE: f64 = 0.003;
/// Without stated details contrast is taken at this share of the cut-off.
const QUARTER: f64 = 0.25;

/// What a telescope is for.
///
/// ```
/// assert_eq!(catoptric::Aim::from_name("wide_field"), Some(catoptric::Aim::WideField));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Aim {
    /// Fine detail in the middle of the field.
    Planets,
    /// Faint things over the field of a wide eyepiece.
    WideField,
    /// Even light over a sensor.
    Sensor,
}

impl Aim {
    /// All aims.
    pub const ALL: [Self; 3] = [Self::Planets, Self::WideField, Self::Sensor];

    /// The name as files and tables write it.
    pub fn key(self) -> &'static str {
        match self {
            Self::Planets => "planets",
            Self::WideField => "wide_field",
            Self::Sensor => "sensor",
        }
    }

    /// The aim of a name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|aim| aim.key() == name)
    }

    /// The weights that go with it: the maker's own judgement, no source, and the user's to change.
    pub fn weights(self) -> AimWeights {
        let [contrast, axis_light, edge_light, fully_lit, price] = match self {
            Self::Planets => [6.0, 4.0, 0.25, 0.05, 0.1],
            Self::WideField => [1.0, 2.0, 3.0, 0.3, 0.1],
            Self::Sensor => [0.5, 2.0, 4.0, 1.0, 0.1],
        };
        AimWeights { contrast, axis_light, edge_light, fully_lit, price }
    }
}

impl fmt::Display for Aim {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Planets => "planets",
            Self::WideField => "a wide field",
            Self::Sensor => "a sensor",
        })
    }
}

/// How much each worth counts in a score; only their ratios matter.
///
/// Each worth lies between 0 and 1: the contrast over that of the mirror without obstruction (the mean over the details; at a
/// quarter of the cut-off without any); the light on the axis, and in the darkest azimuth of the edge, over the most that any
/// candidate gives on the axis; the fully lit diameter over that of the edge, 1 at most; one less the price over the
/// highest (left out without prices).
///
/// ```
/// use catoptric::{Aim, AimWeights};
/// let weights = AimWeights { price: 0.0, ..Aim::Planets.weights() };
/// assert!(weights.contrast > weights.edge_light);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AimWeights {
    /// Of the contrast.
    pub contrast: f64,
    /// Of the light in the middle of the field.
    pub axis_light: f64,
    /// Of the light in the darkest azimuth of the edge.
    pub edge_light: f64,
    /// Of the fully lit diameter.
    pub fully_lit: f64,
    /// Of the price.
    pub price: f64,
}

impl AimWeights {
    fn check(&self) -> Result<()> {
        let named = [
            ("contrast", self.contrast),
            ("axis_light", self.axis_light),
            ("edge_light", self.edge_light),
            ("fully_lit", self.fully_lit),
            ("price", self.price),
        ];
        for (name, weight) in named {
            if !(weight.is_finite() && weight >= 0.0) {
                return Err(Error::input(format!("weights.{name}"), weight, "a number of 0 or more", ""));
            }
        }
        if named.iter().all(|(_, weight)| *weight == 0.0) {
            return Err(Error::input("weights", "all 0", "one weight above 0", ""));
        }
        Ok(())
    }
}

/// The score of one size, with the worths it is made of: means over all settings.
///
/// ```
/// use catoptric::SizeScore;
/// let score = SizeScore {
///     minor_axis_mm: 70.0, score: 0.9, contrast: 0.9, axis_light: 1.0, edge_light: 0.8, fully_lit: 1.0, price: None,
/// };
/// assert!(score.price.is_none());
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SizeScore {
    /// Minor axis, mm.
    pub minor_axis_mm: f64,
    /// The weighted mean of the worths, 0 to 1.
    pub score: f64,
    /// Contrast over that without obstruction.
    pub contrast: f64,
    /// Light on the axis over the most that any size gives.
    pub axis_light: f64,
    /// Light in the darkest azimuth of the edge, over the same.
    pub edge_light: f64,
    /// Fully lit diameter over that of the edge, 1 at most.
    pub fully_lit: f64,
    /// One less the price over the highest.
    pub price: Option<f64>,
}

/// Which size to take, and why.
///
/// ```
/// use catoptric::{Aim, Diagonal, DiagonalBatchInput, FocalLengthMm, FocalPlane, Primary, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(70.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .build()?;
/// let found = DiagonalBatchInput::new(vec![train], vec![40.0, 52.0, 90.0], vec![0.0, 10.0]).check()?.run()?;
/// let advice = found.recommend(Aim::Planets, None)?;
/// assert_eq!(advice.minor_axis_mm, Some(52.0));
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Recommendation {
    /// For what.
    pub aim: Aim,
    /// How much each worth counted.
    pub weights: AimWeights,
    /// The size to take, mm; none where several cannot be told apart.
    pub minor_axis_mm: Option<f64>,
    /// The sizes that score alike, the best first, mm.
    pub alike_mm: Vec<f64>,
    /// All sizes with their scores, the best first.
    pub scores: Vec<SizeScore>,
    /// The advice in words.
    pub words: String,
    /// What it rests on, and what the owner should know besides.
    pub reasons: Vec<String>,
}

impl DiagonalComparison {
    /// The size to take for an aim, over all settings of the comparison alike, with its reason.
    ///
    /// Errors: [`Error::Input`] for weights below 0 or all 0, and for a comparison of no rows.
    pub fn recommend(&self, aim: Aim, weights: Option<AimWeights>) -> Result<Recommendation> {
        let weights = weights.unwrap_or_else(|| aim.weights());
        weights.check()?;
        if self.rows.is_empty() {
            return Err(Error::input("rows", "no rows", "one candidate or more", ""));
        }
        let mut scores = self.scores(&weights);
        // Of equal scores the smaller glass comes first.
        scores.sort_by(|a, b| b.score.total_cmp(&a.score).then(a.minor_axis_mm.total_cmp(&b.minor_axis_mm)));
        let best = scores[0];
        let alike_mm: Vec<f64> =
            scores.iter().filter(|s| best.score - s.score < TIE).map(|s| s.minor_axis_mm).collect();
        let minor_axis_mm = (alike_mm.len() == 1).then_some(best.minor_axis_mm);
        let (words, reasons) = words::recommendation(self, aim, &scores, &alike_mm);
        Ok(Recommendation { aim, weights, minor_axis_mm, alike_mm, scores, words, reasons })
    }

    fn scores(&self, weights: &AimWeights) -> Vec<SizeScore> {
        let input = self.batch.input();
        let edge = self.edge();
        let edge_mm = input.field_radius_mm[edge];
        let most_price = input.price.iter().copied().fold(0.0, f64::max);
        let contrast_of = |row: &DiagonalRow| {
            let open_mm = input.trains[row.train].primary().open_diameter_mm();
            let contrast = if row.contrast.is_empty() {
                row.contrast_at(QUARTER, open_mm)
            } else {
                row.contrast.iter().sum::<f64>() / row.contrast.len() as f64
            };
            contrast.clamp(0.0, 1.0)
        };
        let mut sums: Vec<(SizeScore, f64)> = Vec::new();
        for setting in self.settings() {
            let most_light = setting.iter().map(|r| r.on_axis).fold(f64::MIN_POSITIVE, f64::max);
            for row in setting {
                let full = 2.0 * edge_mm;
                let fully_lit = if full > 0.0 { (row.fully_lit_diameter_mm / full).min(1.0) } else { 1.0 };
                let worth = SizeScore {
                    minor_axis_mm: row.minor_axis_mm,
                    score: 0.0,
                    contrast: contrast_of(row),
                    axis_light: row.on_axis / most_light,
                    edge_light: row.absolute_worst(edge) / most_light,
                    fully_lit,
                    price: row.price.map(|p| if most_price > 0.0 { 1.0 - p / most_price } else { 1.0 }),
                };
                let same =
                    |s: &&mut (SizeScore, f64)| s.0.minor_axis_mm.to_bits() == row.minor_axis_mm.to_bits();
                if let Some((sum, count)) = sums.iter_mut().find(same) {
                    sum.contrast += worth.contrast;
                    sum.axis_light += worth.axis_light;
                    sum.edge_light += worth.edge_light;
                    sum.fully_lit += worth.fully_lit;
                    *count += 1.0;
                } else {
                    sums.push((worth, 1.0));
                }
            }
        }
        let mean = |(sum, count): (SizeScore, f64)| {
            let worth = SizeScore {
                contrast: sum.contrast / count,
                axis_light: sum.axis_light / count,
                edge_light: sum.edge_light / count,
                fully_lit: sum.fully_lit / count,
                ..sum
            };
            let mut pairs = vec![
                (weights.contrast, worth.contrast),
                (weights.axis_light, worth.axis_light),
                (weights.edge_light, worth.edge_light),
                (weights.fully_lit, worth.fully_lit),
            ];
            pairs.extend(worth.price.map(|p| (weights.price, p)));
            let total: f64 = pairs.iter().map(|p| p.0).sum();
            let score = pairs.iter().map(|(weight, worth)| weight * worth).sum::<f64>();
            SizeScore { score: if total > 0.0 { score / total } else { 0.0 }, ..worth }
        };
        sums.into_iter().map(mean).collect()
    }
}
