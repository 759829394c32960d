//! What has to move so that everything comes to focus, and what that means for the diagonal.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::ladder::FocusLadder;
use super::poles::Poles;
use crate::error::{Findings, Result};
use crate::model::Train;
use crate::trace::{DiagonalFit, Prepared, smallest_diagonal};
use crate::view::EdgeLight;

/// What moves.
///
/// ```
/// assert_eq!(catoptric::Mover::Poles.key(), "poles");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Mover {
    /// The primary, along its axis.
    Primary,
    /// The upper end with focuser, diagonal and front opening, on shorter or longer poles.
    Poles,
    /// The focuser: a spacer under it, or one of lower profile.
    Focuser,
    /// The primary and the focuser as far as they may, the poles for the rest.
    Combination,
}

impl Mover {
    /// The mover's name as files and tables write it.
    ///
    /// ```
    /// assert_eq!(catoptric::Mover::Primary.key(), "primary");
    /// ```
    pub fn key(self) -> &'static str {
        match self {
            Self::Primary => "primary",
            Self::Poles => "poles",
            Self::Focuser => "focuser",
            Self::Combination => "combination",
        }
    }
}

impl fmt::Display for Mover {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.key())
    }
}

/// What may move, and which light is wanted.
///
/// Units: mm.
///
/// ```
/// assert_eq!(catoptric::MoveOptions::default().fully_lit_diameter_mm, 0.0);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MoveOptions {
    /// The poles; without them their length is not told, and they do not move.
    pub poles: Option<Poles>,
    /// Diameter of the fully lit circle that is wanted; 0 asks for the axis alone.
    pub fully_lit_diameter_mm: f64,
    /// Radius in the focal plane at which light is compared; not given: the edge of the widest field on the ladder.
    pub edge_radius_mm: Option<f64>,
    /// How far the primary may move either way; not given: as far as it takes.
    pub primary_limit_mm: Option<f64>,
    /// How far the focuser's shoulder may be raised or lowered; not given: as far as it takes.
    pub focuser_limit_mm: Option<f64>,
    /// Whether tubes between shoulder and thing may bring within the travel what lies too far out: then it is enough
    /// that the lowest shoulder is reached, and everything comes to focus.
    #[serde(default)]
    pub extension_tubes: bool,
}

impl MoveOptions {
    fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        if let Some(poles) = &self.poles {
            findings.within("poles", |f| poles.note_problems(f));
        }
        let lengths = [
            ("fully_lit_diameter_mm", Some(self.fully_lit_diameter_mm)),
            ("edge_radius_mm", self.edge_radius_mm),
            ("primary_limit_mm", self.primary_limit_mm),
            ("focuser_limit_mm", self.focuser_limit_mm),
        ];
        for (name, value) in lengths {
            if let Some(value) = value {
                findings.number(name, value, |v| v >= 0.0, "a length of 0 or more", "a sign?");
            }
        }
        findings.refuse()
    }
}

/// One way to bring things to focus, and what follows from it.
///
/// Units: mm. Signs: the primary toward the sky, the upper end away from the primary, the focuser's shoulder and the
/// image away from the tube's axis are positive; poles longer are positive.
///
/// ```
/// use catoptric::{Camera, Diagonal, FocalLengthMm, FocalPlane, FocusItem, FocusLadder, Focuser, MoveOptions, Primary,
///     Train};
/// let train = Train::builder(Primary::new(406.0, FocalLengthMm(2030.0)))
///     .diagonal(Diagonal::new(79.4))
///     .focal_plane(FocalPlane::new(303.0))
///     .build()?;
/// let camera = FocusItem::new("camera", Camera::new(55.0)); // 22 mm further in than racked in
/// let ladder = FocusLadder::new(&train, Focuser::new(270.0, 310.0), vec![camera])?;
/// let moves = ladder.moves(MoveOptions::default())?.moves;
/// assert_eq!((moves[0].primary_mm, moves[0].axis_to_focus_mm), (22.0, 325.0));
/// assert_eq!((moves[1].focuser_mm, moves[1].axis_to_focus_mm), (-22.0, 303.0));
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FocusMove {
    /// What moves.
    pub mover: Mover,
    /// The primary, toward the sky.
    pub primary_mm: f64,
    /// The upper end, away from the primary.
    pub upper_end_mm: f64,
    /// What the poles' length changes by, exactly; 0 without poles.
    pub pole_change_mm: f64,
    /// The same to first order: the upper end's move times the cosine of the slant.
    pub pole_change_first_order_mm: f64,
    /// The focuser's shoulder, away from the axis: a spacer, or (negative) a lower profile.
    pub focuser_mm: f64,
    /// The focal plane, away from the axis.
    pub image_shift_mm: f64,
    /// Names of the things that still miss their focus.
    pub out_of_reach: Vec<String>,
    /// For each thing of the ladder the length of the shortest tube between shoulder and thing that brings it within
    /// the travel; 0 where it needs none, or where none helps.
    pub extensions_mm: Vec<f64>,
    /// Whether primary and focuser stay within their stated limits.
    pub within_limits: bool,
    /// From the tube's axis to the focal plane afterwards.
    pub axis_to_focus_mm: f64,
    /// The smallest diagonal for the wanted lit circle afterwards.
    pub smallest: DiagonalFit,
    /// Light at the edge afterwards, with the diagonal that is there; none where the middle is dark.
    pub edge_light: Option<EdgeLight>,
    /// How far the focuser's tube reaches into the light on its way down, for the thing that racks furthest in within
    /// the travel; 0 where it does not.
    pub tube_in_light_mm: f64,
    /// The train afterwards, with the drawtube where it stands for the widest field.
    pub train: Train,
}

