//! The figure: how the glass departs from its conic, as layers that add.

use serde::{Deserialize, Serialize};

use super::edge_layers::{CentralHill, EdgeRollOff, EdgeStep};
use super::height_map::HeightMap;
use super::ripple::Ripple;
use super::zernike_terms::ZernikeTerms;
use crate::error::{Findings, Result};

/// Heights beyond this are not a figure but a typing error, nm.
pub(super) const TALLEST_NM: f64 = 1.0e5;
pub(super) const HEIGHT: &str = "a height in nanometres within +-100000 (0.1 mm)";
pub(super) const HEIGHT_CAUSE: &str = "millimetres or inches written as nanometres?";

/// An edge that turns down (or up) beyond a certain radius.
///
/// Height h = -drop ((r - (D/2 - width))/width)^power for r beyond D/2 - width, where D is the
/// clear aperture; a negative drop is a raised edge. The layer stays tied to the clear aperture
/// when a mask stops the mirror down.
///
/// Units: mm and nm of glass height.
/// Errors: found by the train's check (width above 0 and within D/2, power at least 1).
/// Source: common practice, no source.
///
/// ```
/// let edge = catoptric::TurnedEdge::new(9.0, 330.0).power(3.0);
/// assert_eq!(edge.power, 3.0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TurnedEdge {
    /// How far the edge reaches inward from the clear aperture's rim, mm.
    pub width_mm: f64,
    /// How much too low the glass is at the rim, nm; negative for a raised edge.
    pub drop_nm: f64,
    /// The exponent of the roll-off; 2 unless given.
    #[serde(default = "TurnedEdge::default_power")]
    pub power: f64,
}

impl TurnedEdge {
    /// A turned edge whose depth grows as the square of the distance from where it starts.
    ///
    /// ```
    /// assert_eq!(catoptric::TurnedEdge::new(9.0, 330.0).power, 2.0);
    /// ```
    pub fn new(width_mm: f64, drop_nm: f64) -> Self {
        Self { width_mm, drop_nm, power: Self::default_power() }
    }

    /// The same edge with another exponent.
    ///
    /// ```
    /// assert_eq!(catoptric::TurnedEdge::new(9.0, 330.0).power(1.5).power, 1.5);
    /// ```
    #[must_use]
    pub fn power(self, power: f64) -> Self {
        Self { power, ..self }
    }

    fn default_power() -> f64 {
        2.0
    }

    fn note_problems(&self, rim_mm: f64, findings: &mut Findings) {
        findings.number(
            "width_mm",
            self.width_mm,
            |v| v >= 1e-3 && v <= rim_mm,
            "a width above 0 (0.001 mm or more) and not beyond half the clear aperture",
            "diameter given for width, or other units?",
        );
        findings.number("drop_nm", self.drop_nm, |v| v.abs() <= TALLEST_NM, HEIGHT, HEIGHT_CAUSE);
        findings.number("power", self.power, |v| (1.0..=50.0).contains(&v), "an exponent from 1 to 50", "");
    }
}

/// A ring-shaped hill (or hollow) with the profile of a Gaussian.
///
/// Height h = height exp(-((r - radius)/half_width)^2): `half_width_mm` is where it has fallen
/// to 1/e. A radius of 0 gives a central hill.
///
/// Units: mm and nm of glass height; positive is a hill.
/// Errors: found by the train's check.
/// Source: common practice, no source.
///
/// ```
/// let zone = catoptric::Zone::new(95.0, 13.0, 28.0);
/// assert!(zone.height_nm > 0.0, "a hill");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Zone {
    /// Radius of the crest, mm.
    pub radius_mm: f64,
    /// Distance from the crest at which the height has fallen to 1/e, mm.
    pub half_width_mm: f64,
    /// Height of the crest, nm; negative for a hollow.
    pub height_nm: f64,
}

impl Zone {
    /// A zone from its three numbers.
    ///
    /// ```
    /// assert_eq!(catoptric::Zone::new(95.0, 13.0, 28.0).radius_mm, 95.0);
    /// ```
    pub fn new(radius_mm: f64, half_width_mm: f64, height_nm: f64) -> Self {
        Self { radius_mm, half_width_mm, height_nm }
    }

