//! Warnings about a train that can be, but may not be what its owner meant.

use std::f64::consts::PI;

use super::cone::Envelope;
use super::prepared::Prepared;
use super::served_aperture::served_aperture_mm;
use super::stops::Part;
use crate::error::{Problem, Severity};
use crate::model::Train;

/// The wall of a drawtube, of which only the bore is known: common practice, no source.
const TUBE_WALL_MM: f64 = 2.0;

impl Train {
    /// Warnings: what is unusual or costs light, though it can be computed.
    ///
    /// A diagonal that cannot hold the cone of the axis comes with the aperture that it leaves and the light that it
    /// costs; a drawtube that reaches into the light on its way down with the share that its notch takes, its outer
    /// diameter taken as the bore and 4 mm; openings beyond the flat that are narrower than the cone of the axis with
    /// the width that they need. Faults are refused at construction and never stand here.
    ///
    /// ```
    /// use catoptric::{Diagonal, FocalLengthMm, FocalPlane, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
    ///     .diagonal(Diagonal::new(40.0))
    ///     .focal_plane(FocalPlane::new(235.0))
    ///     .build()?;
    /// assert_eq!(train.problems()[0].field, "diagonal.minor_axis_mm");
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn problems(&self) -> Vec<Problem> {
        let mut problems = self.warnings();
        let Some(plane) = self.focal_plane() else { return problems };
        let to_focus_mm = plane.axis_to_focus_mm;
        let envelope = Envelope::new(self.primary(), to_focus_mm);
        problems.extend(self.small_diagonal(envelope, to_focus_mm));
        problems.extend(self.notch(to_focus_mm));
        problems.extend(self.narrow_openings(to_focus_mm));
        problems
    }

    fn small_diagonal(&self, envelope: Envelope, to_focus_mm: f64) -> Option<Problem> {
        let minor_axis_mm = self.diagonal()?.minor_axis_mm;
        let needed_mm = envelope.diagonal(0.0).minor_axis_mm;
        if minor_axis_mm >= needed_mm {
            return None;
        }
        let served_mm = served_aperture_mm(self.primary().focal_length_mm, to_focus_mm, minor_axis_mm);
        let prepared = Prepared::new(self);
        let light = prepared.light(prepared.field_of_image(0.0, 0.0));
        let lost = light.stopped.iter().find(|s| s.part == Part::Diagonal).map_or(0.0, |s| s.fraction);
        Some(warning(
            "diagonal.minor_axis_mm",
            minor_axis_mm,
            format!("the cone of the axis needs {needed_mm:.2}"),
            format!(
                "it stops the mirror down to about {served_mm:.0} mm even in the middle of the field, and takes {:.1} % of \
                 the light there",
                100.0 * lost
            ),
        ))
    }

    /// A drawtube that reaches into the light on its way down.
    fn notch(&self, to_focus_mm: f64) -> Option<Problem> {
        let tube = self.drawtube()?;
        let inner_mm = to_focus_mm - tube.outer_end_to_focus_mm - tube.length_mm;
        let radius_mm = self.primary().clear_aperture_mm / 2.0;
        let half_width_mm = tube.bore_mm / 2.0 + TUBE_WALL_MM;
        let share = notch_mm2(radius_mm, inner_mm, half_width_mm) / (PI * radius_mm * radius_mm);
        // A tube wholly beyond the focus has its own warning.
        let beyond = tube.outer_end_to_focus_mm + tube.length_mm < 0.0;
        (share > 0.0 && !beyond).then(|| {
            warning(
                "drawtube.length_mm",
                tube.length_mm,
                "the drawtube's inner end reaches into the light that falls on the mirror".to_owned(),
                format!(
                    "its notch takes {:.2} % of that light, with an outer diameter of {:.1} mm; it is not modelled further",
                    100.0 * share,
                    2.0 * half_width_mm
                ),
            )
        })
    }

