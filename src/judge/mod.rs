//! Decisions: what the numbers mean for the owner of a mirror.

mod refigure;
mod words;
mod worth;

pub use refigure::{Judgement, Verdict, judge_refigure};
pub use worth::{Change, Worth};
