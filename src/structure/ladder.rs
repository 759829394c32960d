//! The ladder: where each thing's shoulder must stand for focus, beside the focuser's travel.

use serde::{Deserialize, Serialize};

use super::focuser::{FocusItem, Focused, Focuser};
use crate::error::{Error, Findings, Result};
use crate::model::{Drawtube, Train};

/// Most things on one ladder.
const MOST_ITEMS: usize = 10_000;
/// Nearer than this to an end of the travel is within it, mm: rounding of sums.
const ROUNDING_MM: f64 = 1e-9;

/// Where one thing comes to focus.
///
/// Units: mm from the tube's axis.
///
/// ```
/// use catoptric::{Camera, Diagonal, FocalLengthMm, FocalPlane, FocusItem, FocusLadder, Focuser, Primary, Train};
/// let train = Train::builder(Primary::new(406.0, FocalLengthMm(2030.0)))
///     .diagonal(Diagonal::new(79.4))
///     .focal_plane(FocalPlane::new(303.0))
///     .build()?;
/// let camera = FocusItem::new("camera", Camera::new(55.0));
/// let ladder = FocusLadder::new(&train, Focuser::new(270.0, 310.0), vec![camera])?;
/// assert_eq!((ladder.rungs[0].shoulder_mm, ladder.rungs[0].misses_by_mm), (248.0, -22.0));
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Rung {
    /// From the tube's axis to the image, mm: the focal plane, or further out for a near object.
    pub image_mm: f64,
    /// From the tube's axis to the shoulder in focus, mm.
    pub shoulder_mm: f64,
    /// How far beyond the travel that is, mm; positive: further out than racked out, negative: further in than racked
    /// in; 0 within.
    pub misses_by_mm: f64,
    /// How far the tube's inner end reaches into the light that falls on the mirror, mm; 0 where it does not, or no
    /// tube is known.
    pub tube_in_light_mm: f64,
    /// What deserves a word.
    pub cautions: Vec<String>,
}

impl Rung {
    /// Whether the focuser reaches it.
    ///
    /// ```
    /// let (image_mm, shoulder_mm, cautions) = (303.0, 301.0, vec![]);
    /// let rung = catoptric::Rung { image_mm, shoulder_mm, misses_by_mm: 0.0, tube_in_light_mm: 0.0, cautions };
    /// assert!(rung.is_within());
    /// ```
    pub fn is_within(&self) -> bool {
        self.misses_by_mm == 0.0
    }

    /// Length of the shortest tube between shoulder and thing that brings it within the travel, mm; 0 within, none
    /// where the shoulder would have to go further in.
    ///
    /// ```
    /// let (image_mm, shoulder_mm, cautions) = (303.0, 318.0, vec![]);
    /// let rung = catoptric::Rung { image_mm, shoulder_mm, misses_by_mm: 8.0, tube_in_light_mm: 0.0, cautions };
    /// assert_eq!(rung.extension_mm(), Some(8.0));
    /// ```
    pub fn extension_mm(&self) -> Option<f64> {
        (self.misses_by_mm >= 0.0).then_some(self.misses_by_mm)
    }
}

/// Where a list of things comes to focus, beside the focuser's travel.
///
/// The shoulder of an eyepiece must stand at the image's height less the field stop's place, plus what the eye's
/// refraction moves it by; a camera's at the image's height less its back distance and adapters. The image of a near
/// object lies f^2/(d - f) further out.
///
/// Units: mm from the tube's axis.
/// Shapes: one rung an item, in the order given.
/// Errors: those of [`FocusLadder::new`].
/// Leaves out: the tilt of a drawtube that sags; field curvature; an eyepiece whose field stop is not in its focal
/// plane.
///
/// ```
/// use catoptric::{Diagonal, Eyepiece, FocalLengthMm, FocalPlane, FocusItem, FocusLadder, Focuser, Primary, Train};
/// let train = Train::builder(Primary::new(406.0, FocalLengthMm(2030.0)))
///     .diagonal(Diagonal::new(79.4))
///     .focal_plane(FocalPlane::new(303.0))
///     .build()?;
/// let eyepiece = FocusItem::new("31 mm", Eyepiece::new(31.0, 40.0).shoulder_to_stop_mm(18.0));
/// let ladder = FocusLadder::new(&train, Focuser::new(270.0, 310.0), vec![eyepiece])?;
/// assert_eq!((ladder.rungs[0].shoulder_mm, ladder.reached()), (285.0, 1));
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FocusLadder {
    /// The train.
    pub train: Train,
    /// The focuser.
    pub focuser: Focuser,
    /// What is to come to focus.
    pub items: Vec<FocusItem>,
    /// Where each of them does.
    pub rungs: Vec<Rung>,
}

