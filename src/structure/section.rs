//! The train's section in the plane of tube and focuser: outlines and rays, in millimetres, in the real folded space.

use serde::{Deserialize, Serialize};

use super::enclosure::Enclosure;
use crate::error::{Error, Result};
use crate::trace::{Part, Prepared};
use crate::units::{Field, RADIANS_PER_ARCMIN};

/// Parts without a width of their own are drawn so far beyond their opening, mm.
const SHOWN_WIDTH_MM: f64 = 25.0;
/// Points along the mirror's face.
const FACE_POINTS: usize = 61;

/// One line of the section: a part's outline, or one of its pieces.
///
/// Units: mm. Shapes: both lists equally long, two points or more; closed outlines repeat the first point.
///
/// ```
/// let line = catoptric::SectionLine { part: "mirror".to_owned(), x_mm: vec![-1.0, 1.0], z_mm: vec![0.0, 0.0] };
/// assert_eq!(line.x_mm.len(), line.z_mm.len());
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SectionLine {
    /// The key of a [`Part`], or `mirror`, `diagonal`, `drawtube`, `focal_plane`, `tube`, `baffle`.
    pub part: String,
    /// From the tube's axis toward the focuser, mm.
    pub x_mm: Vec<f64>,
    /// Above the mirror's vertex, mm.
    pub z_mm: Vec<f64>,
}

/// One ray of the section, from above the telescope to where it ends.
///
/// Units: mm, arcmin. Shapes: both lists equally long.
///
/// ```
/// use catoptric::{Enclosure, FocalLengthMm, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1200.0))).build()?;
/// let section = Prepared::new(&train).section(&Enclosure::open(), 10.0, 5)?;
/// let ray = &section.rays[0];
/// assert!(ray.ended_by.is_none() && (ray.z_mm[ray.z_mm.len() - 1] - 1200.0).abs() < 1.0);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SectionRay {
    /// Where the star's image lies along, mm.
    pub along_mm: f64,
    /// Where the star stands toward the focuser's side, arcmin.
    pub field_x_arcmin: f64,
    /// Where the ray meets the mirror, or would.
    pub pupil_x_mm: f64,
    /// Its corners and its end, mm.
    pub x_mm: Vec<f64>,
    /// Their heights above the vertex, mm.
    pub z_mm: Vec<f64>,
    /// The part that stops it; none: it reaches the focal plane.
    pub ended_by: Option<Part>,
}

/// The section of a train in the plane y = 0.
///
/// Units: mm, x from the tube's axis toward the focuser, z above the mirror's vertex.
///
/// ```
/// use catoptric::{Diagonal, Enclosure, FocalLengthMm, FocalPlane, Part, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(70.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .build()?;
/// let section = Prepared::new(&train).section(&Enclosure::open(), 12.0, 9)?;
/// assert_eq!(section.rays.len(), 27);
/// let middle = &section.rays[4];
/// assert_eq!(middle.ended_by, Some(Part::DiagonalShadow));
/// assert!(section.lines.iter().any(|l| l.part == "diagonal"));
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TrainSection {
    /// Outlines of all parts.
    pub lines: Vec<SectionLine>,
    /// Rays of the axis and of both edges of the field.
    pub rays: Vec<SectionRay>,
    /// From the tube's axis to the focal plane, mm; none for a train without a diagonal.
    pub axis_to_focus_mm: Option<f64>,
    /// Height of the focuser's axis, or of the focal plane of a train without a diagonal, mm.
    pub focuser_height_mm: f64,
    /// Field radius to which the outer rays belong, mm.
    pub field_radius_mm: f64,
    /// Clear aperture, mm.
    pub clear_aperture_mm: f64,
}

/// A ray under way.
struct Way {
    x_mm: Vec<f64>,
    z_mm: Vec<f64>,
}

impl Way {
    fn to(&mut self, [x, z]: [f64; 2]) {
        self.x_mm.push(x);
        self.z_mm.push(z);
    }
}

