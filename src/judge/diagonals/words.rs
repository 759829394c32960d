//! What a comparison of diagonals says, in words.

use super::aims::{Aim, SizeScore};
use super::comparison::DiagonalComparison;
use crate::model::Drawtube;
use crate::trace::Part;

/// The name of a part as a stop in a sentence.
fn stop(part: Part) -> String {
    match part {
        Part::Diagonal => "the diagonal itself".to_owned(),
        other => format!("the {other}"),
    }
}

fn mm(length: f64) -> String {
    let text = format!("{length:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A drawtube of several: by its bore, or by its number where another is as wide.
fn drawtube(tubes: &[Drawtube], place: usize) -> String {
    let bore = mm(tubes[place].bore_mm);
    let alike = tubes.iter().filter(|tube| mm(tube.bore_mm) == bore).count();
    if alike > 1 { format!("drawtube {place}") } else { format!("the drawtube of {bore} mm") }
}

/// Which setting of several: nothing where there is one alone.
fn setting(
    comparison: &DiagonalComparison,
    train: usize,
    tube: Option<usize>,
    axis_to_focus_mm: f64,
) -> String {
    let input = comparison.batch.input();
    let mut parts = Vec::new();
    if input.trains.len() > 1 {
        parts.push(format!("in train {train}"));
    }
    parts.push(format!("with the focal plane {} mm from the axis", mm(axis_to_focus_mm)));
    if let Some(tube) = tube.filter(|_| input.drawtubes.len() > 1) {
        parts.push(format!("and {}", drawtube(&input.drawtubes, tube)));
    }
    parts.join(" ")
}

/// Axes that are cut, and sizes beyond which nothing improves.
pub(super) fn findings(comparison: &DiagonalComparison) -> Vec<String> {
    /// More sentences of one kind than this nobody reads: the table has the rest.
    const MOST: usize = 12;
    let input = comparison.batch.input();
    let mut found = Vec::new();
    for row in comparison.rows.iter().filter(|row| row.clipped_axis).take(MOST) {
        let open_mm = input.trains[row.train].primary().open_diameter_mm();
        let by = row.fully_lit_limited_by.map_or_else(String::new, |part| match part {
            Part::Diagonal => String::new(),
            other => format!(" behind the {other}"),
        });
        found.push(format!(
            "{} mm{by} {} cuts the light of the axis itself: the mirror of {} mm works as one of {:.0} mm.",
            mm(row.minor_axis_mm),
            setting(comparison, row.train, row.drawtube, row.axis_to_focus_mm),
            mm(open_mm),
            row.acts_as_aperture_mm,
        ));
    }
    for ceiling in comparison.ceilings.iter().take(MOST) {
        found.push(format!(
            "Beyond {} mm nothing improves {}, because {} is the stop.",
            mm(ceiling.minor_axis_mm),
            setting(comparison, ceiling.train, ceiling.drawtube, ceiling.axis_to_focus_mm),
            stop(ceiling.stopped_by),
        ));
    }
    found
}

/// The advice and its reasons; scores come the best first.
pub(super) fn recommendation(
    comparison: &DiagonalComparison,
    aim: Aim,
    scores: &[SizeScore],
    alike_mm: &[f64],
) -> (String, Vec<String>) {
    let best = &scores[0];
    let words = if scores.len() == 1 {
        format!("There is one size alone, {} mm: nothing to choose for {aim}.", mm(best.minor_axis_mm))
    } else if alike_mm.len() > 1 {
        let list: Vec<String> = alike_mm.iter().map(|size| mm(*size)).collect();
        format!("Cannot tell between {} mm for {aim}: their scores are alike.", list.join(", "))
    } else {
        format!("Take {} mm for {aim}.", mm(best.minor_axis_mm))
    };
    let mut reasons = Vec::new();
    for score in scores.iter().take(3) {
        reasons.push(format!(
            "{} mm scores {:.3}: contrast {:.1} % of the unobstructed mirror's, light {:.1} % on the axis and {:.1} % at \
             the edge of the most that any gives, fully lit over {:.0} % of the field.",
            mm(score.minor_axis_mm),
            score.score,
            100.0 * score.contrast,
            100.0 * score.axis_light,
            100.0 * score.edge_light,
            100.0 * score.fully_lit,
        ));
    }
    reasons.extend(findings(comparison));
    (words, reasons)
}