impl FocusLadder {
    /// The ladder of a train, a focuser and a list of things.
    ///
    /// Errors: [`Error::Input`] for a train without focal plane beside the tube, a focuser that cannot be or stands in
    /// the light, no items, an eyepiece that does not say where its field stop lies, more than 25 dioptres, an object
    /// nearer than the centre of curvature.
    ///
    /// ```
    /// use catoptric::{Diagonal, FocalLengthMm, FocalPlane, FocusLadder, Focuser, Primary, Train};
    /// let train = Train::builder(Primary::new(406.0, FocalLengthMm(2030.0)))
    ///     .diagonal(Diagonal::new(79.4))
    ///     .focal_plane(FocalPlane::new(303.0))
    ///     .build()?;
    /// assert!(FocusLadder::new(&train, Focuser::new(270.0, 310.0), vec![]).is_err());
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn new(train: &Train, focuser: Focuser, items: Vec<FocusItem>) -> Result<Self> {
        let mut findings = Findings::default();
        let (aperture_mm, focal_mm) = (train.primary().clear_aperture_mm, train.primary().focal_length_mm);
        if train.focal_plane().is_none() {
            let allowed = "a diagonal and a focal plane beside the tube";
            findings.fault("train.focal_plane", "nothing", allowed, "a bare mirror has no focuser");
        }
        findings.within("focuser", |f| focuser.note_problems(aperture_mm, f));
        if !(1..=MOST_ITEMS).contains(&items.len()) {
            let found = format!("{} things", items.len());
            findings.fault("items", found, &format!("1 to {MOST_ITEMS} things to be focused"), "");
        }
        for (i, item) in items.iter().enumerate() {
            findings.within(format!("items[{i}]"), |f| item.note_problems(focal_mm, f));
        }
        findings.refuse()?;
        let focus_mm = train.focal_plane().map_or(focal_mm, |plane| plane.axis_to_focus_mm);
        let rungs = items.iter().map(|item| rung(train, &focuser, item, focus_mm)).collect();
        Ok(Self { train: train.clone(), focuser, items, rungs })
    }