    /// Openings beyond the flat that cut the cone of the axis.
    fn narrow_openings(&self, to_focus_mm: f64) -> Vec<Problem> {
        let primary = self.primary();
        let (aperture_mm, focal_mm) = (primary.clear_aperture_mm, primary.focal_length_mm);
        let rim_to_focus_mm = focal_mm - aperture_mm * aperture_mm / (16.0 * focal_mm);
        let board = self
            .focuser_board()
            .map(|board| ("focuser_board.hole_mm", board.hole_mm, to_focus_mm - board.axis_to_board_mm));
        let ring = self.filter_ring().map(|r| ("filter_ring.diameter_mm", r.diameter_mm, r.before_focus_mm));
        let mask = self.sensor_mask().map(|mask| {
            let field = if mask.along_mm <= mask.across_mm {
                "sensor_mask.along_mm"
            } else {
                "sensor_mask.across_mm"
            };
            (field, mask.along_mm.min(mask.across_mm), mask.before_focus_mm)
        });
        // The inner end is where a bore meets the widest cone.
        let tube = self.drawtube().map(|tube| {
            ("drawtube.bore_mm", tube.bore_mm, (tube.outer_end_to_focus_mm + tube.length_mm).min(to_focus_mm))
        });
        let openings = [board, tube, ring, mask].into_iter().flatten();
        openings
            .filter_map(|(field, width_mm, before_focus_mm)| {
                let cone_mm = aperture_mm * before_focus_mm / rim_to_focus_mm;
                (width_mm < cone_mm).then(|| {
                    warning(
                        field,
                        width_mm,
                        format!("the cone of the axis is {cone_mm:.2} wide there"),
                        "it stops the mirror down, even in the middle of the field".to_owned(),
                    )
                })
            })
            .collect()
    }
}

fn warning(field: &str, value: f64, allowed: String, cause: String) -> Problem {
    Problem { severity: Severity::Warning, field: field.to_owned(), value: value.to_string(), allowed, cause }
}

/// Area of a disc's part beyond a chord at a distance from its middle and within a half width of its diameter square to
/// the chord: the shadow of a tube's end.
fn notch_mm2(radius_mm: f64, chord_mm: f64, half_width_mm: f64) -> f64 {
    if chord_mm >= radius_mm {
        return 0.0;
    }
    // Beyond a chord at a negative distance the tube reaches past the middle, and all of its width counts.
    let widest_mm =
        if chord_mm > 0.0 { (radius_mm * radius_mm - chord_mm * chord_mm).sqrt() } else { radius_mm };
    let y = half_width_mm.min(widest_mm);
    y * (radius_mm * radius_mm - y * y).max(0.0).sqrt() + radius_mm * radius_mm * (y / radius_mm).asin()
        - 2.0 * chord_mm.max(-radius_mm) * y
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_notch_wider_than_the_mirror_is_a_segment_of_its_circle() {
        // R^2 acos(d/R) - d sqrt(R^2 - d^2): elementary geometry.
        for (radius, chord) in [(100.0_f64, 60.0_f64), (203.0, 199.0), (75.0, 5.0)] {
            let segment =
                radius * radius * (chord / radius).acos() - chord * (radius * radius - chord * chord).sqrt();
            assert!((notch_mm2(radius, chord, 2.0 * radius) - segment).abs() < 1e-11 * radius * radius);
        }
    }

    #[test]
    fn a_narrow_notch_is_its_width_times_its_depth() {
        // The rim's sagitta over the half width y: y^2/(2R), of which a third is missing on average.
        let (radius, chord, y) = (200.0, 190.0, 1.0);
        let depth = radius - chord - y * y / (6.0 * radius);
        assert!((notch_mm2(radius, chord, y) - 2.0 * y * depth).abs() < 1e-6);
        assert!(notch_mm2(radius, radius, y).abs() < 1e-9);
    }
}