impl Prepared {
    /// The section with rays: of a star on the axis, and of the two stars whose images lie at the edge of the field
    /// along.
    ///
    /// Each ray ends where a part stops it. A ray that misses the diagonal ends in its plane.
    ///
    /// Units: mm. `rays_each` rays for each star, evenly over the clear aperture.
    /// Errors: [`Error::Input`] for a field radius that is negative or not below the focal length, fewer than 2 or more
    /// than 1000 rays, or an enclosure that cannot be.
    /// Leaves out: vanes (a section shows at most their edge); clips where no clip lies in the plane; the mirror's
    /// back, which the train does not know. A flat that rolls or turns sends its rays out of the plane; they are drawn
    /// in it.
    ///
    /// ```
    /// use catoptric::{Diagonal, Enclosure, FocalLengthMm, FocalPlane, Prepared, Primary, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
    ///     .diagonal(Diagonal::new(70.0))
    ///     .focal_plane(FocalPlane::new(235.0))
    ///     .build()?;
    /// let section = Prepared::new(&train).section(&Enclosure::open(), 0.0, 5)?;
    /// let through = section.rays.iter().find(|r| r.ended_by.is_none()).expect("light");
    /// assert!((through.x_mm.last().unwrap() - 235.0).abs() < 1e-9);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn section(
        &self,
        enclosure: &Enclosure,
        field_radius_mm: f64,
        rays_each: usize,
    ) -> Result<TrainSection> {
        enclosure.check()?;
        let focal_mm = self.focal_length_mm();
        if !(field_radius_mm >= 0.0 && field_radius_mm < 0.08 * focal_mm) {
            return Err(Error::input(
                "field_radius_mm",
                field_radius_mm,
                format!("from 0 to {:.0} mm, the edge of the largest field", 0.08 * focal_mm),
                "a diameter, or micrometres?",
            ));
        }
        if !(2..=1000).contains(&rays_each) {
            return Err(Error::input("rays_each", rays_each, "2 to 1000 rays", ""));
        }
        let axis_to_focus_mm = self.train().focal_plane().map(|p| p.axis_to_focus_mm);
        let focuser_height_mm = self.fold().map_or(focal_mm, |f| f.height_mm);
        let stars: &[f64] = if field_radius_mm > 0.0 { &[0.0, 1.0, -1.0] } else { &[0.0] };
        let rim_mm = self.clear_radius_mm() * (1.0 - 1e-12);
        let mut rays = Vec::with_capacity(stars.len() * rays_each);
        for side in stars {
            let along_mm = side * field_radius_mm;
            for k in 0..rays_each {
                let pupil_x_mm = rim_mm * (2.0 * k as f64 / (rays_each - 1) as f64 - 1.0);
                rays.push(self.section_ray(along_mm, pupil_x_mm, enclosure));
            }
        }
        Ok(TrainSection {
            lines: self.section_lines(enclosure, field_radius_mm),
            rays,
            axis_to_focus_mm,
            focuser_height_mm,
            field_radius_mm,
            clear_aperture_mm: self.train().primary().clear_aperture_mm,
        })
    }

    fn section_ray(&self, along_mm: f64, pupil_x_mm: f64, enclosure: &Enclosure) -> SectionRay {
        let focal_mm = self.focal_length_mm();
        let field = Field::arcmin((-along_mm / focal_mm).atan() / RADIANS_PER_ARCMIN, 0.0);
        let ray = self.ray(field, pupil_x_mm, 0.0);
        let [hit_x, _, hit_z] = ray.hit_mm;
        let [slope, _] = field.tangents();
        let down = |z: f64| [hit_x + (z - hit_z) * slope, z];
        let mut way = Way { x_mm: Vec::new(), z_mm: Vec::new() };
        way.to(down(self.section_top_mm(enclosure)));
        let ended_by = self.follow(&mut way, &ray, &down);
        SectionRay {
            along_mm,
            field_x_arcmin: field.x_arcmin,
            pupil_x_mm,
            x_mm: way.x_mm,
            z_mm: way.z_mm,
            ended_by,
        }
    }

    /// Follows a ray to its end; the part that stops it.
    fn follow(&self, way: &mut Way, ray: &crate::trace::Ray, down: &dyn Fn(f64) -> [f64; 2]) -> Option<Part> {
        let (train, focal_mm) = (self.train(), self.focal_length_mm());
        let [hit_x, _, hit_z] = ray.hit_mm;
        if let Some(opening) = train.front_opening() {
            let place = down(opening.above_vertex_mm);
            if place[0].abs() > opening.diameter_mm / 2.0 {
                way.to(place);
                return Some(Part::FrontOpening);
            }
        }
        // Of diagonal and holder the one that is met first shows.
        let mut bodies: Vec<(f64, Part)> = Vec::new();
        let glass = self.glass();
        for ends in glass.windows(2) {
            if let Some(z) = crossing(down, ends[0], ends[1]) {
                bodies.push((z, Part::DiagonalShadow));
            }
        }
        if let Some(holder) = train.holder() {
            let z = holder.above_vertex_mm.or(self.fold().map(|f| f.height_mm)).unwrap_or(focal_mm);
            if down(z)[0].abs() < holder.diameter_mm / 2.0 {
                bodies.push((z, Part::Holder));
            }
        }
        if let Some((z, part)) = bodies.into_iter().reduce(|a, b| if b.0 > a.0 { b } else { a }) {
            way.to(down(z));
            return Some(part);
        }
        way.to([hit_x, hit_z]);
        if hit_x.abs() > self.open_radius_mm() {
            return Some(Part::Mask);
        }
        if self.clip_reach_mm(hit_x > 0.0).is_some_and(|reach| hit_x.abs() > self.clear_radius_mm() - reach) {
            return Some(Part::MirrorClips);
        }
        let [dx, _, dz] = ray.direction;
        let (Some(fold), Some(plane)) = (self.fold(), train.focal_plane()) else {
            way.to([hit_x + dx / dz * (focal_mm - hit_z), focal_mm]);
            return None;
        };
        // The flat: where its plane is met, and the turned direction.
        let face = fold.face();
        let ([cx, _, cz], [nx, _, nz]) = (face.centre_mm, face.normal);
        let t = (nx * (cx - hit_x) + nz * (cz - hit_z)) / (nx * dx + nz * dz);
        let met = [hit_x + dx * t, hit_z + dz * t];
        way.to(met);
        let [lx, _, lz] = face.long;
        let from_centre = (met[0] - cx) * lx + (met[1] - cz) * lz;
        if from_centre.abs() > fold.minor_axis_mm / 2_f64.sqrt() {
            return Some(Part::Diagonal);
        }
        let twice = 2.0 * (nx * dx + nz * dz);
        let (ox, oz) = (dx - twice * nx, dz - twice * nz);
        let at = |x: f64| [x, met[1] + oz / ox * (x - met[0])];
        for (x, half_mm, part) in self.section_stops() {
            let place = at(x);
            if (place[1] - fold.height_mm).abs() > half_mm {
                way.to(place);
                return Some(part);
            }
        }
        way.to(at(plane.axis_to_focus_mm));
        None
    }

    /// The glass of the flat, once around; empty without a flat.
    fn glass(&self) -> Vec<[f64; 2]> {
        let Some(fold) = self.fold() else { return Vec::new() };
        let face = fold.face();
        let ([cx, _, cz], [lx, _, lz], [bx, _, bz]) = (face.centre_mm, face.long, fold.back_mm());
        let half = fold.glass_mm / 2_f64.sqrt();
        let (low, high) = ([cx - half * lx, cz - half * lz], [cx + half * lx, cz + half * lz]);
        vec![low, high, [high[0] + bx, high[1] + bz], [low[0] + bx, low[1] + bz], low]
    }

    /// What stands beyond the flat: distance from the tube's axis, half of the opening in the plane, name; in order.
    fn section_stops(&self) -> Vec<(f64, f64, Part)> {
        let train = self.train();
        let Some(plane) = train.focal_plane() else { return Vec::new() };
        let to_focus = plane.axis_to_focus_mm;
        let mut stops = Vec::new();
        if let Some(board) = train.focuser_board() {
            stops.push((board.axis_to_board_mm, board.hole_mm / 2.0, Part::FocuserBoard));
        }
        if let Some(tube) = train.drawtube() {
            let outer = to_focus - tube.outer_end_to_focus_mm;
            stops.push((outer - tube.length_mm, tube.bore_mm / 2.0, Part::DrawtubeInnerEnd));
            stops.push((outer.min(to_focus), tube.bore_mm / 2.0, Part::DrawtubeOuterEnd));
        }
        if let Some(ring) = train.filter_ring() {
            stops.push((to_focus - ring.before_focus_mm, ring.diameter_mm / 2.0, Part::FilterRing));
        }
        if let Some(mask) = train.sensor_mask() {
            // Where the plane y = 0 cuts the rectangle.
            let (sin, cos) = mask.rotation_deg.to_radians().sin_cos();
            let half = |side: f64, share: f64| {
                if share.abs() > 1e-12 { side / (2.0 * share.abs()) } else { f64::INFINITY }
            };
            let half_mm = half(mask.along_mm, cos).min(half(mask.across_mm, sin));
            stops.push((to_focus - mask.before_focus_mm, half_mm, Part::SensorMask));
        }
        stops.retain(|s| s.0 <= to_focus);
        stops.sort_by(|a, b| a.0.total_cmp(&b.0));
        stops
    }

    /// How far a clip in the section's plane reaches inward on this side, mm.
    fn clip_reach_mm(&self, toward_focuser: bool) -> Option<f64> {
        let clips = self.train().mirror_clips()?;
        let here = if toward_focuser { 0.0 } else { 180.0 };
        let step = 360.0 / f64::from(clips.clips);
        let turn: f64 = here - clips.angle_deg;
        let away = turn - step * (turn / step).round();
        // Half a clip's width along the rim, as an angle.
        let half = (clips.width_mm / (2.0 * self.clear_radius_mm())).asin().to_degrees();
        (away.abs() <= half).then_some(clips.reach_mm)
    }

    fn section_top_mm(&self, enclosure: &Enclosure) -> f64 {
        let front = self.train().front_opening().map_or(0.0, |o| o.above_vertex_mm);
        let holder = self.train().holder().and_then(|h| h.above_vertex_mm).unwrap_or(0.0);
        let glass = self.glass().iter().map(|p| p[1]).fold(0.0, f64::max);
        let edge = enclosure.upper_edge_mm.unwrap_or(0.0);
        let top = front.max(edge).max(glass).max(holder);
        let top = if self.fold().is_none() { top.max(self.focal_length_mm()) } else { top };
        top + 0.15 * self.train().primary().clear_aperture_mm
    }

    fn section_lines(&self, enclosure: &Enclosure, field_radius_mm: f64) -> Vec<SectionLine> {
        let train = self.train();
        let mut lines = Vec::new();
        let mut add = |part: &str, points: &[[f64; 2]]| {
            lines.push(SectionLine {
                part: part.to_owned(),
                x_mm: points.iter().map(|p| p[0]).collect(),
                z_mm: points.iter().map(|p| p[1]).collect(),
            });
        };
        let rim = self.clear_radius_mm();
        let on_mirror = |x: f64| {
            let [x, _, z] = self.ray(Field::AXIS, x, 0.0).hit_mm;
            [x, z]
        };
        let face: Vec<[f64; 2]> = (0..FACE_POINTS)
            .map(|k| on_mirror(rim * (1.0 - 1e-12) * (2.0 * k as f64 / (FACE_POINTS - 1) as f64 - 1.0)))
            .collect();
        add("mirror", &face);
        for side in [-1.0, 1.0] {
            let edge = on_mirror(side * rim * (1.0 - 1e-12))[1];
            if self.open_radius_mm() < rim {
                add(Part::Mask.key(), &[[side * self.open_radius_mm(), edge], [side * (rim + 10.0), edge]]);
            }
            if let Some(reach) = self.clip_reach_mm(side > 0.0) {
                add(Part::MirrorClips.key(), &[[side * (rim - reach), edge], [side * (rim + 6.0), edge]]);
            }
            if let Some(opening) = train.front_opening() {
                let (from, z) = (opening.diameter_mm / 2.0, opening.above_vertex_mm);
                let outer = enclosure.ring_outer_mm.or(enclosure.tube_diameter_mm).map(|d| d / 2.0);
                let to = outer.filter(|r| *r > from).unwrap_or(from + SHOWN_WIDTH_MM);
                add(Part::FrontOpening.key(), &[[side * from, z], [side * to, z]]);
            }
        }
        let glass = self.glass();
        if !glass.is_empty() {
            add("diagonal", &glass);
        }
        if let Some(holder) = train.holder() {
            let z = holder.above_vertex_mm.or(self.fold().map(|f| f.height_mm)).unwrap_or(0.0);
            add(Part::Holder.key(), &[[-holder.diameter_mm / 2.0, z], [holder.diameter_mm / 2.0, z]]);
        }
        let Some((fold, plane)) = self.fold().zip(train.focal_plane()) else {
            let f = self.focal_length_mm();
            let half = field_radius_mm.max(10.0);
            add("focal_plane", &[[-half, f], [half, f]]);
            return lines;
        };
        let middle = fold.height_mm;
        for (x, half, part) in self.section_stops() {
            // The drawtube is drawn as its two walls below.
            if matches!(part, Part::DrawtubeInnerEnd | Part::DrawtubeOuterEnd) {
                continue;
            }
            for side in [-1.0, 1.0] {
                let (from, to) = (middle + side * half, middle + side * (half + SHOWN_WIDTH_MM));
                add(part.key(), &[[x, from], [x, to]]);
            }
        }
        if let Some(tube) = train.drawtube() {
            let outer = plane.axis_to_focus_mm - tube.outer_end_to_focus_mm;
            for side in [-1.0, 1.0] {
                let z = middle + side * tube.bore_mm / 2.0;
                add("drawtube", &[[outer - tube.length_mm, z], [outer, z]]);
            }
        }
        let half = field_radius_mm.max(5.0);
        let x = plane.axis_to_focus_mm;
        add("focal_plane", &[[x, middle - half], [x, middle + half]]);
        self.wall_lines(enclosure, middle, &mut add);
        lines
    }

    /// Tube and baffle; the tube's wall on the focuser's side has the focuser's hole.
    fn wall_lines(&self, enclosure: &Enclosure, middle: f64, add: &mut dyn FnMut(&str, &[[f64; 2]])) {
        if let (Some(diameter), Some(upper)) = (enclosure.tube_diameter_mm, enclosure.upper_edge_mm) {
            let (r, lower) = (diameter / 2.0, enclosure.lower_edge_mm.unwrap_or(0.0));
            add("tube", &[[-r, lower], [-r, upper]]);
            let hole = match (self.train().focuser_board(), self.train().drawtube()) {
                (Some(board), _) => board.hole_mm / 2.0,
                (None, Some(tube)) => tube.bore_mm / 2.0,
                _ => 0.0,
            };
            for (from, to) in [(lower, (middle - hole).min(upper)), ((middle + hole).max(lower), upper)] {
                if from < to {
                    add("tube", &[[r, from], [r, to]]);
                }
            }
        }
        if let Some(baffle) = enclosure.baffle {
            let x = -baffle.axis_to_baffle_mm;
            add("baffle", &[[x, middle - baffle.below_axis_mm], [x, middle + baffle.above_axis_mm]]);
        }
    }
}

/// Height at which a ray on its way down crosses a straight edge, mm.
fn crossing(down: &dyn Fn(f64) -> [f64; 2], a: [f64; 2], b: [f64; 2]) -> Option<f64> {
    // Signed distances of both ends from the ray, along x.
    let (from, to) = (a[0] - down(a[1])[0], b[0] - down(b[1])[0]);
    if (from > 0.0) == (to > 0.0) {
        return None;
    }
    let share = from / (from - to);
    Some(a[1] + share * (b[1] - a[1]))
}
