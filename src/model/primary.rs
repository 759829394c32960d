//! The primary mirror.

use serde::{Deserialize, Serialize};

use super::coating::Coating;
use super::figure::FigureLayer;
use crate::error::{Error, Findings, Result};
use crate::units::FocalLengthMm;

/// The primary mirror: a conic, its figure, its coating, and perhaps a mask in front of it.
///
/// The clear aperture is the circle of that diameter on the mirror's own surface; it is the
/// stop. A mask stops the mirror down and leaves the figure where it is.
///
/// Units: mm; conic constant -1 is a paraboloid, 0 a sphere.
/// Errors: [`Error::Input`] when the primary is put into a train, or from [`Primary::check`].
///
/// ```
/// use catoptric::{FocalLengthMm, Primary, RadiusOfCurvatureMm, TurnedEdge};
/// let mirror = Primary::new(318.0, RadiusOfCurvatureMm(3116.0)).layer(TurnedEdge::new(9.0, 330.0));
/// assert_eq!(mirror.focal_length_mm, 1558.0);
/// assert_eq!(mirror, Primary::new(318.0, FocalLengthMm(1558.0)).layer(TurnedEdge::new(9.0, 330.0)));
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "PrimaryInput")]
pub struct Primary {
    /// Diameter of the circle of glass that is meant to work, mm.
    pub clear_aperture_mm: f64,
    /// Focal length, mm: half the radius of curvature at the vertex.
    pub focal_length_mm: f64,
    /// Conic constant.
    pub conic: f64,
    /// Inner diameter of a mask laid over the mirror, mm.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub mask_diameter_mm: Option<f64>,
    /// The reflecting layer.
    pub coating: Coating,
    /// Layers of glass height over the conic; they add.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub figure: Vec<FigureLayer>,
}

impl Primary {
    /// A perfect paraboloid that returns all light.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Primary};
    /// assert_eq!(Primary::new(200.0, FocalLengthMm(1200.0)).conic, -1.0);
    /// ```
    pub fn new(clear_aperture_mm: f64, focal_length: impl Into<FocalLengthMm>) -> Self {
        Self {
            clear_aperture_mm,
            focal_length_mm: focal_length.into().0,
            conic: -1.0,
            mask_diameter_mm: None,
            coating: Coating::default(),
            figure: Vec::new(),
        }
    }

    /// The same mirror with another conic constant.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Primary};
    /// assert_eq!(Primary::new(200.0, FocalLengthMm(1200.0)).conic(0.0).conic, 0.0);
    /// ```
    #[must_use]
    pub fn conic(self, conic: f64) -> Self {
        Self { conic, ..self }
    }

    /// The same mirror stopped down to a diameter in mm.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Primary};
    /// let masked = Primary::new(318.0, FocalLengthMm(1558.0)).mask_diameter_mm(308.0);
    /// assert_eq!(masked.mask_diameter_mm, Some(308.0));
    /// ```
    #[must_use]
    pub fn mask_diameter_mm(self, diameter_mm: f64) -> Self {
        Self { mask_diameter_mm: Some(diameter_mm), ..self }
    }

    /// The same mirror with another coating.
    ///
    /// ```
    /// use catoptric::{Coating, FocalLengthMm, Primary};
    /// let dull = Primary::new(318.0, FocalLengthMm(1558.0)).coating(Coating::new(0.7));
    /// assert_eq!(dull.coating.reflectance, 0.7);
    /// ```
    #[must_use]
    pub fn coating(self, coating: Coating) -> Self {
        Self { coating, ..self }
    }

    /// The same mirror with one more figure layer.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Primary, Zone};
    /// let mirror = Primary::new(318.0, FocalLengthMm(1558.0)).layer(Zone::new(95.0, 13.0, 28.0));
    /// assert_eq!(mirror.figure.len(), 1);
    /// ```
    #[must_use]
    pub fn layer(mut self, layer: impl Into<FigureLayer>) -> Self {
        self.figure.push(layer.into());
        self
    }

    /// Diameter that gathers light, mm: the mask's if there is one, else the clear aperture.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Primary};
    /// let mirror = Primary::new(318.0, FocalLengthMm(1558.0));
    /// assert_eq!(mirror.clone().mask_diameter_mm(308.0).open_diameter_mm(), 308.0);
    /// assert_eq!(mirror.open_diameter_mm(), 318.0);
    /// ```
    pub fn open_diameter_mm(&self) -> f64 {
        self.mask_diameter_mm.unwrap_or(self.clear_aperture_mm)
    }

    /// Refuses a mirror that cannot be, with every fault found.
    ///
    /// ```
    /// use catoptric::{FocalLengthMm, Primary};
    /// let error = Primary::new(-318.0, FocalLengthMm(f64::NAN)).check().unwrap_err();
    /// assert_eq!(error.problems().len(), 2);
    /// ```
    pub fn check(&self) -> Result<()> {
        let mut findings = Findings::default();
        findings.within("primary", |f| {
            self.note_problems(f);
        });
        findings.refuse()
    }

    /// Notes what is wrong; tells whether aperture and focal length can serve to judge the other parts.
    pub(super) fn note_problems(&self, findings: &mut Findings) -> bool {
        self.note_problems_but(None, findings)
    }

