//! The largest circle in the focal plane from which the whole mirror is seen, fast: for batches of trains.

use std::f64::consts::PI;

use super::quick_lanes::{LOOKS, MOST, Sight, around, three};
use super::quick_light::{QuickLight, STEP, look_angle, looks};
use super::stops::{Circle, Part};
use crate::numeric::roots;

/// Azimuths on one side of the plane of the focuser, both ends included.
const AZIMUTHS: usize = 9;

/// A circle in the focal plane over which no part but the shadow takes anything.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct QuickLitCircle {
    /// 0 where even the axis is cut.
    pub(crate) diameter_mm: f64,
    /// The part that ends it; nothing where none does within half of the mirror's diameter.
    pub(crate) limited_by: Option<Part>,
}

impl QuickLight {
    /// The largest lit circle and the part that ends it.
    ///
    /// Each stop's furthest reach over the rim is followed outward along nine azimuths; between them a parabola finds the
    /// worst one, good to about 1e-3 mm of the diameter. Leaves out what is no circle: vanes and clips, and the mirror's
    /// figure.
    pub(crate) fn lit_circle(&self) -> QuickLitCircle {
        let mut radius_mm = self.rim_mm();
        let mut limited_by = None;
        let on_axis = self.open_sight(0.0, 0.0);
        let mut deepest = 1e-10 * self.rim_mm();
        let mut reach_on_axis = [0.0; MOST];
        for (place, (part, circle)) in
            self.stops().iter().enumerate().filter(|(_, (part, _))| is_counted(*part))
        {
            let reach = furthest_mm(&on_axis, circle);
            reach_on_axis[place] = reach;
            if reach > deepest {
                (deepest, radius_mm, limited_by) = (reach, 0.0, Some(*part));
            }
        }
        if limited_by.is_some() {
            return QuickLitCircle { diameter_mm: 0.0, limited_by };
        }
        for (place, (part, circle)) in
            self.stops().iter().enumerate().filter(|(_, (part, _))| is_counted(*part))
        {
            let on_axis = reach_on_axis[place];
            // Without a tilt all is the same around the axis.
            let azimuths = if circle.tilt == 0.0 { 1 } else { AZIMUTHS };
            let angle = |i: usize| PI * i as f64 / (AZIMUTHS - 1) as f64;
            let mut worst = None;
            for i in 0..azimuths {
                if let Some(found) = self.nearer_root_mm(circle, on_axis, angle(i), radius_mm) {
                    (radius_mm, limited_by, worst) = (found, Some(*part), Some(i));
                }
            }
            let Some(worst) = worst.filter(|_| azimuths > 1) else { continue };
            // Beyond the ends the azimuths go on as in a mirror.
            let mirrored = |i: i32| {
                let last = AZIMUTHS as i32 - 1;
                angle(
                    (if i < 0 {
                        -i
                    } else if i > last {
                        2 * last - i
                    } else {
                        i
                    }) as usize,
                )
            };
            let here = worst as i32;
            let reach = |i: i32| {
                let (sin, cos) = mirrored(i).sin_cos();
                furthest_mm(&self.open_sight(radius_mm * cos, radius_mm * sin), circle)
            };
            let (before, at, after) = (reach(here - 1), reach(here), reach(here + 1));
            let bend = 2.0 * at - before - after;
            if bend > 0.0 {
                let moved = angle(worst) + 0.5 * (after - before) / bend * angle(1);
                if let Some(found) = self.nearer_root_mm(circle, on_axis, moved, radius_mm) {
                    radius_mm = found;
                }
            }
        }
        QuickLitCircle { diameter_mm: 2.0 * radius_mm, limited_by }
    }

    /// What is seen from a point of the image, over the mirror inside of its mask.
    fn open_sight(&self, along_mm: f64, across_mm: f64) -> Sight {
        let masks = self.stops().iter().filter(|(part, _)| *part == Part::Mask);
        let rim_mm = masks.map(|(_, circle)| circle.radius_mm).fold(self.rim_mm(), f64::min);
        Sight { rim_mm, ..self.sight_from(along_mm, across_mm) }
    }

    /// The field radius below `limit_mm` at which a stop begins to cut into the rim at an azimuth, if there is one;
    /// its reach from the middle of the field is known.
    fn nearer_root_mm(&self, circle: &Circle, on_axis: f64, azimuth: f64, limit_mm: f64) -> Option<f64> {
        let (sin, cos) = azimuth.sin_cos();
        let reach = |radius: f64| furthest_mm(&self.open_sight(radius * cos, radius * sin), circle);
        let at_limit = reach(limit_mm);
        if at_limit <= 0.0 {
            return None;
        }
        // The search begins with its two ends, which are known.
        let reach = |radius: f64| match radius {
            r if r <= 0.0 => on_axis,
            r if r >= limit_mm => at_limit,
            r => reach(r),
        };
        roots::bracketed(reach, 0.0, limit_mm, 1e-9 * self.rim_mm())
    }
}

/// Shadows and the mask over the mirror are the same for every point.
fn is_counted(part: Part) -> bool {
    !matches!(part, Part::DiagonalShadow | Part::Mask)
}

/// How far a stop reaches over the rim where it reaches furthest, mm; negative where it stays outside.
fn furthest_mm(sight: &Sight, circle: &Circle) -> f64 {
    let excess = around(sight, circle, sight.rim_mm, looks());
    let best = (0..LOOKS).fold(0, |best, i| if excess[i] > excess[best] { i } else { best });
    let vertex = |before: f64, at: f64, after: f64| {
        let bend = 2.0 * at - before - after;
        if bend > 0.0 {
            (0.5 * (after - before) / bend, (after - before).powi(2) / (8.0 * bend))
        } else {
            (0.0, 0.0)
        }
    };
    let (moved, _) = vertex(excess[(best + LOOKS - 1) % LOOKS], excess[best], excess[(best + 1) % LOOKS]);
    // A second parabola, thirty times narrower, is good to rounding.
    let [before, here, after] = three(sight, circle, look_angle(best) + moved * STEP, STEP / 30.0);
    here + vertex(before, here, after).1
}