/// What has to move so that everything comes to focus: each mover alone, and all together.
///
/// A primary that moves m toward the sky takes the image m along with it, and the folded light passes the axis m nearer
/// to the mirror's own focus: in the tube's frame the focal plane moves out by m, and the flat and everything on the
/// upper end stand m lower above the vertex. An upper end that comes down by m does exactly the same. A moved focuser
/// leaves the train as it is.
///
/// Units: mm.
/// Errors: those of [`FocusLadder::moves`].
/// Leaves out: that the diagonal's own offset, unless stated, is taken to be set anew for each train (hundredths of a
/// millimetre); the balance of the tube.
///
/// ```
/// use catoptric::{Camera, Diagonal, FocalLengthMm, FocalPlane, FocusItem, FocusLadder, Focuser, MoveOptions, Poles,
///     Primary, Train};
/// let train = Train::builder(Primary::new(406.0, FocalLengthMm(2030.0)))
///     .diagonal(Diagonal::new(79.4))
///     .focal_plane(FocalPlane::new(303.0))
///     .build()?;
/// let camera = FocusItem::new("camera", Camera::new(55.0));
/// let ladder = FocusLadder::new(&train, Focuser::new(270.0, 310.0), vec![camera])?;
/// let options = MoveOptions { poles: Some(Poles::new(1500.0, 0.0)), ..MoveOptions::default() };
/// let moves = ladder.moves(options)?;
/// assert_eq!((moves.needed_mm, moves.moves[1].pole_change_mm), (22.0, -22.0));
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FocusMoves {
    /// The outward shift of the image that serves most things; negative: inward.
    pub needed_mm: f64,
    /// Names of all things, as on the ladder.
    pub names: Vec<String>,
    /// Names of the things that this shift does not serve together with the others.
    pub out_of_reach: Vec<String>,
    /// What was asked.
    pub options: MoveOptions,
    /// Radius in the focal plane at which light is compared.
    pub edge_radius_mm: f64,
    /// From the tube's axis to the focal plane before.
    pub axis_to_focus_mm: f64,
    /// The smallest diagonal for the wanted lit circle before.
    pub smallest: DiagonalFit,
    /// Light at the edge before; none where the middle is dark.
    pub edge_light: Option<EdgeLight>,
    /// The ways, those that can be.
    pub moves: Vec<FocusMove>,
    /// The ways that cannot be, and why.
    pub impossible: Vec<(Mover, String)>,
}

/// How far each of the movers goes.
#[derive(Clone, Copy)]
struct Amounts {
    mover: Mover,
    primary_mm: f64,
    upper_end_mm: f64,
    focuser_mm: f64,
}

impl Amounts {
    /// Outward shift of the image in the tube's frame: the sign of each is derived in [`FocusMoves`].
    fn image_shift_mm(&self) -> f64 {
        self.primary_mm - self.upper_end_mm
    }
}

