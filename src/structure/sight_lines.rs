//! Lines of sight from the field through the drawtube, past the diagonal, to open sky.

use std::f64::consts::PI;

use serde::{Deserialize, Serialize};

use super::enclosure::Enclosure;
use super::sight_row::{Body, Ending, Eye, Plate, Round, Scene, Sheet, Tube, Window};
use super::sight_rows::{self, Goal};
use crate::error::{Error, Result};
use crate::model::Train;
use crate::numeric::pool;
use crate::trace::{Fold, Prepared};

/// What one point of the focal plane sees without any mirror.
///
/// Units: mm, sr; heights count from the primary's vertex.
///
/// ```
/// use catoptric::{Diagonal, Drawtube, Enclosure, FocalLengthMm, FocalPlane, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(70.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .drawtube(Drawtube::new(47.0, 50.0, 18.0))
///     .build()?;
/// let seen = Prepared::new(&train).sight_lines(&Enclosure::open(), &[0.0], &[0.0])?;
/// let point = &seen.points[0];
/// let parts = point.diagonal_sr + point.open_above_sr + point.open_below_sr;
/// assert!((parts - point.view_sr).abs() < 1e-14, "past the flat everything is open");
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SightPoint {
    /// Where the point lies, positive toward the sky end, mm.
    pub along_mm: f64,
    /// Where it lies across, mm.
    pub across_mm: f64,
    /// All that is seen through the drawtube, sr.
    pub view_sr: f64,
    /// Lines that end at the diagonal, sr.
    pub diagonal_sr: f64,
    /// At its holder, as far as the diagonal does not hide it, sr.
    pub holder_sr: f64,
    /// At the baffle opposite the focuser, sr.
    pub baffle_sr: f64,
    /// At the ring around the front opening, sr.
    pub front_ring_sr: f64,
    /// At the wall of tube or shroud, sr.
    pub wall_sr: f64,
    /// Lines that rise toward the tube's sky end and leave it, sr.
    pub open_above_sr: f64,
    /// Lines that sink toward the mirror's end and leave the structure all the same, sr.
    pub open_below_sr: f64,
    /// All open lines, each weighted with the cosine of its slant against the focuser's axis, sr: what counts for light
    /// that falls on a surface.
    pub open_projected_sr: f64,
    /// Sky seen directly over the sky focused in the image: `open_projected_sr` over pi/(4 F^2).
    pub against_image: f64,
    /// Lowest height at which a line past diagonal and holder crosses the plane opposite, mm; none without such lines.
    pub patch_low_mm: Option<f64>,
    /// Highest height there, mm.
    pub patch_high_mm: Option<f64>,
    /// How far from the plane y = 0 such lines cross it at most, mm.
    pub patch_half_width_mm: Option<f64>,
    /// How far the solid angles may be wrong, sr.
    pub error_estimate_sr: f64,
}

impl SightPoint {
    /// Open sky and open ground seen directly, sr.
    pub fn open_sr(&self) -> f64 {
        self.open_above_sr + self.open_below_sr
    }

    /// The same as a share of all that is seen through the drawtube; 0 where nothing is seen.
    pub fn open_share(&self) -> f64 {
        if self.view_sr > 0.0 { self.open_sr() / self.view_sr } else { 0.0 }
    }
}

/// What points of the focal plane see through the drawtube without any mirror.
///
/// Units: mm, sr.
///
/// ```
/// use catoptric::{Diagonal, Drawtube, Enclosure, FocalLengthMm, FocalPlane, Prepared, Primary, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(70.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .drawtube(Drawtube::new(47.0, 50.0, 18.0))
///     .build()?;
/// let telescope = Prepared::new(&train);
/// let truss = telescope.sight_lines(&Enclosure::open(), &[0.0, 12.0], &[0.0, 0.0])?;
/// assert!(truss.worst().against_image > 0.1 && truss.words().contains("sensor"));
/// let tube = telescope.sight_lines(&Enclosure::tube(380.0, 1700.0), &[0.0, 12.0], &[0.0, 0.0])?;
/// assert_eq!(tube.worst().open_sr(), 0.0);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SightLines {
    /// The points, as they were asked for.
    pub points: Vec<SightPoint>,
    /// What stood around the optics.
    pub enclosure: Enclosure,
    /// Distance of the plane opposite from the tube's axis, mm: the baffle's, else the tube's wall, else the front
    /// opening's radius, else half the clear aperture.
    pub opposite_mm: f64,
    /// Focal length over the diameter that gathers light.
    pub focal_ratio: f64,
    /// What is odd: a baffle in the light, a tube too narrow, points that see nothing through the drawtube.
    pub cautions: Vec<String>,
}

