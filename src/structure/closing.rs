//! What closes all lines of sight: the smallest baffle opposite the focuser, the lowest edge in front.

use serde::{Deserialize, Serialize};

use super::enclosure::{Enclosure, OppositeBaffle};
use super::sight_lines::{cautions, scene};
use super::sight_row::{Ending, Eye, Scene};
use super::sight_rows::{self, Goal};
use crate::error::{Error, Result};
use crate::numeric::pool;
use crate::trace::Prepared;

/// By so much more is a closing part made than the outermost line asks for, mm.
const MARGIN_MM: f64 = 1e-3;
/// The outermost line is followed over the field down to steps of this length, mm.
const LAST_STEP_MM: f64 = 1e-6;
const MOST_TRIES: usize = 600;

/// The part of the focal plane that is looked at or exposed.
///
/// Units: mm, degrees from `along` toward `across`.
///
/// ```
/// use catoptric::SightField;
/// assert!(SightField::Circle { radius_mm: 20.0 }.check().is_ok());
/// assert!(SightField::Circle { radius_mm: f64::NAN }.check().is_err());
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum SightField {
    /// Within a field stop of this radius.
    Circle {
        /// Radius, mm.
        radius_mm: f64,
    },
    /// A sensor about the focuser's axis.
    Rectangle {
        /// Length of the side along, mm.
        along_mm: f64,
        /// Length of the side across, mm.
        across_mm: f64,
        /// Turn from `along` toward `across`, degrees.
        rotation_deg: f64,
    },
}

impl SightField {
    /// Refuses a field that cannot be.
    ///
    /// ```
    /// use catoptric::SightField;
    /// let turned = SightField::Rectangle { along_mm: 13.3, across_mm: 17.6, rotation_deg: 900.0 };
    /// assert!(turned.check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let length = |name: &str, value: f64| {
            if (0.0..=1e6).contains(&value) {
                return Ok(());
            }
            Err(Error::input(name, value, "a length of 0 or more", "a sign, or other units?"))
        };
        match *self {
            Self::Circle { radius_mm } => length("field_radius_mm", radius_mm),
            Self::Rectangle { along_mm, across_mm, rotation_deg } => {
                length("sensor_along_mm", along_mm)?;
                length("sensor_across_mm", across_mm)?;
                if rotation_deg.abs() <= 360.0 {
                    return Ok(());
                }
                Err(Error::input(
                    "sensor_rotation_deg",
                    rotation_deg,
                    "from -360 to 360 degrees",
                    "arcminutes, or radians?",
                ))
            }
        }
    }

    /// The distance of its furthest point from the focuser's axis, mm.
    pub fn reach_mm(&self) -> f64 {
        match *self {
            Self::Circle { radius_mm } => radius_mm,
            Self::Rectangle { along_mm, across_mm, .. } => 0.5 * along_mm.hypot(across_mm),
        }
    }

    /// The nearest place within the field.
    fn within(&self, [along, across]: [f64; 2]) -> [f64; 2] {
        match *self {
            Self::Circle { radius_mm } => {
                let length = along.hypot(across);
                if length <= radius_mm {
                    return [along, across];
                }
                [along * (radius_mm / length), across * (radius_mm / length)]
            }
            Self::Rectangle { along_mm, across_mm, rotation_deg } => {
                let (sin, cos) = rotation_deg.to_radians().sin_cos();
                let [half_p, half_q] = [along_mm / 2.0, across_mm / 2.0];
                let p = (along * cos + across * sin).clamp(-half_p, half_p);
                let q = (across * cos - along * sin).clamp(-half_q, half_q);
                [p * cos - q * sin, p * sin + q * cos]
            }
        }
    }

    /// Places all over the field and around its edge.
    fn places(&self) -> Vec<[f64; 2]> {
        let mut places = vec![[0.0, 0.0]];
        match *self {
            Self::Circle { radius_mm } => {
                for (share, count) in [(0.3, 8_u32), (0.6, 12), (0.85, 16), (1.0, 32)] {
                    places.extend((0..count).map(|k| {
                        let angle = std::f64::consts::TAU * f64::from(k) / f64::from(count);
                        [share * radius_mm * angle.cos(), share * radius_mm * angle.sin()]
                    }));
                }
            }
            Self::Rectangle { along_mm, across_mm, rotation_deg } => {
                let (sin, cos) = rotation_deg.to_radians().sin_cos();
                for i in -4..=4 {
                    for j in -4..=4 {
                        let (p, q) = (f64::from(i) * along_mm / 8.0, f64::from(j) * across_mm / 8.0);
                        places.push([p * cos - q * sin, p * sin + q * cos]);
                    }
                }
            }
        }
        places
    }
}