impl FocusLadder {
    /// What has to move so that everything on the ladder comes to focus, and what it means for the diagonal.
    ///
    /// Each mover alone goes as far as [`FocusLadder::least_shift_mm`] asks (with extension tubes
    /// [`FocusLadder::shift_with_tubes_mm`]), whatever its limit, and the row says whether that lies within it. Where a
    /// limit is given, a last row moves the primary and then the focuser up to their limits, and the upper end (if
    /// poles are given) for the rest.
    ///
    /// Units: mm.
    /// Errors: [`crate::Error::Input`] for poles, circles, radii and limits that cannot be. A move that no train can
    /// make (a focal plane within the light, an upper end below the mirror) is listed as impossible.
    /// Leaves out: what [`FocusMoves`] leaves out.
    ///
    /// ```
    /// use catoptric::{Camera, Diagonal, FocalLengthMm, FocalPlane, FocusItem, FocusLadder, Focuser, MoveOptions};
    /// use catoptric::{Mover, Primary, Train};
    /// let train = Train::builder(Primary::new(406.0, FocalLengthMm(2030.0)))
    ///     .diagonal(Diagonal::new(79.4))
    ///     .focal_plane(FocalPlane::new(303.0))
    ///     .build()?;
    /// let camera = FocusItem::new("camera", Camera::new(55.0));
    /// let ladder = FocusLadder::new(&train, Focuser::new(270.0, 310.0), vec![camera])?;
    /// let options = MoveOptions { primary_limit_mm: Some(10.0), ..MoveOptions::default() };
    /// let moves = ladder.moves(options)?.moves;
    /// let both = moves.iter().find(|m| m.mover == Mover::Combination).expect("a limit was given");
    /// assert_eq!((both.primary_mm, both.focuser_mm, both.out_of_reach.len()), (10.0, -12.0, 0));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn moves(&self, options: MoveOptions) -> Result<FocusMoves> {
        options.check()?;
        let needed_mm =
            if options.extension_tubes { self.shift_with_tubes_mm() } else { self.least_shift_mm() };
        let widest = self.widest_item();
        let before = widest.map_or_else(|| Ok(self.train.clone()), |(item, _)| self.train_for(item))?;
        let edge_radius_mm = options.edge_radius_mm.or(widest.map(|(_, radius)| radius)).unwrap_or(0.0);
        let (axis_to_focus_mm, smallest) = self.fit(&before, &options)?;
        let mut moves = Vec::new();
        let mut impossible = Vec::new();
        for amounts in amounts(needed_mm, &options) {
            match self.follow(&amounts, &before, edge_radius_mm, &options) {
                Ok(found) => moves.push(found),
                Err(reason) => impossible.push((amounts.mover, reason.to_string())),
            }
        }
        Ok(FocusMoves {
            needed_mm,
            names: self.items.iter().map(|item| item.name.clone()).collect(),
            out_of_reach: self.missed(needed_mm, &options),
            options,
            edge_radius_mm,
            axis_to_focus_mm,
            smallest,
            edge_light: EdgeLight::at_radius(&Prepared::new(&before), edge_radius_mm)?,
            moves,
            impossible,
        })
    }

    /// Names of the things that still miss their focus, with tubes or without.
    fn missed(&self, shift_mm: f64, options: &MoveOptions) -> Vec<String> {
        let missed = self.out_of_reach(shift_mm);
        if !options.extension_tubes {
            return missed;
        }
        let tubes = self.extensions_mm(shift_mm);
        let helped = |name: &String| {
            self.items.iter().zip(&tubes).any(|(item, tube)| item.name == *name && *tube > 0.0)
        };
        missed.into_iter().filter(|name| !helped(name)).collect()
    }

    /// The thing with the widest field, and that field's radius.
    fn widest_item(&self) -> Option<(usize, f64)> {
        let radii = self.items.iter().enumerate().filter_map(|(i, item)| Some((i, item.field_radius_mm()?)));
        // The first of equals.
        radii.reduce(|widest, next| if next.1 > widest.1 { next } else { widest })
    }

    /// Where the focal plane lies, and the smallest diagonal for the wanted circle.
    fn fit(&self, train: &Train, options: &MoveOptions) -> Result<(f64, DiagonalFit)> {
        let focal_mm = self.train.primary().focal_length_mm;
        let axis_to_focus_mm = train.focal_plane().map_or(focal_mm, |plane| plane.axis_to_focus_mm);
        let fit = smallest_diagonal(train.primary(), axis_to_focus_mm, options.fully_lit_diameter_mm)?;
        Ok((axis_to_focus_mm, fit))
    }

    fn follow(
        &self,
        amounts: &Amounts,
        before: &Train,
        edge_radius_mm: f64,
        options: &MoveOptions,
    ) -> Result<FocusMove> {
        let image_shift_mm = amounts.image_shift_mm();
        let train = shifted(before, image_shift_mm)?;
        let (axis_to_focus_mm, smallest) = self.fit(&train, options)?;
        let rise_mm = amounts.upper_end_mm;
        let (pole_change_mm, pole_change_first_order_mm) = match &options.poles {
            Some(poles) => (poles.change_mm(rise_mm)?, poles.per_mm() * rise_mm),
            None => (0.0, 0.0),
        };
        let half_mm = self.train.primary().clear_aperture_mm / 2.0;
        // A focuser raised by so much is reached as if the image had moved inward by it.
        let against_mm = image_shift_mm - amounts.focuser_mm;
        let reaches_mm = |shoulder_mm: f64| {
            let (low, high) = (self.focuser.racked_in_mm, self.focuser.racked_out_mm);
            let stands_mm = (shoulder_mm + against_mm).clamp(low, high) + amounts.focuser_mm;
            self.focuser.tube_length_mm.map_or(0.0, |length| (half_mm - (stands_mm - length)).max(0.0))
        };
        let within = |moved_mm: f64, limit_mm: Option<f64>| limit_mm.is_none_or(|l| moved_mm.abs() <= l);
        Ok(FocusMove {
            mover: amounts.mover,
            primary_mm: amounts.primary_mm,
            upper_end_mm: amounts.upper_end_mm,
            pole_change_mm,
            pole_change_first_order_mm,
            focuser_mm: amounts.focuser_mm,
            image_shift_mm,
            out_of_reach: self.missed(against_mm, options),
            extensions_mm: self.extensions_mm(against_mm),
            within_limits: within(amounts.primary_mm, options.primary_limit_mm)
                && within(amounts.focuser_mm, options.focuser_limit_mm),
            axis_to_focus_mm,
            smallest,
            edge_light: EdgeLight::at_radius(&Prepared::new(&train), edge_radius_mm)?,
            tube_in_light_mm: self.rungs.iter().map(|r| reaches_mm(r.shoulder_mm)).fold(0.0, f64::max),
            train,
        })
    }
}