    fn note_problems(&self, rim_mm: f64, findings: &mut Findings) {
        findings.number(
            "radius_mm",
            self.radius_mm,
            |v| (0.0..=rim_mm).contains(&v),
            "a radius from 0 to half the clear aperture: a zone lies on the mirror",
            "diameter given for radius?",
        );
        findings.length("half_width_mm", self.half_width_mm);
        findings.number("height_nm", self.height_nm, |v| v.abs() <= TALLEST_NM, HEIGHT, HEIGHT_CAUSE);
    }
}

/// How the points of a radial profile are joined.
///
/// ```
/// assert_eq!(catoptric::Joined::default(), catoptric::Joined::Spline);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum Joined {
    /// A cubic spline, level at the first point and with no bending at the last.
    #[default]
    Spline,
    /// Straight in the square of the radius: between two points the slope grows with the radius, as the mean
    /// that a zonal test measures over an opening.
    StraightInArea,
}

impl Joined {
    /// The way of a name: `spline` or `straight_in_area`.
    ///
    /// ```
    /// assert_eq!(catoptric::Joined::from_name("spline"), Some(catoptric::Joined::Spline));
    /// ```
    pub fn from_name(name: &str) -> Option<Self> {
        match name {
            "spline" => Some(Self::Spline),
            "straight_in_area" => Some(Self::StraightInArea),
            _ => None,
        }
    }

    /// The way's name in files.
    ///
    /// ```
    /// assert_eq!(catoptric::Joined::Spline.name(), "spline");
    /// ```
    pub fn name(self) -> &'static str {
        match self {
            Self::Spline => "spline",
            Self::StraightInArea => "straight_in_area",
        }
    }
}

/// Heights given at a list of radii, and how they are joined.
///
/// Inside the first and beyond the last point the height is held.
///
/// Units: mm and nm of glass height.
/// Shapes: two lists of equal length, at least two points, radii ascending.
/// Errors: found by the train's check.
/// What it leaves out: whatever happens between the points; a curve through points d apart misses
/// ripples shorter than 2 d altogether.
///
/// ```
/// let profile = catoptric::RadialProfile::new(vec![0.0, 80.0, 159.0], vec![0.0, 12.0, -40.0]);
/// assert_eq!(profile.radius_mm.len(), profile.height_nm.len());
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RadialProfile {
    /// Radii of the points, ascending, mm.
    pub radius_mm: Vec<f64>,
    /// Heights at the points, nm.
    pub height_nm: Vec<f64>,
    /// What lies between the points; a spline unless given.
    #[serde(default)]
    pub joined: Joined,
}

impl RadialProfile {
    /// A profile from its points, joined by a spline.
    ///
    /// ```
    /// let flat = catoptric::RadialProfile::new(vec![0.0, 100.0], vec![0.0, 0.0]);
    /// assert_eq!(flat.height_nm, [0.0, 0.0]);
    /// ```
    pub fn new(radius_mm: Vec<f64>, height_nm: Vec<f64>) -> Self {
        Self { radius_mm, height_nm, joined: Joined::default() }
    }

    /// The same points joined in another way.
    ///
    /// ```
    /// use catoptric::{Joined, RadialProfile};
    /// let profile = RadialProfile::new(vec![0.0, 100.0], vec![0.0, 5.0]).joined(Joined::StraightInArea);
    /// assert_eq!(profile.joined, Joined::StraightInArea);
    /// ```
    #[must_use]
    pub fn joined(self, joined: Joined) -> Self {
        Self { joined, ..self }
    }

    fn note_problems(&self, rim_mm: f64, findings: &mut Findings) {
        let (radii, heights) = (&self.radius_mm, &self.height_nm);
        if radii.len() != heights.len() || radii.len() < 2 {
            findings.fault(
                "radius_mm",
                format!("{} radii beside {} heights", radii.len(), heights.len()),
                "two lists of equal length, two points or more",
                "a column cut short?",
            );
            return;
        }
        for (i, &radius) in radii.iter().enumerate() {
            findings.number(
                &format!("radius_mm[{i}]"),
                radius,
                |v| (0.0..=rim_mm * (1.0 + 1e-9)).contains(&v),
                "a radius from 0 to half the clear aperture",
                "diameter given for radius?",
            );
            if i > 0 && radius <= radii[i - 1] {
                findings.fault(
                    &format!("radius_mm[{i}]"),
                    radius,
                    "radii in ascending order, none twice",
                    "points sorted from the rim inward?",
                );
            }
        }
        for (i, &height) in heights.iter().enumerate() {
            findings.number(
                &format!("height_nm[{i}]"),
                height,
                |v| v.abs() <= TALLEST_NM,
                HEIGHT,
                HEIGHT_CAUSE,
            );
        }
    }
}

