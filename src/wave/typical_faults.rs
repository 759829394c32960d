//! The common faults of a mirror, each alone and of a stated size, and what a star shows of them.

use serde::{Deserialize, Serialize};

use super::focus::Focus;
use super::wavelength::check_wavelength;
use crate::error::{Error, Result};
use crate::model::{FigureLayer, Primary, Train, TrainBuilder, TurnedEdge, ZernikeTerms, Zone};
use crate::numeric::zernike::Indexing;
use crate::trace::Prepared;
use crate::units::Field;

/// A train with one common fault, and what to look for in its star on both sides of focus.
///
/// Units: waves of wavefront, peak to valley, at the wavelength that was asked for.
///
/// ```
/// use catoptric::{FocalLengthMm, Primary, Train, typical_faults};
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1600.0))).build()?;
/// let faults = typical_faults(&train, 0.5, 550.0)?;
/// assert!(faults.iter().any(|fault| fault.name == "astigmatism" && (fault.pv_waves - 0.5).abs() < 1e-3));
/// # Ok::<(), catoptric::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct TypicalFault {
    /// The name of the fault.
    pub name: String,
    /// The train that has it.
    pub train: Train,
    /// Peak to valley of the wavefront on the axis at the focus of least RMS, waves.
    pub pv_waves: f64,
    /// What to look for.
    pub words: String,
}

/// A fault of a mirror by its size: nm of glass, or the change of the conic constant.
struct Kind {
    name: &'static str,
    words: &'static str,
    /// A size to begin the search with, for a wavefront of so many nm on a mirror of this radius and focal length.
    start: fn(f64, f64, f64) -> f64,
    spoil: fn(Primary, f64) -> Primary,
}

fn rim(primary: &Primary) -> f64 {
    primary.open_diameter_mm() / 2.0
}

fn glass(wavefront_nm: f64, _rim_mm: f64, _focal_mm: f64) -> f64 {
    wavefront_nm / 2.0
}

fn with(primary: Primary, layer: impl Into<FigureLayer>) -> Primary {
    primary.layer(layer)
}

/// A change of the conic constant for a wavefront at best focus: PV |W040|/4, W040 = dK D/(512 F^3) (Schroeder, Astronomical
/// Optics, chapter 6).
fn conic_for(wavefront_nm: f64, rim_mm: f64, focal_mm: f64) -> f64 {
    let ratio = focal_mm / (2.0 * rim_mm);
    4.0 * wavefront_nm * 1e-6 * 512.0 * ratio.powi(3) / (2.0 * rim_mm)
}

/// The words were checked against the pictures: `tests/through_focus.rs` holds what each says.
const KINDS: [Kind; 8] = [
    Kind {
        name: "undercorrected",
        words: "Inside focus the disc is smaller and its light is heaped into the outer ring; outside focus it is larger, soft at \
                the edge and brightest in the middle: the rim of the mirror focuses short.",
        start: conic_for,
        spoil: |primary, size| primary.conic(-1.0 + size),
    },
    Kind {
        name: "overcorrected",
        words: "Outside focus the disc is smaller and its light is heaped into the outer ring; inside focus it is larger, soft at \
                the edge and brightest in the middle: the rim of the mirror focuses long.",
        start: conic_for,
        spoil: |primary, size| primary.conic(-1.0 - size),
    },
    Kind {
        name: "turned-down edge",
        words: "Inside focus a veil surrounds the disc, whose outer ring is dim; outside focus the disc has a clean edge and its \
                rings stand out.",
        start: glass,
        spoil: |primary, size| {
            let width_mm = 0.06 * rim(&primary);
            with(primary, TurnedEdge::new(width_mm, size))
        },
    },
    Kind {
        name: "raised edge",
        words: "Outside focus a veil surrounds the disc, whose outer ring is dim; inside focus the disc has a clean edge and its \
                rings stand out.",
        start: glass,
        spoil: |primary, size| {
            let width_mm = 0.06 * rim(&primary);
            with(primary, TurnedEdge::new(width_mm, -size))
        },
    },
    Kind {
        name: "zone",
        words: "One ring of the disc is brighter on one side of focus and fainter on the other, at the radius of the zone.",
        start: glass,
        spoil: |primary, size| {
            let rim_mm = rim(&primary);
            with(primary, Zone::new(0.65 * rim_mm, 0.1 * rim_mm, size))
        },
    },
    Kind {
        name: "astigmatism",
        words: "The disc is an ellipse that points one way inside focus and square to it outside; a cross in focus.",
        start: glass,
        spoil: |primary, size| with(primary, ZernikeTerms::new([(6, 0.2 * size)], Indexing::Noll)),
    },
    Kind {
        name: "pinching by three clips",
        words: "The disc is a triangle with soft corners that points the same way inside and outside of focus; three short \
                arms in focus.",
        start: glass,
        spoil: |primary, size| with(primary, ZernikeTerms::new([(10, 0.2 * size)], Indexing::Noll)),
    },
    Kind {
        name: "coma",
        words: "The rings are crowded and brighter on one side, the same side inside and outside of focus; in focus a flare \
                on one side. A mirror that points aside looks like this, too: align it first.",
        start: glass,
        spoil: |primary, size| with(primary, ZernikeTerms::new([(8, 0.2 * size)], Indexing::Noll)),
    },
];

