//! Decisions: what the numbers mean for the owner of a mirror.

mod refigure;

pub use refigure::{Judgement, Verdict, judge_refigure};