/// The ways to shift the image outward against the focuser by so much.
fn amounts(needed_mm: f64, options: &MoveOptions) -> Vec<Amounts> {
    let alone = |mover| Amounts { mover, primary_mm: 0.0, upper_end_mm: 0.0, focuser_mm: 0.0 };
    // Adding 0 turns -0 into 0.
    let mut ways = vec![Amounts { primary_mm: needed_mm, ..alone(Mover::Primary) }];
    if options.poles.is_some() {
        ways.push(Amounts { upper_end_mm: 0.0 - needed_mm, ..alone(Mover::Poles) });
    }
    ways.push(Amounts { focuser_mm: 0.0 - needed_mm, ..alone(Mover::Focuser) });
    if options.primary_limit_mm.is_some() || options.focuser_limit_mm.is_some() {
        let up_to = |wanted: f64, limit: Option<f64>| limit.map_or(wanted, |l| wanted.clamp(-l, l));
        let primary_mm = up_to(needed_mm, options.primary_limit_mm);
        let lowered_mm = up_to(needed_mm - primary_mm, options.focuser_limit_mm);
        let rest_mm = if options.poles.is_some() { needed_mm - primary_mm - lowered_mm } else { 0.0 };
        ways.push(Amounts {
            mover: Mover::Combination,
            primary_mm,
            upper_end_mm: 0.0 - rest_mm,
            focuser_mm: 0.0 - lowered_mm,
        });
    }
    ways
}

/// The train whose focal plane lies further out by so much, primary and upper end that much nearer to each other: what
/// stands on the upper end stands that much lower above the vertex. The diagonal follows the focal plane by itself.
fn shifted(train: &Train, shift_mm: f64) -> Result<Train> {
    let mut parts = train.to_parts();
    if let Some(plane) = &mut parts.focal_plane {
        plane.axis_to_focus_mm += shift_mm;
    }
    if let Some(opening) = &mut parts.front_opening {
        opening.above_vertex_mm -= shift_mm;
    }
    for height in [
        parts.holder.as_mut().and_then(|holder| holder.above_vertex_mm.as_mut()),
        parts.spider.as_mut().and_then(|spider| spider.above_vertex_mm.as_mut()),
    ]
    .into_iter()
    .flatten()
    {
        *height -= shift_mm;
    }
    parts.build()
}