/// Copies of a train with a perfect mirror that has one common fault, all of the same wavefront error; the first has none.
///
/// The primary's own conic constant and figure are left out, everything else of the train stays. The edges are 6 % of the mirror's
/// radius wide, the zone lies at 65 % of it.
///
/// Units: waves, peak to valley of the wavefront on the axis at the focus of least RMS; nm.
/// Errors: [`Error::Input`] for an error outside 0.01 to 4 waves or a mirror that cannot have it; those of
/// [`Prepared::wavefront`]; [`Error::NotConverged`] where no size of a fault comes within a thousandth.
///
/// ```
/// use catoptric::{FocalLengthMm, Primary, Train, typical_faults};
/// let train = Train::builder(Primary::new(200.0, FocalLengthMm(1600.0))).build()?;
/// assert!(typical_faults(&train, 9.0, 550.0).is_err());
/// assert_eq!(typical_faults(&train, 0.25, 550.0)?[0].train, train);
/// # Ok::<(), catoptric::Error>(())
/// ```
pub fn typical_faults(train: &Train, wavefront_waves: f64, wavelength_nm: f64) -> Result<Vec<TypicalFault>> {
    check_wavelength(wavelength_nm)?;
    if !(0.01..=4.0).contains(&wavefront_waves) {
        let allowed = "0.01 to 4 waves, peak to valley";
        return Err(Error::input("wavefront_waves", wavefront_waves, allowed, "nanometres given?"));
    }
    let perfect = Primary { figure: Vec::new(), ..train.primary().clone() }.conic(-1.0);
    let with_primary = |primary: Primary| TrainBuilder { primary, ..train.to_parts() }.build();
    let none = with_primary(perfect.clone())?;
    let mut faults = vec![TypicalFault {
        name: "none".to_owned(),
        pv_waves: pv_waves(&none, wavelength_nm)?,
        train: none,
        words: "Both sides look the same.".to_owned(),
    }];
    for kind in &KINDS {
        let mut size = (kind.start)(wavefront_waves * wavelength_nm, rim(&perfect), perfect.focal_length_mm);
        let mut found = None;
        for _ in 0..8 {
            let train = with_primary((kind.spoil)(perfect.clone(), size))?;
            let pv = pv_waves(&train, wavelength_nm)?;
            found = Some((train, pv));
            if (pv / wavefront_waves - 1.0).abs() < 1e-4 {
                break;
            }
            size *= wavefront_waves / pv;
        }
        let Some((train, pv_waves)) = found else { continue };
        if (pv_waves / wavefront_waves - 1.0).abs() > 1e-3 {
            return Err(Error::NotConverged {
                what: "the size of a fault",
                reached: pv_waves,
                wanted: wavefront_waves,
            });
        }
        faults.push(TypicalFault {
            name: kind.name.to_owned(),
            train,
            pv_waves,
            words: kind.words.to_owned(),
        });
    }
    Ok(faults)
}

fn pv_waves(train: &Train, wavelength_nm: f64) -> Result<f64> {
    let wavefront = Prepared::new(train).wavefront(Field::AXIS, Focus::LeastRms, wavelength_nm)?;
    Ok(wavefront.pv_nm / wavelength_nm)
}
