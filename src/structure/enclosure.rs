//! What stands around the optics and keeps the night out: a tube or a shroud, a baffle opposite the focuser.

use serde::{Deserialize, Serialize};

use crate::error::{Findings, Result};

/// A flat sheet opposite the focuser, square to the focuser's axis, its middle in the plane y = 0.
///
/// Units: mm. `above_axis_mm` and `below_axis_mm` say how far it reaches beyond the focuser's axis, toward the sky and
/// toward the primary; one of them may be negative, where the whole sheet lies on one side.
/// Errors: found by the enclosure's check.
///
/// ```
/// let sheet = catoptric::OppositeBaffle::new(220.0, 160.0, 140.0, 230.0);
/// assert_eq!(sheet.axis_to_baffle_mm, 230.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OppositeBaffle {
    /// Width across, mm.
    pub width_mm: f64,
    /// Reach beyond the focuser's axis toward the sky, mm.
    pub above_axis_mm: f64,
    /// Reach beyond the focuser's axis toward the primary, mm.
    pub below_axis_mm: f64,
    /// Distance from the tube's axis, away from the focuser, mm.
    pub axis_to_baffle_mm: f64,
}

impl OppositeBaffle {
    /// A sheet from its four lengths.
    ///
    /// ```
    /// assert_eq!(catoptric::OppositeBaffle::new(220.0, 160.0, 140.0, 230.0).width_mm, 220.0);
    /// ```
    pub fn new(width_mm: f64, above_axis_mm: f64, below_axis_mm: f64, axis_to_baffle_mm: f64) -> Self {
        Self { width_mm, above_axis_mm, below_axis_mm, axis_to_baffle_mm }
    }

    fn note_problems(&self, findings: &mut Findings) {
        findings.length("width_mm", self.width_mm);
        findings.length("axis_to_baffle_mm", self.axis_to_baffle_mm);
        let sound = |v: f64| v.abs() <= 1e6;
        let reach = "a length, positive beyond the focuser's axis";
        let both = findings.number("above_axis_mm", self.above_axis_mm, sound, reach, "")
            & findings.number("below_axis_mm", self.below_axis_mm, sound, reach, "");
        if both && self.above_axis_mm + self.below_axis_mm <= 0.0 {
            findings.fault(
                "below_axis_mm",
                self.below_axis_mm,
                "a sheet of some height: both reaches together above 0",
                "both count away from the focuser's axis",
            );
        }
    }
}

/// What stands around the optics: a closed tube or a shroud, and a baffle opposite the focuser.
///
/// Without a tube nothing stands around the optics but the baffle: an open truss. The tube is round about its axis, its
/// heights count from the primary's vertex; without a lower edge it is closed down to the mirror. The front opening of
/// the train is a flat ring from its own diameter out to `ring_outer_mm`, or to the tube where that is not given;
/// without both it stops nothing.
///
/// Units: mm.
/// Errors: [`Enclosure::check`].
/// What it leaves out: poles, vanes, the thickness of walls, and light that is reflected by any of them.
///
/// ```
/// use catoptric::{Enclosure, OppositeBaffle};
/// let truss = Enclosure::open().baffle(OppositeBaffle::new(220.0, 160.0, 140.0, 230.0));
/// assert!(truss.check().is_ok() && truss.tube_diameter_mm.is_none());
/// assert!(Enclosure::tube(460.0, 2000.0).check().is_ok());
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Enclosure {
    /// Inner diameter of a tube or shroud, mm; not given: an open truss.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tube_diameter_mm: Option<f64>,
    /// Height of its upper edge, mm; goes with the diameter.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub upper_edge_mm: Option<f64>,
    /// Height of its lower edge, mm; not given: closed down to the mirror.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lower_edge_mm: Option<f64>,
    /// Outer diameter of the ring around the front opening, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ring_outer_mm: Option<f64>,
    /// The baffle opposite the focuser.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub baffle: Option<OppositeBaffle>,
}