/// One layer of the figure. Layers add.
///
/// In a file a layer is a table with a key `kind`: `turned_edge`, `edge_roll_off`, `edge_step`, `zone`, `central_hill`,
/// `radial_profile`, `zernike_terms`, `height_map` or `ripple`.
///
/// ```
/// use catoptric::{FigureLayer, Zone};
/// let layer: FigureLayer = Zone::new(95.0, 13.0, 28.0).into();
/// assert!(matches!(layer, FigureLayer::Zone(_)));
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
#[non_exhaustive]
pub enum FigureLayer {
    /// An edge that turns down or up.
    TurnedEdge(TurnedEdge),
    /// An edge that falls off without a start.
    EdgeRollOff(EdgeRollOff),
    /// A sharp step near the rim.
    EdgeStep(EdgeStep),
    /// A ring-shaped hill or hollow.
    Zone(Zone),
    /// A hill or a hole in the centre.
    CentralHill(CentralHill),
    /// Heights at a list of radii.
    RadialProfile(RadialProfile),
    /// A sum of Zernike terms.
    ZernikeTerms(ZernikeTerms),
    /// Heights on a square net.
    HeightMap(HeightMap),
    /// Ripple of chance with a stated power spectrum.
    Ripple(Ripple),
}

impl FigureLayer {
    /// Refuses a part that cannot be, whatever train it stands in.
    ///
    /// ```
    /// assert!(catoptric::FigureLayer::from(catoptric::Zone::new(95.0, -13.0, 28.0)).check().is_err());
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("figure", |f| self.note_problems(f64::INFINITY, f));
        findings.refuse()
    }

    /// Notes what is wrong with the layer on a mirror whose clear aperture has the radius `rim_mm`.
    pub(crate) fn note_problems(&self, rim_mm: f64, findings: &mut Findings) {
        match self {
            Self::TurnedEdge(edge) => edge.note_problems(rim_mm, findings),
            Self::EdgeRollOff(edge) => edge.note_problems(rim_mm, findings),
            Self::EdgeStep(step) => step.note_problems(rim_mm, findings),
            Self::Zone(zone) => zone.note_problems(rim_mm, findings),
            Self::CentralHill(hill) => hill.note_problems(rim_mm, findings),
            Self::RadialProfile(profile) => profile.note_problems(rim_mm, findings),
            Self::ZernikeTerms(terms) => terms.note_problems(findings),
            Self::HeightMap(map) => map.note_problems(rim_mm, findings),
            Self::Ripple(ripple) => ripple.note_problems(rim_mm, findings),
        }
    }
}

impl From<TurnedEdge> for FigureLayer {
    fn from(edge: TurnedEdge) -> Self {
        Self::TurnedEdge(edge)
    }
}

impl From<EdgeRollOff> for FigureLayer {
    fn from(edge: EdgeRollOff) -> Self {
        Self::EdgeRollOff(edge)
    }
}

impl From<EdgeStep> for FigureLayer {
    fn from(step: EdgeStep) -> Self {
        Self::EdgeStep(step)
    }
}

impl From<CentralHill> for FigureLayer {
    fn from(hill: CentralHill) -> Self {
        Self::CentralHill(hill)
    }
}

impl From<Zone> for FigureLayer {
    fn from(zone: Zone) -> Self {
        Self::Zone(zone)
    }
}

impl From<RadialProfile> for FigureLayer {
    fn from(profile: RadialProfile) -> Self {
        Self::RadialProfile(profile)
    }
}

impl From<ZernikeTerms> for FigureLayer {
    fn from(terms: ZernikeTerms) -> Self {
        Self::ZernikeTerms(terms)
    }
}

impl From<HeightMap> for FigureLayer {
    fn from(map: HeightMap) -> Self {
        Self::HeightMap(map)
    }
}

impl From<Ripple> for FigureLayer {
    fn from(ripple: Ripple) -> Self {
        Self::Ripple(ripple)
    }
}