    /// How many of the things the focuser reaches.
    ///
    /// ```
    /// use catoptric::{Camera, Diagonal, FocalLengthMm, FocalPlane, FocusItem, FocusLadder, Focuser, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1000.0)))
    ///     .diagonal(Diagonal::new(50.0))
    ///     .focal_plane(FocalPlane::new(170.0))
    ///     .build()?;
    /// let camera = FocusItem::new("camera", Camera::new(55.0));
    /// assert_eq!(FocusLadder::new(&train, Focuser::new(120.0, 150.0), vec![camera])?.reached(), 0);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn reached(&self) -> usize {
        self.rungs.iter().filter(|rung| rung.is_within()).count()
    }

    /// How much travel all things together need, mm: from the lowest shoulder to the highest.
    ///
    /// ```
    /// use catoptric::{Camera, Diagonal, FocalLengthMm, FocalPlane, FocusItem, FocusLadder, Focuser, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1000.0)))
    ///     .diagonal(Diagonal::new(50.0))
    ///     .focal_plane(FocalPlane::new(170.0))
    ///     .build()?;
    /// let cameras = [20.0, 55.0].map(|back| FocusItem::new("camera", Camera::new(back))).to_vec();
    /// assert_eq!(FocusLadder::new(&train, Focuser::new(120.0, 150.0), cameras)?.spread_mm(), 35.0);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn spread_mm(&self) -> f64 {
        let (low, high) = self.ends_mm();
        high - low
    }

    /// The lowest and the highest shoulder.
    fn ends_mm(&self) -> (f64, f64) {
        let heights = self.rungs.iter().map(|rung| rung.shoulder_mm);
        heights.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)))
    }

    /// Between which outward shifts of the image the focuser reaches all things, mm; none where their spread exceeds
    /// its travel.
    ///
    /// ```
    /// use catoptric::{Camera, Diagonal, FocalLengthMm, FocalPlane, FocusItem, FocusLadder, Focuser, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1000.0)))
    ///     .diagonal(Diagonal::new(50.0))
    ///     .focal_plane(FocalPlane::new(170.0))
    ///     .build()?;
    /// let camera = FocusItem::new("camera", Camera::new(55.0)); // its shoulder must stand at 115 mm
    /// let ladder = FocusLadder::new(&train, Focuser::new(120.0, 150.0), vec![camera])?;
    /// assert_eq!(ladder.shifts_for_all_mm(), Some((5.0, 35.0)));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn shifts_for_all_mm(&self) -> Option<(f64, f64)> {
        let (low, high) = self.ends_mm();
        let (from, to) = (self.focuser.racked_in_mm - low, self.focuser.racked_out_mm - high);
        (from <= to + ROUNDING_MM).then_some((from, to.max(from)))
    }

    /// The least outward shift of the image (negative: inward) with which the focuser reaches as many things as any
    /// single shift can, mm.
    ///
    /// Method: the shifts that serve a thing are an interval; the least place that most of them share is 0 or an end.
    ///
    /// ```
    /// use catoptric::{Camera, Diagonal, FocalLengthMm, FocalPlane, FocusItem, FocusLadder, Focuser, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1000.0)))
    ///     .diagonal(Diagonal::new(50.0))
    ///     .focal_plane(FocalPlane::new(170.0))
    ///     .build()?;
    /// let cameras = [20.0, 55.0, 60.0].map(|back| FocusItem::new("camera", Camera::new(back))).to_vec();
    /// // Shoulders at 150, 115 and 110 mm: 30 mm of travel serve two of them.
    /// assert_eq!(FocusLadder::new(&train, Focuser::new(120.0, 150.0), cameras)?.least_shift_mm(), 10.0);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn least_shift_mm(&self) -> f64 {
        let ends = |rung: &Rung| {
            [self.focuser.racked_in_mm - rung.shoulder_mm, self.focuser.racked_out_mm - rung.shoulder_mm]
        };
        let mut candidates: Vec<f64> = self.rungs.iter().flat_map(ends).chain([0.0]).collect();
        candidates.sort_by(|a, b| a.abs().total_cmp(&b.abs()));
        // Lists are sorted once, so that ten thousand things are no matter.
        let mut lows: Vec<f64> = self.rungs.iter().map(|r| ends(r)[0] - ROUNDING_MM).collect();
        let mut highs: Vec<f64> = self.rungs.iter().map(|r| ends(r)[1] + ROUNDING_MM).collect();
        lows.sort_by(f64::total_cmp);
        highs.sort_by(f64::total_cmp);
        let served = |shift: f64| {
            lows.partition_point(|low| *low <= shift) - highs.partition_point(|high| *high < shift)
        };
        let mut best = (0, 0.0);
        for shift in candidates {
            let count = served(shift);
            if count > best.0 {
                best = (count, shift);
            }
        }
        best.1
    }

    /// Names of the things that the focuser does not reach once the image is shifted outward by so much, mm.
    ///
    /// ```
    /// use catoptric::{Camera, Diagonal, FocalLengthMm, FocalPlane, FocusItem, FocusLadder, Focuser, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1000.0)))
    ///     .diagonal(Diagonal::new(50.0))
    ///     .focal_plane(FocalPlane::new(170.0))
    ///     .build()?;
    /// let camera = FocusItem::new("camera", Camera::new(55.0));
    /// let ladder = FocusLadder::new(&train, Focuser::new(120.0, 150.0), vec![camera])?;
    /// assert_eq!((ladder.out_of_reach(0.0), ladder.out_of_reach(5.0)), (vec!["camera".to_owned()], vec![]));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn out_of_reach(&self, image_shift_mm: f64) -> Vec<String> {
        let missed = |rung: &Rung| misses_by_mm(&self.focuser, rung.shoulder_mm + image_shift_mm) != 0.0;
        self.items.iter().zip(&self.rungs).filter(|(_, r)| missed(r)).map(|(i, _)| i.name.clone()).collect()
    }

    /// The least outward shift of the image with which the focuser reaches everything, given tubes between shoulder and
    /// thing for what then lies too far out, mm; 0 or more.
    ///
    /// ```
    /// use catoptric::{Camera, Diagonal, FocalLengthMm, FocalPlane, FocusItem, FocusLadder, Focuser, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1000.0)))
    ///     .diagonal(Diagonal::new(50.0))
    ///     .focal_plane(FocalPlane::new(170.0))
    ///     .build()?;
    /// let cameras = [5.0, 60.0].map(|back| FocusItem::new("camera", Camera::new(back))).to_vec();
    /// let ladder = FocusLadder::new(&train, Focuser::new(120.0, 150.0), cameras)?; // shoulders at 165 and 110 mm
    /// assert_eq!(ladder.shift_with_tubes_mm(), 10.0);
    /// assert_eq!(ladder.extensions_mm(10.0), [25.0, 0.0]);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn shift_with_tubes_mm(&self) -> f64 {
        let (low, _) = self.ends_mm();
        (self.focuser.racked_in_mm - low).max(0.0)
    }

    /// For each thing the length of the shortest tube that brings it within the travel once the image is shifted
    /// outward by so much, mm; 0 where it needs none, or where none helps.
    ///
    /// ```
    /// use catoptric::{Camera, Diagonal, FocalLengthMm, FocalPlane, FocusItem, FocusLadder, Focuser, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1000.0)))
    ///     .diagonal(Diagonal::new(50.0))
    ///     .focal_plane(FocalPlane::new(170.0))
    ///     .build()?;
    /// let camera = FocusItem::new("camera", Camera::new(5.0)); // its shoulder at 165 mm
    /// assert_eq!(FocusLadder::new(&train, Focuser::new(120.0, 150.0), vec![camera])?.extensions_mm(0.0), [15.0]);
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn extensions_mm(&self, image_shift_mm: f64) -> Vec<f64> {
        let missed = |rung: &Rung| misses_by_mm(&self.focuser, rung.shoulder_mm + image_shift_mm);
        self.rungs.iter().map(|rung| missed(rung).max(0.0)).collect()
    }

    /// The train with the focuser's tube where it stands for one of the things, so that light can be asked for; the
    /// train's own drawtube where the focuser has none.
    ///
    /// Errors: [`Error::Input`] for a place beyond the list; a train that cannot be.
    ///
    /// ```
    /// use catoptric::{Camera, Diagonal, FocalLengthMm, FocalPlane, FocusItem, FocusLadder, Focuser, Primary, Train};
    /// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1000.0)))
    ///     .diagonal(Diagonal::new(50.0))
    ///     .focal_plane(FocalPlane::new(200.0))
    ///     .build()?;
    /// let focuser = Focuser::new(120.0, 150.0).tube(47.0, 30.0);
    /// let ladder = FocusLadder::new(&train, focuser, vec![FocusItem::new("camera", Camera::new(55.0))])?;
    /// assert_eq!(ladder.train_for(0)?.drawtube().map(|t| t.outer_end_to_focus_mm), Some(55.0));
    /// # Ok::<(), catoptric::Error>(())
    /// ```
    pub fn train_for(&self, item: usize) -> Result<Train> {
        let Some(rung) = self.rungs.get(item) else {
            let allowed = format!("a place in the list, 0 to {}", self.rungs.len() - 1);
            return Err(Error::input("item", item, allowed, ""));
        };
        let (Some(bore_mm), Some(length_mm), Some(plane)) =
            (self.focuser.bore_mm, self.focuser.tube_length_mm, self.train.focal_plane())
        else {
            return Ok(self.train.clone());
        };
        let outer_end_to_focus_mm = plane.axis_to_focus_mm - rung.shoulder_mm;
        let mut parts = self.train.to_parts();
        parts.drawtube = Some(Drawtube { bore_mm, length_mm, outer_end_to_focus_mm });
        parts.build()
    }
}

