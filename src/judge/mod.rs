//! Decisions: what the numbers mean for the owner of a mirror.

mod diagonals;
mod evidence;
mod judgement;
mod ladder;
mod refigure;
mod words;
mod worth;

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
pub use refigure::{Judgement, ReadingDetails, Verdict, judge_refigure};
pub use worth::{Change, Worth};