impl Enclosure {
    /// Nothing at all: an open truss.
    ///
    /// ```
    /// assert_eq!(catoptric::Enclosure::open().baffle, None);
    /// ```
    pub fn open() -> Self {
        Self::default()
    }

    /// A tube of this inner diameter, closed from the mirror to its upper edge, mm.
    ///
    /// ```
    /// assert_eq!(catoptric::Enclosure::tube(460.0, 2000.0).upper_edge_mm, Some(2000.0));
    /// ```
    pub fn tube(tube_diameter_mm: f64, upper_edge_mm: f64) -> Self {
        Self {
            tube_diameter_mm: Some(tube_diameter_mm),
            upper_edge_mm: Some(upper_edge_mm),
            ..Self::default()
        }
    }

    /// The same with a lower edge, mm: a short upper tube or a shroud.
    ///
    /// ```
    /// assert_eq!(catoptric::Enclosure::tube(460.0, 2000.0).lower_edge_mm(1400.0).lower_edge_mm, Some(1400.0));
    /// ```
    #[must_use]
    pub fn lower_edge_mm(self, lower_edge_mm: f64) -> Self {
        Self { lower_edge_mm: Some(lower_edge_mm), ..self }
    }

    /// The same with a ring of this outer diameter around the front opening, mm.
    ///
    /// ```
    /// assert_eq!(catoptric::Enclosure::open().ring_outer_mm(520.0).ring_outer_mm, Some(520.0));
    /// ```
    #[must_use]
    pub fn ring_outer_mm(self, ring_outer_mm: f64) -> Self {
        Self { ring_outer_mm: Some(ring_outer_mm), ..self }
    }

    /// The same with a baffle opposite the focuser.
    ///
    /// ```
    /// use catoptric::{Enclosure, OppositeBaffle};
    /// assert!(Enclosure::open().baffle(OppositeBaffle::new(220.0, 160.0, 140.0, 230.0)).baffle.is_some());
    /// ```
    #[must_use]
    pub fn baffle(self, baffle: OppositeBaffle) -> Self {
        Self { baffle: Some(baffle), ..self }
    }

    /// Refuses what cannot be, whatever train stands in it.
    ///
    /// Errors: [`crate::Error::Input`] with all faults found.
    ///
    /// ```
    /// assert!(catoptric::Enclosure::tube(f64::NAN, 2000.0).check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("enclosure", |f| self.note_problems(f));
        findings.refuse()
    }

    fn note_problems(&self, findings: &mut Findings) {
        for (name, length) in
            [("tube_diameter_mm", self.tube_diameter_mm), ("ring_outer_mm", self.ring_outer_mm)]
        {
            if let Some(length) = length {
                findings.length(name, length);
            }
        }
        let edges = [("upper_edge_mm", self.upper_edge_mm), ("lower_edge_mm", self.lower_edge_mm)];
        for (name, height) in edges {
            if let Some(height) = height {
                findings.number(
                    name,
                    height,
                    |v| v.abs() <= 1e6,
                    "a height above the vertex",
                    "other units?",
                );
                if self.tube_diameter_mm.is_none() {
                    findings.fault(
                        "tube_diameter_mm",
                        "nothing",
                        "an inner diameter beside the edge of a tube",
                        "",
                    );
                }
            }
        }
        if self.tube_diameter_mm.is_some() && self.upper_edge_mm.is_none() {
            findings.fault("upper_edge_mm", "nothing", "the height at which the tube ends", "");
        }
        if let (Some(upper), Some(lower)) = (self.upper_edge_mm, self.lower_edge_mm)
            && lower >= upper
        {
            findings.fault("lower_edge_mm", lower, "below the upper edge", "the two exchanged?");
        }
        if let Some(baffle) = &self.baffle {
            findings.within("baffle", |f| baffle.note_problems(f));
        }
    }
}