/// How far a shoulder lies beyond the travel, mm; 0 within.
fn misses_by_mm(focuser: &Focuser, shoulder_mm: f64) -> f64 {
    let (under, over) = (shoulder_mm - focuser.racked_in_mm, shoulder_mm - focuser.racked_out_mm);
    if under < -ROUNDING_MM {
        under
    } else if over > ROUNDING_MM {
        over
    } else {
        0.0
    }
}

fn rung(train: &Train, focuser: &Focuser, item: &FocusItem, focus_mm: f64) -> Rung {
    let image_mm = focus_mm + item.object_shift_mm(train.primary().focal_length_mm);
    let shoulder_mm = image_mm - item.shoulder_to_image_mm() + item.eye_shift_mm();
    let half_mm = train.primary().clear_aperture_mm / 2.0;
    let tube_in_light_mm = focuser.tube_length_mm.map_or(0.0, |l| (half_mm - (shoulder_mm - l)).max(0.0));
    let mut cautions = Vec::new();
    let bore_mm = focuser.bore_mm.or(train.drawtube().map(|tube| tube.bore_mm));
    if let (Focused::Eyepiece(eyepiece), Some(bore)) = (&item.through, bore_mm)
        && eyepiece.field_stop_mm > bore
    {
        let stop = eyepiece.field_stop_mm;
        cautions.push(format!("the field stop ({stop} mm) is wider than the drawtube's bore ({bore} mm)"));
    }
    if tube_in_light_mm > 0.0 {
        cautions.push(format!(
            "in focus the drawtube would reach {tube_in_light_mm:.1} mm into the light that falls on the mirror"
        ));
    }
    let misses_by_mm = misses_by_mm(focuser, shoulder_mm);
    Rung { image_mm, shoulder_mm, misses_by_mm, tube_in_light_mm, cautions }
}
