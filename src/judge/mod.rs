//! Decisions: what the numbers mean for the owner of a mirror.

mod changed_train;
mod coating;
mod diagonals;
mod evidence;
mod judgement;
mod judgement_parts;
mod ladder;
mod mask;
mod refigure;
mod words;
mod worth;

pub use coating::{
    Ageing, CoatingEffect, EffectOptions, FreshCoat, MeasuredCoating, RecoatComparison, RecoatOptions,
    RecoatPrices, RecoatRow, RecoatWhat, coating_effect, recoat,
};
pub use diagonals::{
    Aim, AimWeights, Ceiling, Criterion, DiagonalBatch, DiagonalBatchInput, DiagonalComparison, DiagonalRow,
    OffsetRule, Recommendation, RowChunks, SizeScore,
};
pub use evidence::Evidence;
pub use judgement::{NamedInterval, TrainJudgement, judgement};
pub use ladder::{
    GainBasis, LadderGain, LadderOptions, LadderRow, LadderWeights, RefigureAfter, ValueLadder, Work,
    WorkChange, value_ladder,
};
pub use mask::{
    LeftAfterMask, MaskAnswer, MaskOptions, MaskRow, MaskSubject, MaskSweep, MaskValue, MaskingBound,
    mask_sweep, mask_sweep_counting, masking_bound,
};
pub use refigure::{Judgement, ReadingDetails, Verdict, judge_refigure};
pub use worth::{Change, Worth};