/// The smallest baffle opposite the focuser that closes all lines of sight of a field.
///
/// Units: mm.
///
/// ```
/// use catoptric::{Diagonal, Drawtube, Enclosure, FocalLengthMm, FocalPlane, Prepared, Primary, SightField, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(70.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .drawtube(Drawtube::new(47.0, 50.0, 18.0))
///     .build()?;
/// let telescope = Prepared::new(&train);
/// let found = telescope.closing_baffle(&Enclosure::open(), SightField::Circle { radius_mm: 10.0 }, 200.0)?;
/// let sheet = found.baffle.expect("a truss needs one");
/// let closed = telescope.sight_lines(&Enclosure::open().baffle(sheet), &[10.0], &[0.0])?;
/// assert_eq!(closed.points[0].open_sr(), 0.0);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ClosingBaffle {
    /// The baffle; none where nothing is open.
    pub baffle: Option<OppositeBaffle>,
    /// The field that it serves.
    pub field: SightField,
    /// What is odd: a baffle in the light that falls on the mirror.
    pub cautions: Vec<String>,
}

impl ClosingBaffle {
    /// The finding in a sentence or two.
    pub fn words(&self) -> String {
        let Some(baffle) = &self.baffle else {
            return "Nothing is open: no baffle is needed.".to_owned();
        };
        let (below, above) = (baffle.below_axis_mm, baffle.above_axis_mm);
        // A sheet may lie on one side of the axis alone: its nearer edge then has a negative reach.
        let reach = match (below < 0.0, above < 0.0) {
            (false, false) => format!("from {below:.1} mm below to {above:.1} mm above"),
            (false, true) => format!("from {below:.1} mm to {:.1} mm below", -above),
            (true, _) => format!("from {:.1} mm to {above:.1} mm above", -below),
        };
        let mut words = vec![format!(
            "A sheet {:.1} mm wide, {:.1} mm from the tube's axis, {reach} the focuser's axis closes every line of \
             sight of a field that reaches {:.1} mm from its centre.",
            baffle.width_mm,
            baffle.axis_to_baffle_mm,
            self.field.reach_mm()
        )];
        for caution in &self.cautions {
            words.push(format!("But {caution}."));
        }
        words.join(" ")
    }
}

/// What in front of the telescope closes all lines of sight of a field.
///
/// Units: mm; heights count from the primary's vertex.
///
/// ```
/// use catoptric::{Diagonal, Drawtube, Enclosure, FocalLengthMm, FocalPlane, Prepared, Primary, SightField, Train};
/// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
///     .diagonal(Diagonal::new(70.0))
///     .focal_plane(FocalPlane::new(235.0))
///     .drawtube(Drawtube::new(47.0, 50.0, 18.0))
///     .build()?;
/// let telescope = Prepared::new(&train);
/// let short = Enclosure::tube(380.0, 1400.0);
/// let found = telescope.closing_front(&short, SightField::Circle { radius_mm: 10.0 })?;
/// let upper_mm = found.upper_edge_mm.expect("the tube is too short");
/// assert!(upper_mm > 1400.0 && (found.extension_mm - (upper_mm - 1400.0)).abs() < 1e-9);
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ClosingFront {
    /// The field that is served.
    pub field: SightField,
    /// Inner diameter of the tube or shroud, mm.
    pub tube_diameter_mm: f64,
    /// Height to which it must reach, mm; none where no line rises past the diagonal to it at all.
    pub upper_edge_mm: Option<f64>,
    /// The same counted from the focuser's axis, mm.
    pub above_focuser_mm: Option<f64>,
    /// How much longer than now it must be, mm; 0 where it is long enough.
    pub extension_mm: f64,
    /// Height down to which it must reach, mm; none where it is closed down to the mirror, or no line sinks to it.
    pub lower_edge_mm: Option<f64>,
    /// Height of the ring below, mm: the front opening's, else the tube's upper edge.
    pub ring_height_mm: f64,
    /// Diameter of the largest opening of a ring there, out to the tube, that closes all rising lines as the tube
    /// stands, mm; none where nothing rises into the open, or where the ring's height lies above the tube's edge.
    pub opening_mm: Option<f64>,
    /// What the light of the whole field needs there, mm.
    pub light_needs_mm: f64,
    /// What is odd: an opening that stops the mirror's own light.
    pub cautions: Vec<String>,
}