impl SightLines {
    /// The point that gets most sky for the sky in its image.
    pub fn worst(&self) -> &SightPoint {
        let worse = |a: &SightPoint, b: &SightPoint| a.against_image.total_cmp(&b.against_image);
        // There is at least one point: the check at its making.
        self.points.iter().reduce(|a, b| if worse(a, b).is_lt() { b } else { a }).unwrap_or(&self.points[0])
    }

    /// The finding in a few sentences.
    pub fn words(&self) -> String {
        let worst = self.worst();
        let place = if worst.along_mm.hypot(worst.across_mm) < 0.05 {
            "middle of the field".to_owned()
        } else {
            format!("point at along {:+.1} mm, across {:+.1} mm", worst.along_mm, worst.across_mm)
        };
        if worst.open_sr() <= 1e-12 {
            return "No point asked for sees past the diagonal into the open.".to_owned();
        }
        let per_cent = 100.0 * worst.against_image;
        let mut words = vec![format!(
            "The {place} sees {:.4} sr of the open past the diagonal, {:.0} % of its view through the \
             drawtube. On a sensor this adds {} of the brightness of the sky in the image; an eyepiece sends it \
             past the eye's pupil or scatters it as a grey veil.",
            worst.open_sr(),
            100.0 * worst.open_share(),
            match per_cent {
                p if p < 0.1 => "less than 0.1 %".to_owned(),
                p if p < 10.0 => format!("{p:.1} %"),
                p => format!("{p:.0} %"),
            },
        )];
        let (above, below) = (worst.open_above_sr, worst.open_below_sr);
        if below > 0.0 {
            let share = 100.0 * below / (above + below);
            words.push(format!(
                "{share:.0} % of it lies below the focuser's height, where sky near the horizon, ground or lamps may \
                 stand."
            ));
        }
        if let (Some(low), Some(high), Some(half)) =
            (worst.patch_low_mm, worst.patch_high_mm, worst.patch_half_width_mm)
        {
            words.push(format!(
                "The lines past the diagonal cross the plane opposite, {:.0} mm from the axis, at heights from \
                 {low:.0} to {high:.0} mm and {half:.0} mm to either side at most.",
                self.opposite_mm
            ));
        }
        words.join(" ")
    }
}

impl Prepared {
    /// What points of the focal plane see through the drawtube without any mirror: past the diagonal to a baffle, to
    /// the wall, or into the open.
    ///
    /// Each view is an intersection of discs in the plane of slopes; everything in the way is one closed piece of each
    /// row, so rows are exact, and their sum over panels without kinks converges to rounding. Everything open counts:
    /// above, beside and below; what stands far away there (sky, ground, the mirror box's outside) is not known.
    ///
    /// Units: mm in the focal plane, `along` positive toward the sky end; sr.
    /// Shapes: both lists equally long, at least one point.
    /// Errors: [`Error::Input`] for a train without diagonal or without drawtube and board, for unequal or empty lists,
    /// for places further away than the focal plane is from the axis, and for an enclosure that cannot be.
    /// Source: own derivation; solid angle of slopes dv dw/(1 + v^2 + w^2)^(3/2).
    /// Leaves out: poles and vanes (a vane of 1 mm before an opening of 47 mm hides a few per cent of the open lines);
    /// the turn of a misplaced flat (0.3 um for each mm and arcminute); light that gets in by one reflection or more.
    ///
    /// ```
    /// use catoptric::{Diagonal, Drawtube, Enclosure, FocalLengthMm, FocalPlane, OppositeBaffle, Prepared, Primary,
    /// Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
    ///     .diagonal(Diagonal::new(70.0))
    ///     .focal_plane(FocalPlane::new(235.0))
    ///     .drawtube(Drawtube::new(47.0, 50.0, 18.0))
    ///     .build()?;
    /// let telescope = Prepared::new(&train);
    /// let bare = telescope.sight_lines(&Enclosure::open(), &[0.0], &[0.0])?;
    /// let sheet = Enclosure::open().baffle(OppositeBaffle::new(400.0, 200.0, 200.0, 200.0));
    /// let closed = telescope.sight_lines(&sheet, &[0.0], &[0.0])?;
    /// assert!(bare.points[0].open_sr() > 0.05 && closed.points[0].open_sr() == 0.0);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn sight_lines(
        &self,
        enclosure: &Enclosure,
        along_mm: &[f64],
        across_mm: &[f64],
    ) -> Result<SightLines> {
        let scene = scene(self, enclosure)?;
        if along_mm.len() != across_mm.len() || along_mm.is_empty() {
            return Err(Error::input(
                "across_mm",
                format!("{} positions beside {}", across_mm.len(), along_mm.len()),
                "two lists of equal length, at least one position",
                "",
            ));
        }
        for (name, list) in [("along_mm", along_mm), ("across_mm", across_mm)] {
            for (k, place) in list.iter().enumerate() {
                check_place(&format!("{name}[{k}]"), *place, &scene)?;
            }
        }
        let focal_ratio = self.focal_ratio();
        let opposite_mm = self.opposite_mm(enclosure);
        let points = pool::map_ordered(along_mm.len(), true, |k| {
            let eye = Eye { scene: &scene, along_mm: along_mm[k], across_mm: across_mm[k] };
            point(&eye, focal_ratio, opposite_mm)
        });
        let reach_mm = along_mm.iter().zip(across_mm).map(|(a, b)| a.hypot(*b)).fold(0.0, f64::max);
        let mut cautions = cautions(self, enclosure, reach_mm);
        let blind = points.iter().filter(|p| p.view_sr == 0.0).count();
        if blind > 0 {
            cautions.push(format!(
                "{blind} of {} points see nothing through the drawtube: they lie beyond its field",
                points.len()
            ));
        }
        Ok(SightLines { points, enclosure: *enclosure, opposite_mm, focal_ratio, cautions })
    }

    /// Where lines past the diagonal are caught when nothing else is said.
    pub(super) fn opposite_mm(&self, enclosure: &Enclosure) -> f64 {
        let front_mm = self.train().front_opening().map(|o| o.diameter_mm / 2.0);
        let wall_mm = enclosure.tube_diameter_mm.map(|d| d / 2.0);
        let baffle_mm = enclosure.baffle.map(|b| b.axis_to_baffle_mm);
        baffle_mm.or(wall_mm).or(front_mm).unwrap_or_else(|| self.clear_radius_mm())
    }
}