    /// The same, but for figure and coating where a mirror of this clear aperture is known to be sound with them.
    pub(super) fn note_problems_but(&self, sound: Option<&Self>, findings: &mut Findings) -> bool {
        let (aperture, focal) = (self.clear_aperture_mm, self.focal_length_mm);
        let sizes = findings.length("clear_aperture_mm", aperture)
            & findings.length("focal_length_mm", focal)
            & findings.number("conic", self.conic, |v| v.abs() <= 1e3, "a conic constant within +-1000", "");
        if !sizes {
            return false; // The rest is judged against these.
        }
        let rim = aperture / 2.0;
        let is_possible = focal >= aperture;
        if !is_possible {
            findings.fault(
                "focal_length_mm",
                focal,
                "not below the clear aperture (f/1)",
                "aperture and focal length exchanged, or one of them in inches or centimetres?",
            );
        } else if (1.0 + self.conic) * (rim / (2.0 * focal)).powi(2) >= 1.0 {
            findings.fault("conic", self.conic, "a conic that reaches the rim of the mirror", "a sign?");
        }
        if focal > 9.0 * aperture && aperture >= 250.0 {
            findings.warning(
                "focal_length_mm",
                focal,
                "large Newtonians are rarely slower than f/9",
                "radius of curvature given for focal length?",
            );
        }
        if !(-1.6..=0.2).contains(&self.conic) {
            findings.warning(
                "conic",
                self.conic,
                "a Newtonian's primary lies near -1",
                "a sign, or another convention (shape factor, eccentricity)?",
            );
        }
        if let Some(mask) = self.mask_diameter_mm {
            findings.number(
                "mask_diameter_mm",
                mask,
                |v| v >= 1e-3 && v <= aperture,
                "a diameter from 0.001 mm to the clear aperture",
                "other units, or the mask's outer diameter?",
            );
        }
        let sound = sound.filter(|other| other.clear_aperture_mm.to_bits() == aperture.to_bits());
        if sound.is_none_or(|other| other.coating != self.coating) {
            findings.within("coating", |f| self.coating.note_problems(rim, f));
        }
        for (i, layer) in self.figure.iter().enumerate() {
            if !sound.is_some_and(|other| other.figure.contains(layer)) {
                findings.within(format!("figure[{i}]"), |f| layer.note_problems(rim, f));
            }
        }
        is_possible
    }
}

/// A primary as people write it down: with its focal length or its radius of curvature.
///
/// Files and other languages come through here.
///
/// Units: mm. Errors: [`Error::Input`] from [`Primary::try_from`] unless exactly one of the two lengths is there.
///
/// ```
/// use catoptric::{Primary, PrimaryInput};
/// let input = PrimaryInput { clear_aperture_mm: 318.0, radius_of_curvature_mm: Some(3116.0), ..Default::default() };
/// assert_eq!(Primary::try_from(input).unwrap().focal_length_mm, 1558.0);
/// assert!(Primary::try_from(PrimaryInput::default()).is_err());
/// ```
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PrimaryInput {
    /// Diameter of the circle of glass that is meant to work, mm.
    pub clear_aperture_mm: f64,
    /// Focal length, mm; or give the radius of curvature.
    #[serde(default)]
    pub focal_length_mm: Option<f64>,
    /// Radius of curvature, mm; or give the focal length.
    #[serde(default)]
    pub radius_of_curvature_mm: Option<f64>,
    /// Conic constant; -1 unless given.
    #[serde(default = "paraboloid")]
    pub conic: f64,
    /// Inner diameter of a mask, mm.
    #[serde(default)]
    pub mask_diameter_mm: Option<f64>,
    /// The reflecting layer.
    #[serde(default)]
    pub coating: Coating,
    /// Figure layers.
    #[serde(default)]
    pub figure: Vec<FigureLayer>,
}

fn paraboloid() -> f64 {
    -1.0
}

impl Default for PrimaryInput {
    fn default() -> Self {
        Self {
            clear_aperture_mm: f64::NAN,
            focal_length_mm: None,
            radius_of_curvature_mm: None,
            conic: paraboloid(),
            mask_diameter_mm: None,
            coating: Coating::default(),
            figure: Vec::new(),
        }
    }
}

impl TryFrom<PrimaryInput> for Primary {
    type Error = Error;

    fn try_from(input: PrimaryInput) -> Result<Self> {
        let focal_length_mm = match (input.focal_length_mm, input.radius_of_curvature_mm) {
            (Some(focal), None) => focal,
            (None, Some(radius)) => radius / 2.0,
            (Some(focal), Some(radius)) => {
                return Err(Error::input(
                    "primary.radius_of_curvature_mm",
                    format!("{radius} beside focal_length_mm = {focal}"),
                    "one of the two, not both",
                    "the radius of curvature is twice the focal length",
                ));
            }
            (None, None) => {
                return Err(Error::input(
                    "primary.focal_length_mm",
                    "nothing",
                    "a focal length, or radius_of_curvature_mm in its place",
                    "",
                ));
            }
        };
        Ok(Self {
            clear_aperture_mm: input.clear_aperture_mm,
            focal_length_mm,
            conic: input.conic,
            mask_diameter_mm: input.mask_diameter_mm,
            coating: input.coating,
            figure: input.figure,
        })
    }
}