impl ClosingFront {
    /// The finding in a few sentences.
    pub fn words(&self) -> String {
        let mut words = vec![match (self.upper_edge_mm, self.above_focuser_mm) {
            (Some(upper), Some(above)) => format!(
                "A tube of {:.0} mm that reaches {above:.1} mm above the focuser's axis ({upper:.1} mm above the \
                 vertex) closes every rising line of sight; {}.",
                self.tube_diameter_mm,
                if self.extension_mm < 0.05 {
                    "it is long enough".to_owned()
                } else {
                    format!("it has to grow by {:.1} mm", self.extension_mm)
                }
            ),
            _ => "No line of sight rises to the tube's wall.".to_owned(),
        }];
        if let Some(lower) = self.lower_edge_mm {
            words.push(format!("Below, it has to reach down to {lower:.1} mm above the vertex."));
        }
        if let Some(opening) = self.opening_mm {
            words.push(format!(
                "As the tube stands, a ring with an opening of {opening:.1} mm at {:.0} mm closes them as well; the \
                 light needs {:.1} mm there.",
                self.ring_height_mm, self.light_needs_mm
            ));
        }
        for caution in &self.cautions {
            words.push(format!("But {caution}."));
        }
        words.join(" ")
    }
}

impl Prepared {
    /// The smallest upright baffle at a distance from the tube's axis, opposite the focuser, that leaves no line of
    /// sight from the field into the open. A baffle that the enclosure has is left out of account.
    ///
    /// Units: mm.
    /// Errors: [`Error::Input`] as [`Prepared::sight_lines`], for a field that cannot be, and for a distance that is
    /// not above 0.
    /// Source: the outermost open lines, sought over the field; each side is made 0.001 mm larger than they ask for.
    /// Leaves out: as `sight_lines`.
    ///
    /// ```
    /// use catoptric::{Diagonal, Drawtube, Enclosure, FocalLengthMm, FocalPlane, Prepared, Primary, SightField, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
    ///     .diagonal(Diagonal::new(70.0))
    ///     .focal_plane(FocalPlane::new(235.0))
    ///     .drawtube(Drawtube::new(47.0, 50.0, 18.0))
    ///     .build()?;
    /// let telescope = Prepared::new(&train);
    /// let of = |radius_mm| telescope.closing_baffle(&Enclosure::open(), SightField::Circle { radius_mm }, 200.0);
    /// let (narrow, wide) = (of(5.0)?.baffle.unwrap(), of(15.0)?.baffle.unwrap());
    /// assert!(wide.width_mm > narrow.width_mm && wide.above_axis_mm > narrow.above_axis_mm);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn closing_baffle(
        &self,
        enclosure: &Enclosure,
        field: SightField,
        axis_to_baffle_mm: f64,
    ) -> Result<ClosingBaffle> {
        let around = Enclosure { baffle: None, ..*enclosure };
        let scene = self.checked_scene(&around, &field)?;
        if !(axis_to_baffle_mm > 0.0 && axis_to_baffle_mm <= 1e6) {
            return Err(Error::input(
                "axis_to_baffle_mm",
                axis_to_baffle_mm,
                "a length above 0",
                "counted from the tube's axis, away from the focuser",
            ));
        }
        let t = scene.axis_to_focus_mm + axis_to_baffle_mm;
        let ends = |_: f64| f64::NAN;
        let open = |ending: Ending, _: f64| ending == Ending::Open;
        let far = |toward: f64, up: bool| {
            outermost(&scene, &field, |eye| {
                let place =
                    |v: f64, w: f64| toward * if up { eye.along_mm + w * t } else { eye.across_mm + v * t };
                sight_rows::greatest(eye, &open, &Goal { value: &place, best_v: &ends })
            })
        };
        let reaches = far(1.0, true)?.zip(far(-1.0, true)?).zip(far(1.0, false)?.zip(far(-1.0, false)?));
        let baffle = reaches.map(|((above, below), (right, left))| {
            OppositeBaffle::new(
                2.0 * (right.max(left) + MARGIN_MM),
                above + MARGIN_MM,
                below + MARGIN_MM,
                axis_to_baffle_mm,
            )
        });
        let cautions = baffle.map_or_else(Vec::new, |b| cautions(self, &around.baffle(b), field.reach_mm()));
        Ok(ClosingBaffle { baffle, field, cautions })
    }

    /// How far a tube or shroud must reach, and how narrow a ring in front may be, so that no line of sight from the
    /// field gets into the open. The enclosure says the tube's diameter; what else stands in it counts.
    ///
    /// Units: mm.
    /// Errors: [`Error::Input`] as [`Prepared::sight_lines`], for a field that cannot be, and for an enclosure without
    /// tube.
    /// Source: the outermost lines past diagonal, holder, baffle and ring, sought over the field, each followed to the
    /// wall opposite; edges are moved 0.001 mm further than they ask for.
    /// Leaves out: as `sight_lines`.
    ///
    /// ```
    /// use catoptric::{Diagonal, Drawtube, Enclosure, FocalLengthMm, FocalPlane, Prepared, Primary, SightField, Train};
    /// let train = Train::builder(Primary::new(318.0, FocalLengthMm(1558.0)))
    ///     .diagonal(Diagonal::new(70.0))
    ///     .focal_plane(FocalPlane::new(235.0))
    ///     .drawtube(Drawtube::new(47.0, 50.0, 18.0))
    ///     .build()?;
    /// let field = SightField::Circle { radius_mm: 10.0 };
    /// let found = Prepared::new(&train).closing_front(&Enclosure::tube(380.0, 1350.0), field)?;
    /// // The line from the field's lower edge by the bore's upper edge, to the wall opposite.
    /// let by_hand = 1558.0 - 235.0 - 10.0 + (23.5 + 10.0) / 68.0 * (235.0 + 190.0);
    /// assert!((found.upper_edge_mm.unwrap() - by_hand).abs() < 2e-3);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn closing_front(&self, enclosure: &Enclosure, field: SightField) -> Result<ClosingFront> {
        let scene = self.checked_scene(enclosure, &field)?;
        let Some(tube) = scene.tube else {
            return Err(Error::input(
                "enclosure.tube_diameter_mm",
                "nothing",
                "the inner diameter of the tube or shroud that is to close the front",
                "",
            ));
        };
        // As if nothing of the wall stood: every line that meets nothing else goes on to where the wall would be.
        let unwalled = Scene { tube: None, ..scene.clone() };
        let at_wall = |rising: bool| {
            outermost(&unwalled, &field, |eye| {
                let height = |v: f64, w: f64| {
                    let z = eye.z_mm() + w * far_wall_mm(eye, v, tube.radius_mm);
                    if rising { z } else { -z }
                };
                let middle = |_: f64| -eye.across_mm / (eye.scene.axis_to_focus_mm + tube.radius_mm);
                let counts = |ending: Ending, w: f64| ending == Ending::Open && (w > 0.0) == rising;
                sight_rows::greatest(eye, &counts, &Goal { value: &height, best_v: &middle })
            })
        };
        let upper_edge_mm = at_wall(true)?.map(|z| z + MARGIN_MM);
        let lower_edge_mm = match tube.lower_mm {
            Some(_) => at_wall(false)?.map(|z| -z - MARGIN_MM),
            None => None,
        };
        let ring_height_mm = scene.front.map_or(tube.upper_mm, |f| f.height_mm);
        let unringed = Scene { front: None, ..scene.clone() };
        let narrowest_mm = if ring_height_mm > tube.upper_mm {
            None
        } else {
            outermost(&unringed, &field, |eye| {
                let distance = |w: f64| (ring_height_mm - eye.z_mm()) / w;
                let radius = |v: f64, w: f64| {
                    let t = distance(w);
                    -(eye.scene.axis_to_focus_mm - t).hypot(eye.across_mm + v * t)
                };
                let middle = |w: f64| -eye.across_mm / distance(w);
                let counts = |ending: Ending, w: f64| ending == Ending::Open && w > 0.0;
                sight_rows::greatest(eye, &counts, &Goal { value: &radius, best_v: &middle })
            })?
            .map(|radius| 2.0 * (-radius - MARGIN_MM))
        };
        let opening_mm = narrowest_mm.filter(|d| *d > 0.0);
        let light_needs_mm = 2.0
            * (self.open_radius_mm() + ring_height_mm.max(0.0) * field.reach_mm() / self.focal_length_mm());
        let mut cautions = cautions(self, enclosure, field.reach_mm());
        if opening_mm.is_some_and(|d| d < light_needs_mm) {
            cautions.push("an opening so narrow stops light that the mirror and the field need".to_owned());
        } else if narrowest_mm.is_some() && opening_mm.is_none() {
            cautions
                .push("open lines pass the tube's axis at the ring's height: no ring closes them".to_owned());
        }
        Ok(ClosingFront {
            field,
            tube_diameter_mm: 2.0 * tube.radius_mm,
            upper_edge_mm,
            above_focuser_mm: upper_edge_mm.map(|z| z - scene.height_mm),
            extension_mm: upper_edge_mm.map_or(0.0, |z| (z - tube.upper_mm).max(0.0)),
            lower_edge_mm,
            ring_height_mm,
            opening_mm,
            light_needs_mm,
            cautions,
        })
    }

    fn checked_scene(&self, enclosure: &Enclosure, field: &SightField) -> Result<Scene> {
        field.check()?;
        let scene = scene(self, enclosure)?;
        if field.reach_mm() >= scene.axis_to_focus_mm {
            return Err(Error::input(
                "field_radius_mm",
                field.reach_mm(),
                "a field that reaches less far from the focuser's axis than the tube's axis lies",
                "micrometres?",
            ));
        }
        Ok(scene)
    }
}