fn check_place(name: &str, place_mm: f64, scene: &Scene) -> Result<()> {
    if place_mm.abs() < scene.axis_to_focus_mm {
        return Ok(());
    }
    Err(Error::input(name, place_mm, "nearer to the focuser's axis than the tube's axis is", "micrometres?"))
}

fn point(eye: &Eye<'_>, focal_ratio: f64, opposite_mm: f64) -> SightPoint {
    let angles = sight_rows::angles(eye);
    let past = |ending: Ending, _: f64| !matches!(ending, Ending::Diagonal | Ending::Holder);
    let t = eye.scene.axis_to_focus_mm + opposite_mm;
    let nowhere = |_: f64| f64::NAN;
    let extreme =
        |value: &dyn Fn(f64, f64) -> f64| sight_rows::greatest(eye, &past, &Goal { value, best_v: &nowhere });
    let z = eye.z_mm();
    SightPoint {
        along_mm: eye.along_mm,
        across_mm: eye.across_mm,
        view_sr: angles.view,
        diagonal_sr: angles.diagonal,
        holder_sr: angles.holder,
        baffle_sr: angles.baffle,
        front_ring_sr: angles.front_ring,
        wall_sr: angles.wall,
        open_above_sr: angles.open_above,
        open_below_sr: angles.open_below,
        open_projected_sr: angles.open_projected,
        against_image: angles.open_projected * 4.0 * focal_ratio * focal_ratio / PI,
        patch_low_mm: extreme(&|_, w| -(z + w * t)).map(|low| -low),
        patch_high_mm: extreme(&|_, w| z + w * t),
        patch_half_width_mm: extreme(&|v, _| (eye.across_mm + v * t).abs()),
        error_estimate_sr: angles.error_estimate + 1e-15 * angles.view,
    }
}

/// Everything in the way of lines of sight.
pub(super) fn scene(prepared: &Prepared, enclosure: &Enclosure) -> Result<Scene> {
    enclosure.check()?;
    let train = prepared.train();
    let (Some(fold), Some(plane), Some(_)) = (prepared.fold(), train.focal_plane(), train.diagonal()) else {
        return Err(Error::input(
            "diagonal",
            "nothing",
            "a train with a diagonal and a focal plane",
            "without a diagonal the image looks at the mirror",
        ));
    };
    let rounds = rounds(train, plane.axis_to_focus_mm);
    if rounds.is_empty() {
        return Err(Error::input(
            "drawtube",
            "nothing",
            "a drawtube, a focuser board or a filter ring through which the focal plane looks",
            "",
        ));
    }
    if let Some(lower_mm) = enclosure.lower_edge_mm
        && lower_mm >= fold.height_mm
    {
        return Err(Error::input(
            "enclosure.lower_edge_mm",
            lower_mm,
            format!("below the focuser's height ({:.1} mm)", fold.height_mm),
            "counted from the focuser instead of from the vertex?",
        ));
    }
    let plate = |height_mm, diameter_mm: f64| Plate { height_mm, radius_mm: diameter_mm / 2.0 };
    let tube = enclosure.tube_diameter_mm.zip(enclosure.upper_edge_mm).map(|(diameter_mm, upper_mm)| Tube {
        radius_mm: diameter_mm / 2.0,
        upper_mm,
        lower_mm: enclosure.lower_edge_mm,
    });
    Ok(Scene {
        axis_to_focus_mm: plane.axis_to_focus_mm,
        height_mm: fold.height_mm,
        rounds,
        window: window(train),
        flat: flat(&fold),
        holder: train.holder().map(|h| plate(h.above_vertex_mm.unwrap_or(fold.height_mm), h.diameter_mm)),
        sheet: enclosure.baffle.map(|b| Sheet {
            axis_to_sheet_mm: b.axis_to_baffle_mm,
            half_width_mm: b.width_mm / 2.0,
            from_height_mm: fold.height_mm - b.below_axis_mm,
            to_height_mm: fold.height_mm + b.above_axis_mm,
        }),
        tube,
        front: train.front_opening().map(|o| plate(o.above_vertex_mm, o.diameter_mm)),
        ring_outer_mm: enclosure.ring_outer_mm.or(enclosure.tube_diameter_mm).map(|d| d / 2.0),
    })
}

