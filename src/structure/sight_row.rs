//! What one point of the focal plane sees in one row of directions: pieces between shapes, each by closed form.
//!
//! A line of sight leaves the point for the tube in the direction (-1, v, w) of (x, y, z): v and w are slopes, t is the
//! distance gone along -x. In a row w is fixed; everything that lies in a plane, or is a sweep of an ellipse, is one
//! piece of v.

use crate::numeric::roots;

/// One end of a piece: its slope, and which edge of which shape it is.
#[derive(Clone, Copy, Debug)]
pub(super) struct End {
    pub(super) v: f64,
    pub(super) edge: u8,
}

/// A piece of a row between two ends.
pub(super) type Piece = [End; 2];

/// Where a line of sight ends.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ending {
    Diagonal,
    Holder,
    Baffle,
    FrontRing,
    Wall,
    Open,
}

/// A round opening square to the focuser's axis: how far before the focal plane, and its radius, mm.
#[derive(Clone, Copy, Debug)]
pub(super) struct Round {
    pub(super) distance_mm: f64,
    pub(super) radius_mm: f64,
}

/// A rectangle before the sensor: distance, half sides, turn from `along` toward `across`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Window {
    pub(super) distance_mm: f64,
    pub(super) half_along_mm: f64,
    pub(super) half_across_mm: f64,
    pub(super) turn_rad: f64,
}

/// The flat as a body: the face's circle (seen along the tube) about `centre_mm`, swept by `sweep_mm` in x and z.
#[derive(Clone, Copy, Debug)]
pub(super) struct Body {
    pub(super) centre_mm: [f64; 3],
    pub(super) radius_mm: f64,
    pub(super) sweep_mm: [f64; 2],
}

/// A horizontal round plate, or hole, about the tube's axis.
#[derive(Clone, Copy, Debug)]
pub(super) struct Plate {
    pub(super) height_mm: f64,
    pub(super) radius_mm: f64,
}

/// An upright rectangle opposite the focuser.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sheet {
    pub(super) axis_to_sheet_mm: f64,
    pub(super) half_width_mm: f64,
    pub(super) from_height_mm: f64,
    pub(super) to_height_mm: f64,
}

/// A tube about the axis: radius, and the heights between which it is closed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Tube {
    pub(super) radius_mm: f64,
    pub(super) upper_mm: f64,
    pub(super) lower_mm: Option<f64>,
}

/// All that may end a line of sight.
#[derive(Clone, Debug)]
pub(super) struct Scene {
    pub(super) axis_to_focus_mm: f64,
    /// Height of the focuser's axis.
    pub(super) height_mm: f64,
    pub(super) rounds: Vec<Round>,
    pub(super) window: Option<Window>,
    pub(super) flat: Body,
    pub(super) holder: Option<Plate>,
    pub(super) sheet: Option<Sheet>,
    pub(super) tube: Option<Tube>,
    pub(super) front: Option<Plate>,
    /// Outer radius of the ring around the front opening.
    pub(super) ring_outer_mm: Option<f64>,
}

/// The scene as one point of the focal plane sees it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Eye<'a> {
    pub(super) scene: &'a Scene,
    pub(super) along_mm: f64,
    pub(super) across_mm: f64,
}

/// Edges of the shapes, two for each; bodies have three pairs.
mod edge {
    pub(super) const ROUND: u8 = 0;
    pub(super) const WINDOW: u8 = 40;
    pub(super) const FLAT: u8 = 50;
    pub(super) const HOLDER: u8 = 60;
    pub(super) const SHEET: u8 = 62;
    pub(super) const UPPER: u8 = 64;
    pub(super) const LOWER: u8 = 66;
    pub(super) const RING: u8 = 68;
    pub(super) const FRONT: u8 = 70;
    pub(super) const NEAR: u8 = 72;
}