/// Distance at which a line leaves a tube opposite, mm; not a number where it misses the tube.
fn far_wall_mm(eye: &Eye<'_>, v: f64, radius_mm: f64) -> f64 {
    let (to_axis, y) = (eye.scene.axis_to_focus_mm, eye.across_mm);
    let (a, b) = (1.0 + v * v, to_axis - y * v);
    (b + (b * b - a * (to_axis * to_axis + y * y - radius_mm * radius_mm)).sqrt()) / a
}

/// The greatest of a quantity over the points of a field; none where no point has it.
fn outermost(
    scene: &Scene,
    field: &SightField,
    of_eye: impl Fn(&Eye<'_>) -> Option<f64> + Sync,
) -> Result<Option<f64>> {
    let value =
        |[along_mm, across_mm]: [f64; 2]| of_eye(&Eye { scene, along_mm, across_mm }).filter(|v| !v.is_nan());
    let places = field.places();
    let found = pool::map_ordered(places.len(), true, |k| value(places[k]));
    let mut best: Option<([f64; 2], f64)> = None;
    for (place, value) in places.into_iter().zip(found) {
        if let Some(value) = value
            && best.is_none_or(|(_, b)| value > b)
        {
            best = Some((place, value));
        }
    }
    let Some((mut place, mut most)) = best else { return Ok(None) };
    let mut step = field.reach_mm() / 6.0;
    let mut tries = 0;
    while step > LAST_STEP_MM {
        let mut moved = false;
        for turn in 0..8_u32 {
            let angle = std::f64::consts::FRAC_PI_4 * f64::from(turn);
            let next = field.within([place[0] + step * angle.cos(), place[1] + step * angle.sin()]);
            tries += 1;
            if let Some(found) = value(next)
                && found > most
            {
                (place, most, moved) = (next, found, true);
                break;
            }
        }
        if tries > MOST_TRIES {
            return Err(Error::NotConverged {
                what: "the outermost line of sight",
                reached: step,
                wanted: LAST_STEP_MM,
            });
        }
        if !moved {
            step /= 4.0;
        }
    }
    Ok(Some(most))
}