/// Round openings on the way from the focal plane to the tube.
fn rounds(train: &Train, axis_to_focus_mm: f64) -> Vec<Round> {
    let mut rounds = Vec::new();
    let mut add =
        |distance_mm, diameter_mm: f64| rounds.push(Round { distance_mm, radius_mm: diameter_mm / 2.0 });
    if let Some(tube) = train.drawtube() {
        add(tube.outer_end_to_focus_mm, tube.bore_mm);
        add(tube.outer_end_to_focus_mm + tube.length_mm, tube.bore_mm);
    }
    if let Some(board) = train.focuser_board() {
        add(axis_to_focus_mm - board.axis_to_board_mm, board.hole_mm);
    }
    if let Some(ring) = train.filter_ring() {
        add(ring.before_focus_mm, ring.diameter_mm);
    }
    // What lies at the focal plane or behind it hides nothing of the view.
    rounds.retain(|r| r.distance_mm > 0.0);
    rounds
}

fn window(train: &Train) -> Option<Window> {
    let mask = train.sensor_mask().filter(|m| m.before_focus_mm > 0.0)?;
    Some(Window {
        distance_mm: mask.before_focus_mm,
        half_along_mm: mask.along_mm / 2.0,
        half_across_mm: mask.across_mm / 2.0,
        turn_rad: mask.rotation_deg.to_radians(),
    })
}

/// The glass of the flat: with its bevel, its thickness, and moved where it is misplaced.
fn flat(fold: &Fold) -> Body {
    let [x, _, z] = fold.back_mm();
    Body { centre_mm: fold.face().centre_mm, radius_mm: fold.glass_mm / 2.0, sweep_mm: [x, z] }
}

/// What is odd about an enclosure around this train, for a field of this radius.
pub(super) fn cautions(prepared: &Prepared, enclosure: &Enclosure, field_radius_mm: f64) -> Vec<String> {
    let focal_mm = prepared.focal_length_mm();
    let beam_mm =
        |height_mm: f64| prepared.open_radius_mm() + height_mm.max(0.0) * field_radius_mm / focal_mm;
    let mut cautions = Vec::new();
    if let (Some(baffle), Some(fold)) = (enclosure.baffle, prepared.fold()) {
        let top_mm = fold.height_mm + baffle.above_axis_mm;
        // Half a width to either side of y = 0 the light's circle is narrower.
        let needed_mm = beam_mm(top_mm);
        if baffle.axis_to_baffle_mm < needed_mm {
            cautions.push(format!(
                "the baffle stands {:.1} mm inside the light that falls on the mirror",
                needed_mm - baffle.axis_to_baffle_mm
            ));
        }
        if let Some(diameter_mm) = enclosure.tube_diameter_mm
            && baffle.axis_to_baffle_mm > diameter_mm / 2.0
        {
            cautions.push("the baffle stands outside the tube and closes only what leaves it".to_owned());
        }
    }
    if let (Some(diameter_mm), Some(upper_mm)) = (enclosure.tube_diameter_mm, enclosure.upper_edge_mm) {
        let needed_mm = 2.0 * beam_mm(upper_mm);
        if diameter_mm < needed_mm {
            cautions.push(format!(
                "the tube is {:.1} mm narrower than the light that falls on the mirror at its upper edge",
                needed_mm - diameter_mm
            ));
        }
    }
    if let Some(outer_mm) = enclosure.ring_outer_mm {
        match prepared.train().front_opening() {
            Some(opening) if outer_mm <= opening.diameter_mm => {
                cautions.push("the ring around the front opening has no width".to_owned());
            }
            None => cautions.push("a ring's outer diameter without a front opening says nothing".to_owned()),
            Some(_) => {}
        }
    }
    cautions
}