impl Eye<'_> {
    /// Height of the point above the vertex.
    pub(super) fn z_mm(&self) -> f64 {
        self.scene.height_mm + self.along_mm
    }

    /// The part of the row that is seen through the drawtube.
    pub(super) fn view(&self, w: f64) -> Option<Piece> {
        let mut seen =
            [End { v: f64::NEG_INFINITY, edge: edge::ROUND }, End { v: f64::INFINITY, edge: edge::ROUND }];
        for (k, round) in (0_u8..).zip(&self.scene.rounds) {
            let t = round.distance_mm;
            let up = self.along_mm + w * t;
            let half = (round.radius_mm - up.abs()) * (round.radius_mm + up.abs());
            if half <= 0.0 {
                return None;
            }
            let half = half.sqrt();
            narrow(&mut seen, (-self.across_mm - half) / t, (half - self.across_mm) / t, edge::ROUND + 2 * k);
        }
        if let Some(window) = &self.scene.window {
            let (sin, cos) = window.turn_rad.sin_cos();
            let t = window.distance_mm;
            let up = self.along_mm + w * t;
            // Across both pairs of sides: |a + b s| <= half, s the place across.
            for (k, (a, b, half)) in
                [(up * cos, sin, window.half_along_mm), (-up * sin, cos, window.half_across_mm)]
                    .into_iter()
                    .enumerate()
            {
                if b.abs() < 1e-12 {
                    if a.abs() >= half {
                        return None;
                    }
                    continue;
                }
                let ends = [(-half - a) / b, (half - a) / b];
                let (low, high) = (ends[0].min(ends[1]), ends[0].max(ends[1]));
                let (low, high) = ((low - self.across_mm) / t, (high - self.across_mm) / t);
                narrow(&mut seen, low, high, edge::WINDOW + 2 * k as u8);
            }
        }
        (seen[0].v < seen[1].v && seen[0].v.is_finite() && seen[1].v.is_finite()).then_some(seen)
    }

    /// The row of the view, dealt out to what ends its lines; in the order of `Ending` within each piece of the view.
    pub(super) fn deal(&self, w: f64, out: &mut Vec<(Ending, Piece)>) {
        out.clear();
        let Some(view) = self.view(w) else { return };
        let mut rest = vec![view];
        let bodies = [
            (Ending::Diagonal, self.flat(w)),
            (Ending::Holder, self.scene.holder.and_then(|p| self.plate(p, w, edge::HOLDER))),
            (Ending::Baffle, self.sheet(w)),
        ];
        for (ending, piece) in bodies {
            if let Some(piece) = piece {
                rest = take(&rest, piece, ending, out);
            }
        }
        if let Some(ring) = self.scene.front {
            let outer_mm = self.scene.ring_outer_mm;
            let outer = outer_mm
                .filter(|r| *r > ring.radius_mm)
                .and_then(|radius_mm| self.plate(Plate { radius_mm, ..ring }, w, edge::RING));
            if let Some(outer) = outer {
                // Through the hole, or past the ring's outside, or ended.
                let mut ringed = Vec::new();
                let beside = take(&rest, outer, Ending::FrontRing, &mut ringed);
                let ringed: Vec<Piece> = ringed.into_iter().map(|(_, piece)| piece).collect();
                let mut through = Vec::new();
                let ended = match self.plate(ring, w, edge::FRONT) {
                    Some(hole) => take(&ringed, hole, Ending::Open, &mut through),
                    None => ringed,
                };
                out.extend(ended.into_iter().map(|piece| (Ending::FrontRing, piece)));
                rest = beside;
                rest.extend(through.into_iter().map(|(_, piece)| piece));
            }
        }
        if let Some(tube) = self.scene.tube {
            match self.past_wall(tube, w) {
                Past::All => {}
                Past::Nothing => {
                    out.extend(rest.drain(..).map(|piece| (Ending::Wall, piece)));
                }
                Past::Inside(hole) => {
                    let mut through = Vec::new();
                    let ended = take(&rest, hole, Ending::Open, &mut through);
                    out.extend(ended.into_iter().map(|piece| (Ending::Wall, piece)));
                    rest = through.into_iter().map(|(_, piece)| piece).collect();
                }
                Past::Outside(hole) => rest = take(&rest, hole, Ending::Wall, out),
            }
        }
        out.extend(rest.into_iter().map(|piece| (Ending::Open, piece)));
    }

    /// Lines that pass a tube's wall, of those in a row.
    fn past_wall(&self, tube: Tube, w: f64) -> Past {
        let hole = |height_mm, edge| self.plate(Plate { height_mm, radius_mm: tube.radius_mm }, w, edge);
        if self.z_mm() >= tube.upper_mm {
            // From above the edge: only a line that sinks into the tube ends there.
            return hole(tube.upper_mm, edge::UPPER).map_or(Past::All, Past::Outside);
        }
        let (height_mm, label) = match (w > 0.0, tube.lower_mm) {
            (true, _) => (tube.upper_mm, edge::UPPER),
            (false, Some(lower)) => (lower, edge::LOWER),
            (false, None) => return Past::Nothing,
        };
        // A line that is at the edge's height before it comes to the tube passes over the near edge: it lies on the
        // eye's side of the line through the two points where lines from the eye touch the tube.
        let t = (height_mm - self.z_mm()) / w;
        let (x, square) = (self.scene.axis_to_focus_mm - t, tube.radius_mm * tube.radius_mm);
        let is_near = |y: f64| self.scene.axis_to_focus_mm * x + self.across_mm * y >= square;
        let Some(mut through) = hole(height_mm, label) else {
            return if x > 0.0 && is_near(0.0) { Past::All } else { Past::Nothing };
        };
        if is_near(self.across_mm + through[0].v * t) {
            through[0] = End { v: f64::NEG_INFINITY, edge: edge::NEAR };
        }
        if is_near(self.across_mm + through[1].v * t) {
            through[1] = End { v: f64::INFINITY, edge: edge::NEAR };
        }
        Past::Inside(through)
    }

    /// A horizontal plate or hole in a row: the line is at its height at one distance.
    fn plate(&self, plate: Plate, w: f64, edge: u8) -> Option<Piece> {
        let t = (plate.height_mm - self.z_mm()) / w;
        if !(t > 0.0 && t.is_finite()) {
            return None;
        }
        let x = self.scene.axis_to_focus_mm - t;
        let half = (plate.radius_mm - x.abs()) * (plate.radius_mm + x.abs());
        (half > 0.0).then(|| {
            let half = half.sqrt();
            let v = |y: f64| (y - self.across_mm) / t;
            [End { v: v(-half), edge }, End { v: v(half), edge: edge + 1 }]
        })
    }

    /// The upright sheet in a row.
    fn sheet(&self, w: f64) -> Option<Piece> {
        let sheet = self.scene.sheet?;
        let t = self.scene.axis_to_focus_mm + sheet.axis_to_sheet_mm;
        let z = self.z_mm() + w * t;
        ((sheet.from_height_mm..=sheet.to_height_mm).contains(&z)).then(|| {
            let v = |y: f64| (y - self.across_mm) / t;
            [
                End { v: v(-sheet.half_width_mm), edge: edge::SHEET },
                End { v: v(sheet.half_width_mm), edge: edge::SHEET + 1 },
            ]
        })
    }

    /// The flat's body in a row: the row's plane cuts it in a piece of an ellipse between two parallel chords, and the
    /// outermost lines touch the ellipse or pass an end of a chord.
    fn flat(&self, w: f64) -> Option<Piece> {
        let body = &self.scene.flat;
        let [cx, cy, cz] = body.centre_mm;
        let [dx, dz] = body.sweep_mm;
        let to_axis = self.scene.axis_to_focus_mm;
        let (radius, y) = (body.radius_mm, cy - self.across_mm);
        // (z - cz) - (x - cx) = a + b t is 0 on the face and `deep` on the back.
        let (a, b) = (self.z_mm() - cz - to_axis + cx, 1.0 + w);
        if b <= 0.0 {
            return None;
        }
        let deep = dz - dx;
        let lean = if deep > 0.0 { dx / deep } else { 0.0 };
        // s = s0 - s1 t is the place along the face, seen along the tube.
        let (s0, s1) = (to_axis - cx - a * lean, 1.0 + b * lean);
        let (face, back) = (-a / b, (deep - a) / b);
        if s1.abs() < 1e-6 {
            return None;
        }
        let (middle, half) = (s0 / s1, radius / s1.abs());
        let (near, far) = (face.min(back).max(middle - half), face.max(back).min(middle + half));
        if !(near <= far && near > 0.0) {
            return None;
        }
        let side = |sign: f64, edge: u8| {
            let at = |t: f64| {
                let s = s0 - s1 * t;
                (y + sign * ((radius - s) * (radius + s)).max(0.0).sqrt()) / t
            };
            // The line from the eye that touches the ellipse, and where.
            let outside = (middle - half) * (middle + half);
            let root = (radius * radius * middle * middle + half * half * (y * y - radius * radius)).max(0.0);
            let touching = (y * middle + sign * root.sqrt()) / outside;
            let t = middle - sign * touching * half * half / radius.hypot(touching * half);
            if outside > 0.0 && near < t && t < far {
                End { v: touching, edge }
            } else if outside > 0.0 && t <= near {
                End { v: at(near), edge: edge + 2 }
            } else {
                End { v: at(far), edge: edge + 4 }
            }
        };
        let piece = [side(-1.0, edge::FLAT), side(1.0, edge::FLAT + 1)];
        (piece[0].v < piece[1].v).then_some(piece)
    }

    /// Slopes w at which a row's pieces begin, end or change, as far as they are known beforehand.
    pub(super) fn known_breaks(&self) -> Vec<f64> {
        let scene = self.scene;
        let mut breaks = vec![0.0];
        for round in &scene.rounds {
            breaks.push((-round.radius_mm - self.along_mm) / round.distance_mm);
            breaks.push((round.radius_mm - self.along_mm) / round.distance_mm);
        }
        if let Some(window) = &scene.window {
            let (sin, cos) = window.turn_rad.sin_cos();
            for (p, q) in [(1.0, 1.0), (1.0, -1.0), (-1.0, 1.0), (-1.0, -1.0)] {
                let up = p * window.half_along_mm * cos - q * window.half_across_mm * sin;
                breaks.push((up - self.along_mm) / window.distance_mm);
            }
        }
        let body = &scene.flat;
        for (end, swept) in [(1.0, 0.0), (-1.0, 0.0), (1.0, 1.0), (-1.0, 1.0)] {
            let x = body.centre_mm[0] + end * body.radius_mm + swept * body.sweep_mm[0];
            let z = body.centre_mm[2] + end * body.radius_mm + swept * body.sweep_mm[1];
            breaks.push((z - self.z_mm()) / (scene.axis_to_focus_mm - x));
        }
        let tube = scene.tube.map(|t| (t.radius_mm, [Some(t.upper_mm), t.lower_mm]));
        let tube_plates = tube.into_iter().flat_map(|(radius_mm, heights)| {
            heights.into_iter().flatten().map(move |height_mm| Plate { height_mm, radius_mm })
        });
        let ring = scene.front.zip(scene.ring_outer_mm).map(|(p, radius_mm)| Plate { radius_mm, ..p });
        for plate in tube_plates.chain(scene.holder).chain(scene.front).chain(ring) {
            for end in [-plate.radius_mm, plate.radius_mm] {
                breaks.push((plate.height_mm - self.z_mm()) / (scene.axis_to_focus_mm - end));
            }
        }
        if let Some(sheet) = &scene.sheet {
            for z in [sheet.from_height_mm, sheet.to_height_mm] {
                breaks.push((z - self.z_mm()) / (scene.axis_to_focus_mm + sheet.axis_to_sheet_mm));
            }
        }
        breaks
    }

    /// Slopes w between which the view lies; None where nothing is seen through the drawtube.
    pub(super) fn span(&self) -> Option<[f64; 2]> {
        let scene = self.scene;
        let rounds = scene.rounds.iter().map(|r| {
            [(-r.radius_mm - self.along_mm) / r.distance_mm, (r.radius_mm - self.along_mm) / r.distance_mm]
        });
        let window = scene.window.map(|w| {
            let (sin, cos) = w.turn_rad.sin_cos();
            let reach = w.half_along_mm * cos.abs() + w.half_across_mm * sin.abs();
            [(-reach - self.along_mm) / w.distance_mm, (reach - self.along_mm) / w.distance_mm]
        });
        let [low, high] = rounds
            .chain(window)
            .reduce(|a, b| [a[0].max(b[0]), a[1].min(b[1])])
            .filter(|[low, high]| low < high)?;
        // How wide the view is in a row; negative where it is empty. Concave in w, so it has one top.
        let width = |w: f64| {
            let mut ends = [f64::NEG_INFINITY, f64::INFINITY];
            for round in &scene.rounds {
                let (t, up) = (round.distance_mm, self.along_mm + w * round.distance_mm);
                let half = ((round.radius_mm - up.abs()) * (round.radius_mm + up.abs())).max(0.0).sqrt();
                ends[0] = ends[0].max((-self.across_mm - half) / t);
                ends[1] = ends[1].min((half - self.across_mm) / t);
            }
            ends[1] - ends[0]
        };
        let (top, widest) = roots::maximum(width, low, high, 1e-13 * (high - low));
        if widest <= 0.0 {
            return None;
        }
        let tolerance = 1e-15 * (high - low);
        let from = if width(low) >= 0.0 { low } else { roots::bracketed(width, low, top, tolerance)? };
        let to = if width(high) >= 0.0 { high } else { roots::bracketed(width, top, high, tolerance)? };
        Some([from, to])
    }
}

/// Which lines of a row pass a wall.
enum Past {
    All,
    Nothing,
    Inside(Piece),
    Outside(Piece),
}

fn narrow(seen: &mut Piece, low: f64, high: f64, edge: u8) {
    if low > seen[0].v {
        seen[0] = End { v: low, edge };
    }
    if high < seen[1].v {
        seen[1] = End { v: high, edge: edge + 1 };
    }
}

/// Moves what lies within `piece` to `out`; returns what is left.
fn take(from: &[Piece], piece: Piece, ending: Ending, out: &mut Vec<(Ending, Piece)>) -> Vec<Piece> {
    let mut left = Vec::with_capacity(from.len() + 1);
    for &[low, high] in from {
        let (inner_low, inner_high) = (
            if piece[0].v > low.v { piece[0] } else { low },
            if piece[1].v < high.v { piece[1] } else { high },
        );
        if inner_low.v >= inner_high.v {
            left.push([low, high]);
            continue;
        }
        out.push((ending, [inner_low, inner_high]));
        if low.v < inner_low.v {
            left.push([low, inner_low]);
        }
        if inner_high.v < high.v {
            left.push([inner_high, high]);
        }
    }
    left
}
