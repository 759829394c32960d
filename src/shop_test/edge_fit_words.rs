//! What the allowed edges mean, in sentences.

use std::fmt::Write;

use super::edge_fit::{EdgeDirection, EdgeFit, EdgeFits, EdgePoint};
use super::edge_shape::EdgeShape;

impl EdgeFit {
    /// The allowed curve in words.
    pub fn words(&self) -> String {
        let what = match (self.shape, self.direction()) {
            (EdgeShape::Power(power), EdgeDirection::TurnedDown) => {
                format!("A turned-down edge of power {power}")
            }
            (EdgeShape::Power(power), EdgeDirection::Raised) => format!("A raised edge of power {power}"),
            (EdgeShape::Power(power), EdgeDirection::Open) => format!("An edge of power {power}, down or up"),
            (EdgeShape::RollOff, EdgeDirection::TurnedDown) => "A roll-off down".to_owned(),
            (EdgeShape::RollOff, EdgeDirection::Raised) => "A roll-off upward".to_owned(),
            (EdgeShape::RollOff, EdgeDirection::Open) => "A roll-off, down or up".to_owned(),
            (EdgeShape::Step, EdgeDirection::TurnedDown) => "A step down".to_owned(),
            (EdgeShape::Step, EdgeDirection::Raised) => "A step up".to_owned(),
            (EdgeShape::Step, EdgeDirection::Open) => "A step, down or up".to_owned(),
        };
        let size = if self.shape == EdgeShape::RollOff { "reach" } else { "width" };
        let (low, high) = self.strehl_range();
        let mut words = match self.ends() {
            Some((a, b)) if a.width_mm < b.width_mm => format!(
                "{what}: {size} {} mm and {:.0} nm or {} mm and {:.0} nm give the same readings, and so does what lies between.",
                short(a.width_mm),
                a.drop_nm,
                short(b.width_mm),
                b.drop_nm
            ),
            Some((a, _)) => format!(
                "{what}: of the widths tried only {size} {} mm with {:.0} nm ({:.0} to {:.0}) explains the readings.",
                short(a.width_mm),
                a.drop_nm,
                a.drop_low_nm,
                a.drop_high_nm
            ),
            None => format!("{what}: all allowed widths lie beyond the last opening."),
        };
        let _ = write!(words, " Strehl {low:.2} to {high:.2} along that curve.");
        let unbounded = self.allowed().filter(|p| !p.bounded).map(|p| p.width_mm).fold(0.0, f64::max);
        if unbounded > 0.0 {
            let _ =
                write!(words, " Up to {size} {} mm the readings do not bound the drop.", short(unbounded));
        }
        words
    }

    /// The narrowest and the widest allowed point whose drop the readings bound.
    fn ends(&self) -> Option<(&EdgePoint, &EdgePoint)> {
        let mut bounded = self.allowed().filter(|p| p.bounded);
        let first = bounded.next()?;
        Some((first, bounded.last().unwrap_or(first)))
    }
}

impl EdgeFits {
    /// What the readings say of the edge, in sentences: whether there is one, which pairs are alike, and whether its shape is
    /// known.
    pub fn words(&self) -> String {
        let best = &self.shapes[self.best];
        let left = 1.0 - self.options.share;
        let mut words = if self.no_edge_p_value < left {
            let chance = if self.no_edge_p_value < 1e-4 {
                "below 1 in 10000".to_owned()
            } else {
                format!("{:.2}", self.no_edge_p_value)
            };
            format!("The readings ask for an edge (chance without one {chance}). ")
        } else {
            "The readings do not ask for an edge: a smooth figure explains them as well. ".to_owned()
        };
        words.push_str(&best.words());
        let alike: Vec<String> =
            self.not_ruled_out().filter(|fit| fit.shape != best.shape).map(|fit| fit.shape.name()).collect();
        let ruled_out: Vec<String> =
            self.shapes.iter().filter(|fit| fit.p_value < left).map(|fit| fit.shape.name()).collect();
        if !alike.is_empty() {
            let _ = write!(
                words,
                " The shape cannot be told: {} and {} explain the readings alike.",
                best.shape.name(),
                alike.join(" and ")
            );
        }
        if !ruled_out.is_empty() {
            let _ = write!(words, " Ruled out: {}.", ruled_out.join(", "));
        }
        if self.clear_aperture_mm / 2.0 - self.seen_to_mm > 1e-6 * self.clear_aperture_mm {
            let unseen = self.clear_aperture_mm / 2.0 - self.seen_to_mm;
            let _ = write!(words, " The outermost {} mm of glass are behind no opening.", short(unseen));
        }
        words
    }
}

/// A length with three figures at most.
fn short(mm: f64) -> String {
    let text = if mm >= 10.0 { format!("{mm:.1}") } else { format!("{mm:.2}") };
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
